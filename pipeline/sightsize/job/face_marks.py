"""Marks on faces, counted: one at the same place in several pictures may be permanent."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import dist

from sightsize.model.job import PrintRequest
from sightsize.model.picture import KeepClear, Picture, Spot

SAME_PLACE = 0.03
"""Two marks count as one when they lie this near in two faces, as a share of the face's width."""


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


def count_face_marks(prints: Sequence[PrintRequest]) -> tuple[PrintRequest, ...]:
    """Return the prints with ``in_faces`` set for every mark on a face."""
    pictures = dict.fromkeys(
        request.look.picture for request in prints if request.look.picture.spotting
    )
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
        replace(request, look=replace(request.look, picture=done[request.look.picture]))
        if request.look.picture in done
        else request
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
