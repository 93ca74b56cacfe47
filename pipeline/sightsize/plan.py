"""The plan of a print: pure, exact geometry from a request and a picture's header.

Lengths are rational millimetres; whole pixels appear only at the end and are rounded half up.
``plan_sheet`` needs no picture; ``plan_print`` adds the crop when a header is at hand.

A worked print: 16 3/8 x 13 5/8 in on 20x16 in at 300 ppi is 4913 x 4088 px at (543, 356).
"""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from math import cos, radians, sin, tan
from typing import Literal

from sightsize.acutance import SURFACE_GAIN, deblur_sigma_px, radius_mm
from sightsize.header import Header
from sightsize.job import (
    EDGES,
    Aperture,
    Camera,
    Dust,
    Edges,
    Frame,
    KeepClear,
    Paper,
    Picture,
    Point,
    PrintRequest,
    Reach,
    Shade,
    Spot,
)
from sightsize.media import standard_name
from sightsize.tones import mono_weights
from sightsize.units import MM_PER_INCH, px_to_mm, round_half_up, to_px

Size = tuple[Fraction, Fraction]

ACUITY_MM_PPI = MM_PER_INCH / Fraction(tan(radians(1 / 60)))
"""Pixels per inch times viewing distance in mm at which a pixel spans one arc minute."""


@dataclass(frozen=True)
class Box:
    """Whole pixels."""

    left: int
    top: int
    width: int
    height: int


@dataclass(frozen=True)
class ExactBox:
    """Exact pixels of the upright picture after it is turned about its middle to level it."""

    left: Fraction
    top: Fraction
    width: Fraction
    height: Fraction


@dataclass(frozen=True)
class EdgesPx:
    """Pixels at each edge."""

    top: int
    right: int
    bottom: int
    left: int


@dataclass(frozen=True, kw_only=True)
class SheetPlan:
    """The sheet and the picture's place on it.

    Lengths in mm are exact, before any rounding to pixels. ``residual_mm`` is how far the
    picture's middle stands left of and above the sheet's middle when it is centred: the half pixel
    that whole pixels leave over.
    """

    ppi: Fraction
    opening_mm: Size
    image_mm: Size
    image_px: tuple[int, int]
    sheet_mm: Size
    sheet_px: tuple[int, int]
    media_name: str
    picture_box: Box
    margins_px: EdgesPx
    margins_mm: Edges
    residual_mm: Size


@dataclass(frozen=True)
class Clearance:
    """Distance on paper from a part's box to the opening's edge; negative when it is hidden."""

    label: str
    distance_mm: Fraction
    wanted_mm: Fraction


@dataclass(frozen=True, kw_only=True)
class CropPlan:
    """What is taken from the picture, and how large it becomes."""

    exact: ExactBox
    box: Box
    straighten_degrees: float
    crop_loss: Fraction
    magnification: Fraction
    effective_ppi: Fraction
    enough_from_mm: Fraction
    clearances: tuple[Clearance, ...]


@dataclass(frozen=True, kw_only=True)
class MonoPlan:
    """Resolved weights of linear red, green and blue, and the filter factor in stops."""

    weights: tuple[float, float, float]
    filter_factor_stops: float


@dataclass(frozen=True, kw_only=True)
class Mark:
    """A mark to clear, in pixels of the upright source, counted from its top left corner.

    Everything within ``radius_px`` of the line from ``start`` to ``end`` is replaced; the two are
    the same for a round spot. ``donor`` is where clean picture is taken from (its point lies on
    the mark's middle), or None to search for it. A strength below 1 reduces the mark only. A mark
    that is not ``required``, such as dust, is left as it is when no clean donor is found.
    """

    start: tuple[float, float]
    end: tuple[float, float]
    radius_px: float
    donor: tuple[float, float] | None
    strength: float
    label: str
    required: bool


@dataclass(frozen=True, kw_only=True)
class ShadePlan:
    """A dodge (positive stops) or burn (negative) in pixels of the print, from its top left.

    An ellipse is given by the corners of its box, which may stand turned; an edge by a point on it
    and one on its treated side.
    """

    stops: float
    shape: Literal["ellipse", "polygon", "edge"]
    points: tuple[tuple[float, float], ...]
    softness_px: float


@dataclass(frozen=True, kw_only=True)
class EdgeBurnPlan:
    """Darkening from the opening's edge inwards, in pixels of the print."""

    stops: float
    width_px: float
    opening: Box


@dataclass(frozen=True, kw_only=True)
class SharpenPlan:
    """Sharpening in pixels of the print and L*.

    ``noise_floor`` and ``damping`` are None when they are measured on the picture. ``skin`` is the
    share of the gain that is left on skin. ``deblur_sigma_px`` is 0 when nothing is deblurred.
    """

    sigma_px: float
    gain: float
    noise_floor: float | None
    skin: float
    damping: float | None
    deblur_sigma_px: float


@dataclass(frozen=True, kw_only=True)
class Plan:
    """Every number of one print.

    ``header`` is None when no picture was read; ``crop`` is None then too, or when a reveal leaves
    no picture to crop. ``opening`` is what of the picture the mat leaves to see, in pixels of the
    picture.
    """

    request: PrintRequest
    sheet: SheetPlan
    header: Header | None
    crop: CropPlan | None
    mono: MonoPlan | None
    opening: Box
    marks: tuple[Mark, ...]
    dust_of: str
    shades: tuple[ShadePlan, ...]
    edge_burn: EdgeBurnPlan | None
    neighbourhood_px: float
    sharpen: SharpenPlan
    estimated_bytes: int


def plan_print(request: PrintRequest, header: Header | None) -> Plan:
    """Return the plan of one print."""
    sheet = plan_sheet(request.aperture, request.paper, request.delivery.ppi, request.frame)
    crop = None
    marks: tuple[Mark, ...] = ()
    shades: tuple[ShadePlan, ...] = ()
    camera = _camera(request.picture, header)
    if header is not None and min(sheet.image_mm) > 0:
        crop = plan_crop(request.picture, header.upright_px, sheet, request.aperture)
        marks = tuple(_marks(request.picture, header, crop, camera))
        shades = tuple(
            _shade(each, request.picture, header, crop, sheet) for each in request.picture.shades
        )
    opening = _opening_px(request.aperture, sheet)
    return Plan(
        request=request,
        sheet=sheet,
        header=header,
        crop=crop,
        mono=_plan_mono(request),
        opening=opening,
        marks=marks,
        dust_of=camera.name if camera else "",
        shades=shades,
        edge_burn=_edge_burn(request, opening),
        neighbourhood_px=_neighbourhood_px(request, sheet),
        sharpen=_plan_sharpen(request, crop),
        estimated_bytes=_estimated_bytes(request, sheet),
    )


def opening_mm(aperture: Aperture) -> Size:
    """Return the opening at the back of the bevel, as it hangs.

    A 45 degree bevel makes the opening one board thickness smaller on each side at the back.
    """
    less = 2 * (aperture.mat_thickness_mm or 0) if aperture.measured_at == "face" else 0
    return aperture.width_mm - less, aperture.height_mm - less


def image_mm(aperture: Aperture) -> Size:
    """Return the picture's size on paper: the opening and the overlap, or less the reveal."""
    width, height = opening_mm(aperture)
    edges, sign = aperture.edges_mm
    return (
        width + sign * (edges.left + edges.right),
        height + sign * (edges.top + edges.bottom),
    )


def plan_sheet(
    aperture: Aperture, paper: Paper, ppi: Fraction, frame: Frame | None = None
) -> SheetPlan:
    """Return the sheet, turned the way round the paper asks for or the picture stands best."""
    image = image_mm(aperture)
    width, height = paper.size_mm
    portrait, landscape = tuple(sorted((width, height))), tuple(sorted((width, height)))[::-1]
    if paper.orientation == "portrait":
        choices = [portrait]
    elif paper.orientation == "landscape":
        choices = [landscape]
    else:
        choices = [portrait, landscape]
    sheets = [_place(aperture, image, (each[0], each[1]), paper, ppi) for each in choices]
    # max keeps the first of equals, so a square picture stands on an upright sheet.
    return max(sheets, key=lambda sheet: _standing(sheet, aperture, paper, frame))


def _standing(
    sheet: SheetPlan, aperture: Aperture, paper: Paper, frame: Frame | None
) -> tuple[bool, bool, Fraction]:
    """How well a picture stands: margins kept, inside the rebate, the widest least margin."""
    room = rebate_room(sheet, aperture, frame)
    least = min(getattr(sheet.margins_mm, edge) for edge in EDGES)
    return (
        not short_margins(sheet, aperture, paper),
        all(free >= 0 for free in room.values()),
        least,
    )


def least_margins(aperture: Aperture, paper: Paper) -> Edges:
    """Return the white that each edge needs: to hinge, to hold, and to reach behind the mat.

    With a reveal some of the white shows, and the sheet must reach beyond the opening all round.
    """
    reveal = aperture.reveal_mm
    lengths = {}
    for edge in EDGES:
        least = paper.hinge_margin_mm if edge == paper.hinge_edge else paper.margin_mm
        shown = Fraction(0) if reveal is None else getattr(reveal, edge) + paper.margin_mm
        lengths[edge] = max(least, shown)
    return Edges(**lengths)


def short_margins(
    sheet: SheetPlan, aperture: Aperture, paper: Paper
) -> list[tuple[str, Fraction, Fraction]]:
    """Return the edges whose margin is too small, as (edge, margin mm, least mm)."""
    wanted = least_margins(aperture, paper)
    rows = [(edge, getattr(sheet.margins_mm, edge), getattr(wanted, edge)) for edge in EDGES]
    return [(edge, margin, least) for edge, margin, least in rows if margin < least]


def rebate_room(sheet: SheetPlan, aperture: Aperture, frame: Frame | None) -> dict[str, Fraction]:
    """Return the free length in mm between sheet and rebate at each edge; empty without a rebate.

    The opening's middle stands on the rebate's, or above it when the mat is bottom-weighted.
    """
    if frame is None or frame.rebate_mm is None:
        return {}
    margins, (edges, sign) = sheet.margins_mm, aperture.edges_mm
    # The image's middle against the rebate's, where the edges differ or the mat is weighted.
    aside = sign * (edges.right - edges.left) / 2
    down = sign * (edges.bottom - edges.top) / 2 - frame.bottom_weight_mm / 2
    across = (frame.rebate_mm[0] - sheet.image_mm[0]) / 2
    upright = (frame.rebate_mm[1] - sheet.image_mm[1]) / 2
    return {
        "top": upright + down - margins.top,
        "right": across - aside - margins.right,
        "bottom": upright - down - margins.bottom,
        "left": across + aside - margins.left,
    }


def _place(aperture: Aperture, image: Size, sheet: Size, paper: Paper, ppi: Fraction) -> SheetPlan:
    image_px = to_px(image[0], ppi), to_px(image[1], ppi)
    sheet_px = to_px(sheet[0], ppi), to_px(sheet[1], ppi)
    free_mm = sheet[0] - image[0], sheet[1] - image[1]
    free_px = sheet_px[0] - image_px[0], sheet_px[1] - image_px[1]
    centred = paper.placement_mm is None
    if paper.placement_mm is None:
        left_mm, top_mm = free_mm[0] / 2, free_mm[1] / 2
        left, top = free_px[0] // 2, free_px[1] // 2
    else:
        left_mm, top_mm = paper.placement_mm
        left = _offset_px(left_mm, free_mm[0], free_px[0], ppi)
        top = _offset_px(top_mm, free_mm[1], free_px[1], ppi)
    right, bottom = free_px[0] - left, free_px[1] - top
    return SheetPlan(
        ppi=ppi,
        opening_mm=opening_mm(aperture),
        image_mm=image,
        image_px=image_px,
        sheet_mm=sheet,
        sheet_px=sheet_px,
        media_name=standard_name(*sheet),
        picture_box=Box(left, top, *image_px),
        margins_px=EdgesPx(top, right, bottom, left),
        margins_mm=Edges(top_mm, free_mm[0] - left_mm, free_mm[1] - top_mm, left_mm),
        residual_mm=(
            px_to_mm(Fraction(right - left, 2), ppi) if centred else Fraction(0),
            px_to_mm(Fraction(bottom - top, 2), ppi) if centred else Fraction(0),
        ),
    )


def _offset_px(offset: Fraction, free: Fraction, free_px: int, ppi: Fraction) -> int:
    """A placement in pixels; rounding never pushes off the sheet what stands on it."""
    offset_px = to_px(offset, ppi)
    return min(offset_px, free_px) if offset <= free else offset_px


def plan_crop(
    picture: Picture, upright_px: tuple[int, int], sheet: SheetPlan, aperture: Aperture
) -> CropPlan:
    """Return the largest box of the image's exact ratio inside the picture or its crop region.

    The focus stands as near the box's middle as fits. ``upright_px`` is the picture's size once
    its orientation is applied.
    """
    exact = _largest_box(picture, upright_px, sheet.image_mm)
    effective_ppi = exact.width / (sheet.image_mm[0] / MM_PER_INCH)
    return CropPlan(
        exact=exact,
        box=_whole_box(exact, upright_px, level=picture.straighten_degrees == 0),
        straighten_degrees=picture.straighten_degrees,
        crop_loss=1 - exact.width * exact.height / (upright_px[0] * upright_px[1]),
        magnification=sheet.ppi / effective_ppi,
        effective_ppi=effective_ppi,
        enough_from_mm=ACUITY_MM_PPI / effective_ppi,
        clearances=tuple(
            _clearance(part, picture, upright_px, exact, sheet, aperture)
            for part in picture.keep_clear
        ),
    )


def _largest_box(picture: Picture, upright_px: tuple[int, int], image: Size) -> ExactBox:
    """The largest box of the image's ratio inside a region that is turned with the picture.

    A box of sides (w, h) fits in a rectangle (W, H) turned by an angle when
    w cos + h sin <= W and w sin + h cos <= H; what is left over on the rectangle's own axes is
    how far its middle may move.
    """
    cosine, sine = _turn(picture.straighten_degrees)
    across = abs(sine)
    region_width, region_height, middle = _region_px(picture, upright_px)
    ratio = image[0] / image[1]
    width = min(region_width / (cosine + across / ratio), region_height / (across + cosine / ratio))
    height = width / ratio
    slack_x = (region_width - (width * cosine + height * across)) / 2
    slack_y = (region_height - (width * across + height * cosine)) / 2
    focus = _focus_px(picture, upright_px)
    x = middle[0] + _clamp(focus[0] - middle[0], slack_x)
    y = middle[1] + _clamp(focus[1] - middle[1], slack_y)
    turned_x, turned_y = _turned((x, y), upright_px, picture.straighten_degrees)
    return ExactBox(turned_x - width / 2, turned_y - height / 2, width, height)


def _region_px(
    picture: Picture, upright_px: tuple[int, int]
) -> tuple[Fraction, Fraction, tuple[Fraction, Fraction]]:
    """Width, height and middle of the region the crop may use."""
    width, height = Fraction(upright_px[0]), Fraction(upright_px[1])
    crop = picture.crop
    if crop is None:
        return width, height, (width / 2, height / 2)
    middle = (crop.left + crop.width / 2) * width, (crop.top + crop.height / 2) * height
    return crop.width * width, crop.height * height, middle


def _focus_px(picture: Picture, upright_px: tuple[int, int]) -> tuple[Fraction, Fraction]:
    if picture.focus is not None:
        return picture.focus[0] * upright_px[0], picture.focus[1] * upright_px[1]
    return _region_px(picture, upright_px)[2]


def _turn(degrees: float) -> tuple[Fraction, Fraction]:
    angle = radians(degrees)
    return Fraction(cos(angle)), Fraction(sin(angle))


def _turned(
    point: tuple[Fraction, Fraction], upright_px: tuple[int, int], degrees: float
) -> tuple[Fraction, Fraction]:
    """Where a point of the upright picture goes when it is turned clockwise about its middle."""
    cosine, sine = _turn(degrees)
    middle_x, middle_y = Fraction(upright_px[0], 2), Fraction(upright_px[1], 2)
    x, y = point[0] - middle_x, point[1] - middle_y
    return middle_x + x * cosine - y * sine, middle_y + x * sine + y * cosine


def _clamp(value: Fraction, limit: Fraction) -> Fraction:
    return max(-limit, min(limit, value))


def _whole_box(exact: ExactBox, upright_px: tuple[int, int], *, level: bool) -> Box:
    left, top = round_half_up(exact.left), round_half_up(exact.top)
    right, bottom = (
        round_half_up(exact.left + exact.width),
        round_half_up(exact.top + exact.height),
    )
    if level:
        left, top = max(left, 0), max(top, 0)
        right, bottom = min(right, upright_px[0]), min(bottom, upright_px[1])
    return Box(left, top, max(right - left, 1), max(bottom - top, 1))


def _clearance(
    part: KeepClear,
    picture: Picture,
    upright_px: tuple[int, int],
    crop: ExactBox,
    sheet: SheetPlan,
    aperture: Aperture,
) -> Clearance:
    box = part.box
    xs = [box.left * upright_px[0], (box.left + box.width) * upright_px[0]]
    ys = [box.top * upright_px[1], (box.top + box.height) * upright_px[1]]
    corners = [_turned((x, y), upright_px, picture.straighten_degrees) for x in xs for y in ys]
    scale = sheet.image_mm[0] / crop.width
    left = (min(x for x, _ in corners) - crop.left) * scale
    top = (min(y for _, y in corners) - crop.top) * scale
    right = sheet.image_mm[0] - (max(x for x, _ in corners) - crop.left) * scale
    bottom = sheet.image_mm[1] - (max(y for _, y in corners) - crop.top) * scale
    # With a reveal the picture's own edge is what cuts.
    hidden = aperture.overlap_mm or Edges(*(Fraction(0),) * 4)
    distance = min(
        left - hidden.left, top - hidden.top, right - hidden.right, bottom - hidden.bottom
    )
    return Clearance(part.label, distance, part.clearance_mm)


def _opening_px(aperture: Aperture, sheet: SheetPlan) -> Box:
    """The opening on the picture; with a reveal all of the picture is seen."""
    width, height = sheet.image_px
    hidden = aperture.overlap_mm
    if hidden is None:
        return Box(0, 0, width, height)
    left, top = to_px(hidden.left, sheet.ppi), to_px(hidden.top, sheet.ppi)
    right, bottom = to_px(hidden.right, sheet.ppi), to_px(hidden.bottom, sheet.ppi)
    return Box(left, top, max(width - left - right, 1), max(height - top - bottom, 1))


def _camera(picture: Picture, header: Header | None) -> Camera | None:
    """The camera whose dust lies on a picture: named by the job, or the first that matches."""
    for camera in picture.cameras:
        named = not camera.model and not camera.serial
        if named or (header is not None and _took(camera, header)):
            return camera
    return None


def _took(camera: Camera, header: Header) -> bool:
    pairs = ((camera.model, header.camera_model), (camera.serial, header.camera_serial))
    return all(wanted in ("", found) for wanted, found in pairs)


def _marks(
    picture: Picture, header: Header, crop: CropPlan, camera: Camera | None
) -> Iterator[Mark]:
    for index, speck in enumerate(camera.dust if camera else (), start=1):
        yield _speck(speck, header, f"dust {index} of {camera.name if camera else ''}")
    for index, spot in enumerate(picture.spotting, start=1):
        yield _mark(spot, header, crop, f"spot {index} of {picture.name}")


def _mark(spot: Spot, header: Header, crop: CropPlan, label: str) -> Mark:
    width, height = header.upright_px

    def px(point: Point) -> tuple[float, float]:
        return float(point[0] * width), float(point[1] * height)

    return Mark(
        start=px(spot.start),
        end=px(spot.end),
        radius_px=_reach_px(spot.radius, Fraction(width), crop.effective_ppi),
        donor=px(spot.donor) if spot.donor else None,
        strength=spot.strength,
        label=label,
        required=True,
    )


def _reach_px(reach: Reach, whole: Fraction, ppi: Fraction) -> float:
    """A length on paper or a share, in pixels that lie ``ppi`` to the inch on paper."""
    if reach.mm is not None:
        return float(reach.mm / MM_PER_INCH * ppi)
    assert reach.share is not None
    return float(reach.share * whole)


def _speck(speck: Dust, header: Header, label: str) -> Mark:
    x, y = upright_point(speck.at, header.orientation)
    width, height = header.upright_px
    middle = float(x * width), float(y * height)
    return Mark(
        start=middle,
        end=middle,
        radius_px=float(speck.radius * max(width, height)),
        donor=None,
        strength=1.0,
        label=label,
        required=False,
    )


def upright_point(stored: Point, orientation: int) -> Point:
    """Return where a point of the stored picture stands once it is upright (Exif 2.3, tag 0112)."""
    x, y = stored
    return {
        1: (x, y),
        2: (1 - x, y),
        3: (1 - x, 1 - y),
        4: (x, 1 - y),
        5: (y, x),
        6: (1 - y, x),
        7: (1 - y, 1 - x),
        8: (y, 1 - x),
    }[orientation]


def _shade(
    shade: Shade, picture: Picture, header: Header, crop: CropPlan, sheet: SheetPlan
) -> ShadePlan:
    scale = sheet.image_px[0] / crop.exact.width
    points = []
    for x, y in shade.points:
        upright = x * header.upright_px[0], y * header.upright_px[1]
        across, down = _turned(upright, header.upright_px, picture.straighten_degrees)
        points.append(
            (float((across - crop.exact.left) * scale), float((down - crop.exact.top) * scale))
        )
    return ShadePlan(
        stops=shade.stops,
        shape=shade.shape,
        points=tuple(points),
        softness_px=float(shade.softness_mm / MM_PER_INCH * sheet.ppi),
    )


def _edge_burn(request: PrintRequest, opening: Box) -> EdgeBurnPlan | None:
    burn = request.tone.edge_burn
    if burn is None or burn.stops == 0:
        return None
    width_px = float(burn.width_mm / MM_PER_INCH * request.delivery.ppi)
    return EdgeBurnPlan(stops=burn.stops, width_px=width_px, opening=opening)


def _neighbourhood_px(request: PrintRequest, sheet: SheetPlan) -> float:
    reach = request.local_contrast.neighbourhood
    return _reach_px(reach, Fraction(min(sheet.image_px)), sheet.ppi)


def _plan_sharpen(request: PrintRequest, crop: CropPlan | None) -> SharpenPlan:
    sharpen, ppi = request.sharpen, float(request.delivery.ppi)
    radius = sharpen.radius_mm
    sigma_mm = radius_mm(float(request.aperture.viewing_distance_mm)) if radius is None else radius
    gain = sharpen.gain
    effective = float(crop.effective_ppi) if crop else ppi
    return SharpenPlan(
        sigma_px=float(sigma_mm) / float(MM_PER_INCH) * ppi,
        gain=SURFACE_GAIN[request.paper.surface] if gain is None else gain,
        noise_floor=sharpen.noise_floor,
        skin=sharpen.skin,
        damping=sharpen.damping,
        deblur_sigma_px=deblur_sigma_px(effective, ppi) if sharpen.deblur and gain != 0 else 0.0,
    )


def _plan_mono(request: PrintRequest) -> MonoPlan | None:
    mono = request.mono
    if mono is None:
        return None
    weights, stops = mono_weights(mono.response, mono.filter, mono.filter_strength)
    return MonoPlan(weights=weights, filter_factor_stops=stops)


def _estimated_bytes(request: PrintRequest, sheet: SheetPlan) -> int:
    """A rough size: bits for each picture pixel as seen on the demo; white costs little."""
    pixels = sheet.image_px[0] * sheet.image_px[1]
    channels = 1 if request.mono or request.delivery.profile == "gray" else 3
    if request.delivery.format == "tiff":
        return round(pixels * channels * request.delivery.bit_depth / 8 * 0.8)
    bits = 0.5 + 3.0 * (max(request.delivery.quality, 50) / 100) ** 6
    return round(pixels * bits / 8 * (1 if channels == 1 else 1.5))
