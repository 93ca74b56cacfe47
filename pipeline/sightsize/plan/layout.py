"""The stock sheet and the picture's place on it: exact lengths, whole pixels only at the end.

A picture of 13 3/8 x 10 5/8 in on 18x14 in at 300 ppi is 4013 x 3188 px at (693, 506).
"""

from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from sightsize.base.paper_sizes import standard_name
from sightsize.base.units import px_to_mm, to_px
from sightsize.model.geometry import Box, EdgesPx, Size, SizePx
from sightsize.model.settings import EDGES, Aperture, Edges, Frame, Paper
from sightsize.plan.size import PictureSize


@dataclass(frozen=True, kw_only=True)
class Stock:
    """The sheet as the lab cuts it, the way round that it is used."""

    ppi: Fraction
    size_mm: Size
    size_px: SizePx
    media_name: str
    surface: str


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where a picture stands on a sheet.

    ``box`` is what it covers, once it is turned clockwise by ``quarter_turns``. Margins in mm are
    exact, before any rounding to pixels. ``residual_mm`` is how far the picture's middle stands
    left of and above the sheet's middle when it is centred: the half pixel that whole pixels leave
    over.
    """

    box: Box
    quarter_turns: int = 0
    margins_px: EdgesPx
    margins_mm: Edges
    residual_mm: Size


@lru_cache(maxsize=64)
def lay_out(
    size: PictureSize, aperture: Aperture, paper: Paper, frame: Frame | None = None
) -> tuple[Stock, Place]:
    """Return the sheet, turned as the paper asks or as the picture stands best, and the place."""
    short, long = sorted(paper.size_mm)
    ways = {"portrait": [(short, long)], "landscape": [(long, short)]}
    choices = ways.get(paper.orientation, [(short, long), (long, short)])
    places = [(_stock(sides, paper, size.ppi), _place(size, sides, paper)) for sides in choices]
    # max keeps the first of equals, so a square picture stands on an upright sheet.
    return max(places, key=lambda each: _standing(each[1], size, aperture, paper, frame))


def _standing(
    place: Place, size: PictureSize, aperture: Aperture, paper: Paper, frame: Frame | None
) -> tuple[bool, bool, Fraction]:
    """How well a picture stands: margins kept, inside the rebate, the widest least margin."""
    room = rebate_room(place, size, aperture, frame)
    least = min(getattr(place.margins_mm, edge) for edge in EDGES)
    return (
        not short_margins(place, aperture, paper),
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
    place: Place, aperture: Aperture, paper: Paper
) -> list[tuple[str, Fraction, Fraction]]:
    """Return the edges whose margin is too small, as (edge, margin mm, least mm)."""
    wanted = least_margins(aperture, paper)
    rows = [(edge, getattr(place.margins_mm, edge), getattr(wanted, edge)) for edge in EDGES]
    return [(edge, margin, least) for edge, margin, least in rows if margin < least]


def rebate_room(
    place: Place, size: PictureSize, aperture: Aperture, frame: Frame | None
) -> dict[str, Fraction]:
    """Return the free length in mm between sheet and rebate at each edge; empty without a rebate.

    The opening's middle stands on the rebate's, or above it when the mat is bottom-weighted.
    """
    if frame is None or frame.rebate_mm is None:
        return {}
    margins, (edges, sign) = place.margins_mm, aperture.edges_mm
    # The image's middle against the rebate's, where the edges differ or the mat is weighted.
    aside = sign * (edges.right - edges.left) / 2
    down = sign * (edges.bottom - edges.top) / 2 - frame.bottom_weight_mm / 2
    across = (frame.rebate_mm[0] - size.image_mm[0]) / 2
    upright = (frame.rebate_mm[1] - size.image_mm[1]) / 2
    return {
        "top": upright + down - margins.top,
        "right": across - aside - margins.right,
        "bottom": upright - down - margins.bottom,
        "left": across + aside - margins.left,
    }


def _stock(sides: Size, paper: Paper, ppi: Fraction) -> Stock:
    return Stock(
        ppi=ppi,
        size_mm=sides,
        size_px=(to_px(sides[0], ppi), to_px(sides[1], ppi)),
        media_name=standard_name(*sides),
        surface=paper.surface,
    )


def _place(size: PictureSize, sides: Size, paper: Paper) -> Place:
    ppi = size.ppi
    free_mm = sides[0] - size.image_mm[0], sides[1] - size.image_mm[1]
    free_px = to_px(sides[0], ppi) - size.image_px[0], to_px(sides[1], ppi) - size.image_px[1]
    centred = paper.placement_mm is None
    if paper.placement_mm is None:
        left_mm, top_mm = free_mm[0] / 2, free_mm[1] / 2
        left, top = free_px[0] // 2, free_px[1] // 2
    else:
        left_mm, top_mm = paper.placement_mm
        left = _offset_px(left_mm, free_mm[0], free_px[0], ppi)
        top = _offset_px(top_mm, free_mm[1], free_px[1], ppi)
    right, bottom = free_px[0] - left, free_px[1] - top
    return Place(
        box=Box(left, top, *size.image_px),
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
