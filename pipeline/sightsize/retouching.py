"""Marks before a pixel is seen: those that may be permanent, and donors that are no use."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import ceil, dist, floor

from sightsize.job import KeepClear, Picture, PrintRequest, Spot
from sightsize.placing import Mark

SAME_PLACE = 0.03
"""Two marks count as one when they lie this near in two faces, as a share of the face's width."""


_SLIVER_PX = 1.5
"""How far a donor may reach into another mark: a pixel's diagonal, which pixels' middles can miss,
and less than the little more by which a mark's radius reaches beyond it."""
_CLEAR_OF_MARK_PX = 0.8
"""Room between a mark and its own donor, whose rim the membrane is joined to."""


def donor_shift(mark: Mark) -> tuple[int, int]:
    """Return the whole pixels from a mark to the donor that is named for it."""
    assert mark.donor is not None
    across, down = (
        round(donor - (start + end) / 2)
        for donor, start, end in zip(mark.donor, mark.start, mark.end, strict=True)
    )
    return across, down


def donor_fault(mark: Mark, later: Sequence[Mark], size_px: tuple[int, int]) -> str:
    """Return why the donor named for a mark has no clean picture to give; empty when it may.

    ``later`` are the marks that are cleared after it, ``size_px`` the upright picture's.
    """
    if mark.donor is None:
        return ""
    shift = donor_shift(mark)
    for start, end, by, size in zip(mark.start, mark.end, shift, size_px, strict=True):
        # Of a mark at the picture's edge no more is wanted than stands in the picture.
        low = max(ceil(min(start, end) - mark.radius_px - 0.5) - 1, 0) + by
        high = min(floor(max(start, end) + mark.radius_px - 0.5) + 2, size) + by
        if low < 0 or high > size:
            return "the donor reaches beyond the picture's edge"
    own, moved = _line(mark), tuple(point + complex(*shift) for point in _line(mark))
    if _lines_apart(moved, own) < 2 * mark.radius_px + _CLEAR_OF_MARK_PX:
        return "the donor lies on the mark itself"
    reaches = mark.radius_px - _SLIVER_PX
    if any(_lines_apart(moved, _line(each)) < reaches + each.radius_px for each in later):
        return "the donor lies on a mark that is cleared after it"
    return ""


def _line(mark: Mark) -> tuple[complex, ...]:
    return complex(*mark.start), complex(*mark.end)


def _lines_apart(one: tuple[complex, ...], other: tuple[complex, ...]) -> float:
    """The distance between two lines of two points each; 0 where they cross."""
    if _parted(one, other) and _parted(other, one):
        return 0.0
    ends = [_off_line(point, other) for point in one] + [_off_line(point, one) for point in other]
    return min(ends)


def _parted(points: tuple[complex, ...], line: tuple[complex, ...]) -> bool:
    """Whether two points lie on different sides of a line."""
    along = (line[1] - line[0]).conjugate()
    first, second = (((point - line[0]) * along).imag for point in points)
    return first * second < 0


def _off_line(point: complex, line: tuple[complex, ...]) -> float:
    """How far a point is from a line between two points, ends included."""
    start, along = line[0], line[1] - line[0]
    length2 = abs(along) ** 2
    share = ((point - start) * along.conjugate()).real / length2 if length2 else 0.0
    return abs(point - start - min(max(share, 0.0), 1.0) * along)


def is_face(part: KeepClear) -> bool:
    """Return whether a part that must stay clear is a face, by its label."""
    return "face" in part.label.casefold()


def face_of(spot: Spot, picture: Picture) -> KeepClear | None:
    """Return the face a mark lies on, if any."""
    for part in picture.keep_clear:
        across, down = _place(spot, part)
        if is_face(part) and 0 <= across <= 1 and 0 <= down <= 1:
            return part
    return None


def with_face_marks_counted(prints: Sequence[PrintRequest]) -> tuple[PrintRequest, ...]:
    """Return the prints with ``in_faces`` set for every mark on a face."""
    pictures = dict.fromkeys(request.picture for request in prints if request.picture.spotting)
    places = {picture: list(_face_places(picture)) for picture in pictures}

    def counted(spot: Spot, picture: Picture) -> Spot:
        face = face_of(spot, picture)
        if face is None:
            return spot
        here = _place(spot, face)
        shared = sum(
            any(dist(here, each) <= SAME_PLACE for each in there) for there in places.values()
        )
        return replace(spot, in_faces=shared)

    done = {
        picture: replace(
            picture, spotting=tuple(counted(each, picture) for each in picture.spotting)
        )
        for picture in pictures
    }
    return tuple(
        replace(request, picture=done[request.picture]) if request.picture in done else request
        for request in prints
    )


def _face_places(picture: Picture) -> Iterator[tuple[float, float]]:
    for spot in picture.spotting:
        face = face_of(spot, picture)
        if face is not None:
            yield _place(spot, face)


def _place(spot: Spot, part: KeepClear) -> tuple[float, float]:
    """Where the middle of a mark lies in a part's box, 0 to 1 across and down."""
    box = part.box
    across = (spot.start[0] + spot.end[0]) / 2 - box.left
    down = (spot.start[1] + spot.end[1]) / 2 - box.top
    return float(across / box.width), float(down / box.height)
