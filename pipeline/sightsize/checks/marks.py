"""Checks of marks to clear: their size, their donors, and whether they are marks at all."""

from collections.abc import Iterator

from sightsize.base.findings import Finding
from sightsize.checks.registry import check, say
from sightsize.job.face_marks import face_of
from sightsize.plan.picture import PicturePlan
from sightsize.plan.sheet import PlacedPicture

_LARGEST_MARK = 0.03
_LEAST_MARK_PX = 0.8
_PERMANENT_RADIUS = 0.015
_PERMANENT_FACES = 3
"""Radius as a share of the face, and pictures with a mark at one place: common practice."""


@check(
    "mark-size",
    "picture",
    "picture.spotting",
    "a mark too large to spot out without a trace",
    "refuse",
    is_acceptable=False,
)
def _mark_size(placed: PlacedPicture[PicturePlan]) -> Iterator[Finding]:
    limit = _LARGEST_MARK * placed.picture.header.upright_px[0]
    for mark in placed.picture.marks:
        if mark.required and mark.radius_px > limit:
            yield say(
                "refuse",
                f"{mark.label} reaches {mark.radius_px:.3g} px from its centre; the limit is "
                f"{_LARGEST_MARK:.0%} of the picture's width, {limit:.3g} px.",
                "Make it smaller, or cover it with several marks.",
            )


@check("tiny-mark", "picture", "picture.spotting", "a mark too small to cover a pixel", "warn")
def _tiny_mark(placed: PlacedPicture[PicturePlan]) -> Iterator[Finding]:
    for mark in placed.picture.marks:
        if mark.required and mark.radius_px < _LEAST_MARK_PX:
            yield say(
                "warn",
                f"{mark.label} reaches only {mark.radius_px:.2g} px from its centre and clears "
                "nothing.",
                "Increase its radius or width.",
            )


@check(
    "donor",
    "picture",
    "picture.spotting",
    "a donor that is marked itself or lies outside the picture",
    "refuse",
    is_acceptable=False,
)
def _donor(placed: PlacedPicture[PicturePlan]) -> Iterator[Finding]:
    if all(mark.donor is None for mark in placed.picture.marks):
        return
    from sightsize.plan.mark_shapes import (
        donor_faults,  # and numpy, which few jobs need for their checks
    )

    for mark, fault in donor_faults(placed.picture.marks, placed.picture.header.upright_px):
        yield say("refuse", f"{mark.label} cannot be cleared: {fault}.", "Choose another donor.")


@check(
    "permanent-mark",
    "picture",
    "picture.spotting",
    "retouching away a mole or a scar by mistake",
    "warn",
)
def _permanent_mark(placed: PlacedPicture[PicturePlan]) -> Iterator[Finding]:
    picture, marks = (
        placed.picture.look.picture,
        [mark for mark in placed.picture.marks if mark.required],
    )
    for number, (spot, mark) in enumerate(zip(picture.spotting, marks, strict=True), start=1):
        face = face_of(spot, picture)
        if face is None or spot.strength < 1:
            continue
        share = mark.radius_px / float(face.box.width * placed.picture.header.upright_px[0])
        if share > _PERMANENT_RADIUS or spot.in_faces >= _PERMANENT_FACES:
            why = (
                f"its radius is {share:.1%} of the face's width"
                if share > _PERMANENT_RADIUS
                else f"a mark sits at the same place in {spot.in_faces} pictures"
            )
            yield say(
                "warn",
                f"spot {number} on {face.label} may be permanent: {why}.",
                "Ask before you remove it; strength = 0.5 only softens it.",
            )
