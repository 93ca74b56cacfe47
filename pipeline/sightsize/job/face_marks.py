"""Marks on faces, counted: one at the same place in several pictures may be permanent."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import chain, product
from math import dist, floor

from sightsize.model.job import PrintRequest
from sightsize.model.picture import KeepClear, Picture, Spot

Place = tuple[float, float]

SAME_PLACE = 0.03
"""Two marks count as one when they lie this near in two faces, as a share of the face's width."""


def is_face(part: KeepClear) -> bool:
    """Return whether a part that must stay clear is a face, by its label."""
    return "face" in part.label.casefold()


def face_of(spot: Spot, picture: Picture) -> KeepClear | None:
    """Return the face a mark lies on, if any."""
    for part in picture.keep_clear:
        if is_face(part) and all(0 <= each <= 1 for each in _place(spot, part)):
            return part
    return None


def count_face_marks(prints: Sequence[PrintRequest]) -> tuple[PrintRequest, ...]:
    """Return the prints with ``in_faces`` set for every mark on a face."""
    pictures = list(
        dict.fromkeys(request.look.picture for request in prints if request.look.picture.spotting)
    )
    counted = _Counted(pictures)
    done = {
        picture: replace(
            picture, spotting=tuple(counted.of(each, picture) for each in picture.spotting)
        )
        for picture in pictures
    }
    return tuple(
        replace(request, look=replace(request.look, picture=done[request.look.picture]))
        if request.look.picture in done
        else request
        for request in prints
    )


class _Counted:
    """The marks on faces of many pictures, found by their place in the face.

    They lie in squares as wide as ``SAME_PLACE``, so that a mark is held only against those near.
    """

    def __init__(self, pictures: Sequence[Picture]) -> None:
        self._near: dict[tuple[int, int], list[tuple[Place, int]]] = {}
        self._counts: dict[Place, int] = {}
        for number, picture in enumerate(pictures):
            for place in dict.fromkeys(_face_places(picture)):
                self._near.setdefault(_square(place), []).append((place, number))

    def of(self, spot: Spot, picture: Picture) -> Spot:
        """Return a mark with the number of pictures whose face has one at the same place."""
        face = face_of(spot, picture)
        return spot if face is None else replace(spot, in_faces=self._count(_place(spot, face)))

    def _count(self, here: Place) -> int:
        if here not in self._counts:
            across, down = _square(here)
            squares = product((across - 1, across, across + 1), (down - 1, down, down + 1))
            near = chain.from_iterable(self._near.get(each, ()) for each in squares)
            shared = {number for there, number in near if dist(here, there) <= SAME_PLACE}
            self._counts[here] = len(shared)
        return self._counts[here]


def _square(place: Place) -> tuple[int, int]:
    return floor(place[0] / SAME_PLACE), floor(place[1] / SAME_PLACE)


def _face_places(picture: Picture) -> Iterator[Place]:
    for spot in picture.spotting:
        face = face_of(spot, picture)
        if face is not None:
            yield _place(spot, face)


def _place(spot: Spot, part: KeepClear) -> Place:
    """Where the middle of a mark lies in a part's box, 0 to 1 across and down."""
    box = part.box
    across = (spot.start[0] + spot.end[0]) / 2 - box.left
    down = (spot.start[1] + spot.end[1]) / 2 - box.top
    return float(across / box.width), float(down / box.height)
