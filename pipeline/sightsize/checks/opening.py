"""Checks of the opening: whether what was measured can be right."""

from collections.abc import Iterator
from fractions import Fraction
from functools import cache

from sightsize.base.findings import Finding
from sightsize.base.units import mm_text
from sightsize.checks.lengths import apart
from sightsize.checks.registry import check, say
from sightsize.model.settings import EDGES, Edges
from sightsize.plan.picture import AnyPicture
from sightsize.plan.sheet import PlacedPicture

_MOST_OVERLAP_MM = 10

_NOMINAL_INCHES = (
    (4, 6),
    (5, 7),
    (8, 10),
    (8, 12),
    (11, 14),
    (12, 16),
    (16, 20),
    (20, 24),
    (24, 36),
)
_NOMINAL_CM = ((10, 15), (13, 18), (18, 24), (20, 30), (24, 30), (30, 40), (40, 50), (50, 70))


@check(
    "unit-slip",
    "opening",
    "aperture.width",
    "an opening too small or too large for any frame, probably in the wrong unit",
    "refuse",
)
def _unit_slip(placed: PlacedPicture[AnyPicture]) -> Iterator[Finding]:
    sides = zip(("wide", "high"), placed.picture.size.opening_mm, strict=True)
    out = [f"{mm_text(length)} mm {side}" for side, length in sides if not 40 <= length <= 1500]
    if out:
        yield say(
            "refuse",
            f"the opening is {' and '.join(out)}, outside 40 to 1500 mm.",
            'Check the unit, or add "unit-slip" to checks.accept.',
        )


@check(
    "nominal-size",
    "opening",
    "aperture.width",
    "a frame's nominal size in place of its measured opening",
    "warn",
)
def _nominal_size(placed: PlacedPicture[AnyPicture]) -> Iterator[Finding]:
    aperture = placed.picture.look.aperture
    measured = sorted((aperture.width_mm, aperture.height_mm))
    for label, sides in _nominal_sizes():
        if all(abs(a - b) <= 1 for a, b in zip(measured, sides, strict=True)):
            yield say(
                "warn",
                f"the opening is within 1 mm of {label}, a nominal frame size; was it read off "
                "the label?",
                "Measure the opening itself: a mat opens less than its frame's label says"
                f"{_EXAMPLE if label == '10x8 in' else ''}.",
            )


_EXAMPLE = ", here to about 9 5/8 x 7 1/4 in"


@cache
def _nominal_sizes() -> list[tuple[str, tuple[Fraction, Fraction]]]:
    inches = [
        (f"{long}x{short} in", (Fraction(short * 254, 10), Fraction(long * 254, 10)))
        for short, long in _NOMINAL_INCHES
    ]
    return inches + [
        (f"{long}x{short} cm", (Fraction(short * 10), Fraction(long * 10)))
        for short, long in _NOMINAL_CM
    ]


@check(
    "overlap",
    "opening",
    "aperture.overlap",
    "too little picture behind the mat to hide cutting and placing errors, or the wrong unit",
    "warn",
    "refuse",
)
def _overlap(placed: PlacedPicture[AnyPicture]) -> Iterator[Finding]:
    edges, thresholds = placed.picture.look.aperture.overlap_mm, placed.request.thresholds
    if edges is None:
        return
    where, least = _least(edges)
    if least < thresholds.overlap_refuse_mm:
        found, wanted = apart(least, thresholds.overlap_refuse_mm)
        yield say(
            "refuse",
            f"only {found} mm of picture is hidden behind the mat {where}; below {wanted} mm, "
            "errors in cutting, printing and hinging let white show.",
            "3 mm is usual.",
        )
    elif least < thresholds.overlap_warn_mm:
        found, _ = apart(least, thresholds.overlap_warn_mm)
        yield say(
            "warn",
            f"only {found} mm of picture is hidden behind the mat {where}.",
            "3 mm is usual.",
        )
    most = max(getattr(edges, edge) for edge in EDGES)
    if most > _MOST_OVERLAP_MM:
        yield say(
            "warn",
            f"{mm_text(most)} mm of picture would be hidden behind the mat.",
            "Check the unit; 3 mm is usual.",
        )


@check(
    "reveal",
    "opening",
    "aperture.reveal",
    "a reveal so thin that every placing error shows",
    "warn",
)
def _reveal(placed: PlacedPicture[AnyPicture]) -> Iterator[Finding]:
    edges = placed.picture.look.aperture.reveal_mm
    if edges is None:
        return
    where, least = _least(edges)
    wanted = placed.request.thresholds.reveal_warn_mm
    if least < wanted:
        yield say(
            "warn",
            f"a reveal of {apart(least, wanted)[0]} mm {where} shows every placing error.",
            "6 mm is usual, with 8 to 10 mm at the bottom.",
        )


def _least(edges: Edges) -> tuple[str, Fraction]:
    """Where the least of four lengths is, in words, and how long it is."""
    lengths: dict[str, Fraction] = {edge: getattr(edges, edge) for edge in EDGES}
    least = min(lengths.values())
    where = [edge for edge, length in lengths.items() if length == least]
    return "at each edge" if len(where) == 4 else f"at the {' and '.join(where)}", least


@check(
    "image-size",
    "opening",
    "aperture.width",
    "a reveal so wide that no picture is left",
    "refuse",
    is_acceptable=False,
)
def _image_size(placed: PlacedPicture[AnyPicture]) -> Iterator[Finding]:
    if placed.picture.size.is_empty:
        yield say(
            "refuse",
            "no picture is left in the opening.",
            "Reduce the reveal, or correct the opening.",
        )
