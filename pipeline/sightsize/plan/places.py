"""Where marks, dodges and burns lie: from fractions of the picture to pixels.

Marks are counted in pixels of the upright source, dodges and burns in pixels of the print.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from sightsize.base.units import MM_PER_INCH
from sightsize.model.geometry import Box
from sightsize.model.header import Header
from sightsize.model.picture import Camera, Dust, Picture, Point, Shade, Spot
from sightsize.model.settings import EdgeBurn, Reach
from sightsize.plan.crop import CropPlan, turn_point
from sightsize.plan.size import PictureSize


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


def camera_of(picture: Picture, header: Header) -> Camera | None:
    """The camera whose dust lies on a picture: named by the job, or the first that matches."""
    for camera in picture.cameras:
        named = not camera.model and not camera.serial
        if named or _took(camera, header):
            return camera
    return None


def _took(camera: Camera, header: Header) -> bool:
    pairs = ((camera.model, header.camera_model), (camera.serial, header.camera_serial))
    return all(wanted in ("", found) for wanted, found in pairs)


def marks_of(
    picture: Picture, header: Header, crop: CropPlan, camera: Camera | None
) -> Iterator[Mark]:
    """Yield the dust of a picture's camera and the picture's own marks, in this order."""
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
        radius_px=reach_px(spot.radius, Fraction(width), crop.effective_ppi),
        donor=px(spot.donor) if spot.donor else None,
        strength=spot.strength,
        label=label,
        required=True,
    )


def reach_px(reach: Reach, whole: Fraction, ppi: Fraction) -> float:
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


def shade_of(
    shade: Shade, picture: Picture, header: Header, crop: CropPlan, size: PictureSize
) -> ShadePlan:
    """Return a dodge or burn where it falls on the print."""
    scale = size.image_px[0] / crop.exact.width
    points = []
    for x, y in shade.points:
        upright = x * header.upright_px[0], y * header.upright_px[1]
        across, down = turn_point(upright, header.upright_px, picture.level_degrees)
        points.append(
            (float((across - crop.exact.left) * scale), float((down - crop.exact.top) * scale))
        )
    return ShadePlan(
        stops=shade.stops,
        shape=shade.shape,
        points=tuple(points),
        softness_px=float(shade.softness_mm / MM_PER_INCH * size.ppi),
    )


def edge_burn_of(burn: EdgeBurn | None, size: PictureSize) -> EdgeBurnPlan | None:
    """Return the burn along the opening's edge; None when it darkens nothing."""
    if burn is None or burn.stops == 0:
        return None
    width_px = float(burn.width_mm / MM_PER_INCH * size.ppi)
    return EdgeBurnPlan(stops=burn.stops, width_px=width_px, opening=size.opening_px)
