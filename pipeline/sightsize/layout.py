"""The sheet and the picture's place on it: exact lengths, whole pixels only at the end.

A worked sheet: 13 3/8 x 10 5/8 in on 18x14 in at 300 ppi is 4013 x 3188 px at (693, 506).
"""

from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from sightsize.job import EDGES, Aperture, Edges, Frame, Paper
from sightsize.media import standard_name
from sightsize.units import px_to_mm, to_px

Size = tuple[Fraction, Fraction]


@dataclass(frozen=True)
class Box:
    """Whole pixels."""

    left: int
    top: int
    width: int
    height: int


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


@lru_cache(maxsize=64)
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


def opening_px(aperture: Aperture, sheet: SheetPlan) -> Box:
    """The opening on the picture; with a reveal all of the picture is seen."""
    width, height = sheet.image_px
    hidden = aperture.overlap_mm
    if hidden is None:
        return Box(0, 0, width, height)
    left, top = to_px(hidden.left, sheet.ppi), to_px(hidden.top, sheet.ppi)
    right, bottom = to_px(hidden.right, sheet.ppi), to_px(hidden.bottom, sheet.ppi)
    return Box(left, top, max(width - left - right, 1), max(height - top - bottom, 1))
