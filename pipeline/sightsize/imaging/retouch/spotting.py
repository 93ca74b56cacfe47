"""Spotting: marks on the picture are cleared with clean picture from nearby.

Each mark's pixels become those of a donor of the same shape, set onto a membrane that joins them to
what surrounds the mark. Marks are cleared in order and see what earlier ones left. A long scratch
is cleared piece by piece, each with its own donor. What is not clean yet, the next pieces and later
marks, is never taken for what surrounds a mark, and no donor that is searched for lies on a mark.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sightsize.errors import SpottingError
from sightsize.imaging.retouch.donor import (
    LARGEST_WINDOW,
    MOST_COST,
    Light,
    Read,
    Search,
    find_donor,
)
from sightsize.imaging.retouch.membrane import membrane
from sightsize.imaging.retouch.patches import Patch
from sightsize.model.geometry import Box
from sightsize.plan.mark_shapes import (
    Marks,
    Mask,
    Points,
    Whole,
    as_arrays,
    bounds,
    centres,
    cuts,
    depth,
    donor_fault,
    donor_shift,
    grow,
    near_line,
)
from sightsize.plan.places import Mark

SOFT_EDGE = 0.15
"""Width of the soft edge inside a mark's outline, in radii: common practice, no source."""

_MOST_TOLD = 10
"""Marks that one message tells of; the rest are counted."""

_SMALLER = "reduce the radius"
_LARGEST_RADIUS_PX = 500
"""The membrane of one takes 19 s of the processor and 1.3 GB, as measured; SuperLU fails at 600."""


class _NoDonorError(Exception):
    """A mark without a clean donor: why, what its author could name, or do otherwise."""

    def __init__(self, why: str, wanted: str = "a donor", otherwise: str = _SMALLER) -> None:
        super().__init__(why)
        self.why, self.wanted, self.otherwise = why, wanted, otherwise


@dataclass(frozen=True)
class _Piece:
    """The part of a mark's line between two cuts, in pixels along it, and the rest to come."""

    mark: Mark
    start: complex
    end: complex
    first: float
    last: float

    def covers(self, points: Points) -> Mask:
        return self._on_mark(points) & (self._along(points) >= self.first) & ~self._beyond(points)

    def leaves(self, points: Points) -> Mask:
        """True for points of the mark that later pieces clear."""
        return self._on_mark(points) & self._beyond(points)

    def _on_mark(self, points: Points) -> Mask:
        return depth(points, self.mark) >= 0

    def _beyond(self, points: Points) -> Mask:
        return self._along(points) >= self.last

    def _along(self, points: Points) -> NDArray[np.float64]:
        start, end = complex(*self.mark.start), complex(*self.mark.end)
        length = abs(end - start)
        return ((points - start) * (end - start).conjugate()).real / (length or 1)


@dataclass(frozen=True)
class _Cleared:
    """New light for some pixels of a box, and the light that was there."""

    box: Box
    shape: Mask
    light: Light
    before: Light


def find_patches(
    read: Read, size_px: tuple[int, int], marks: Sequence[Mark]
) -> tuple[list[Patch], list[str]]:
    """Return a patch for each piece cleared, and a note for each mark that was left as it is.

    ``read`` returns the linear light of a box of the upright source, (rows, columns, bands).
    Raises SpottingError, all in one, for required marks without a clean donor.
    """
    lines = as_arrays(marks)
    cleared: list[_Cleared] = []
    notes, refusals = [], []
    for number, mark in enumerate(marks):
        later = lines.among(np.arange(len(marks)) > number)
        try:
            if mark.radius_px > _LARGEST_RADIUS_PX:
                why = f"its radius of {mark.radius_px:.0f} px is above {_LARGEST_RADIUS_PX}"
                raise _NoDonorError(why, "several smaller marks")
            fault = donor_fault(mark, later, size_px)
            if fault:
                raise _NoDonorError(fault, "another donor")
            cleared += _clear(_over(read, cleared), size_px, mark, lines, later)
        except _NoDonorError as error:
            if mark.required:
                remedy = f"name {error.wanted}, or {error.otherwise}"
                refusals.append(f"{mark.label} cannot be cleared: {error.why}; {remedy}")
            else:
                notes.append(f"{mark.label} was left as it is: {error.why}.")
    if refusals:
        more = len(refusals) - _MOST_TOLD
        told = refusals[:_MOST_TOLD] + ([f"and {more} more marks"] if more > 0 else [])
        raise SpottingError("; ".join(told))
    return [_patch(each, cleared, read) for each in cleared], notes


def _patch(own: _Cleared, cleared: Sequence[_Cleared], read: Read) -> Patch:
    """What a box holds when everything that meets it is cleared."""
    alone = not any(_meet(own.box, each.box) for each in cleared if each is not own)
    light = own.light if alone else _over(read, cleared)(own.box)
    return Patch(own.box.left, own.box.top, light)


def _clear(
    read: Read, size_px: tuple[int, int], mark: Mark, marks: Marks, later: Marks
) -> list[_Cleared]:
    """Every piece of a mark, cleared to its strength."""
    whole: list[_Cleared] = []
    for piece in _pieces(mark):
        columns, rows = _pixels(piece, size_px)
        if len(columns):
            task = _Task(_over(read, whole), size_px, piece, (columns, rows), marks, later)
            whole.append(_replace(task))
    return [_blend(each, mark) for each in whole]


def _pieces(mark: Mark) -> list[_Piece]:
    line = cuts(mark)
    alongs = [-np.inf, *(abs(cut - line[0]) for cut in line[1:-1]), np.inf]
    return [
        _Piece(mark, line[number], line[number + 1], alongs[number], alongs[number + 1])
        for number in range(len(line) - 1)
    ]


def _pixels(piece: _Piece, size_px: tuple[int, int]) -> tuple[Whole, Whole]:
    """Columns and rows of a piece's pixels inside the picture."""
    box = near_line(piece.start, piece.end, piece.mark.radius_px, size_px)
    rows, columns = np.nonzero(piece.covers(centres(box)))
    return columns + box.left, rows + box.top


@dataclass(frozen=True)
class _Task:
    """A piece to clear and what is there to clear it with."""

    read: Read
    size_px: tuple[int, int]
    piece: _Piece
    pixels: tuple[Whole, Whole]
    marks: Marks
    later: Marks


def _replace(task: _Task) -> _Cleared:
    """A piece with its donor in its place, at full strength."""
    columns, rows = task.pixels
    around = bounds(columns + 1j * rows)
    box = grow(around, 1, task.size_px)
    shape = np.zeros((box.height, box.width), bool)
    shape[rows - box.top, columns - box.left] = True
    piece, radius = task.piece, task.piece.mark.radius_px
    near = task.later.among(task.later.near(piece.start, piece.end, 1.5 * radius + 4))

    def dirty(points: Points) -> Mask:
        return piece.leaves(points) | near.cover(points)

    read = _remember(task.read, grow(around, int(4.4 * radius) + 10, task.size_px))
    across, down = _shift(read, task, dirty)
    donor = read(Box(box.left + across, box.top + down, box.width, box.height)).astype(np.float64)
    known = ~dirty(centres(box))
    if not known[~shape].any():  # it lies in a later mark, which will replace its surroundings too
        known = ~shape
    before = read(box)
    joined = donor + membrane(shape, known, before - donor)
    return _Cleared(box, shape, joined.astype(np.float32), before)


def _shift(read: Read, task: _Task, dirty: Callable[[Points], Mask]) -> tuple[int, int]:
    """The shift to the donor that was named, or to the best there is."""
    piece = task.piece
    if piece.mark.donor is not None:
        return donor_shift(piece.mark)
    search = Search(piece.start, piece.end, piece.mark.radius_px, task.pixels, dirty, task.marks)
    donor = find_donor(read, task.size_px, search)
    if donor is None:
        raise _NoDonorError("there is no unmarked place of its size nearby")
    if donor.cost > MOST_COST:
        raise _NoDonorError(
            "the best place nearby differs too much from the mark's surroundings "
            f"({donor.cost:.1f} times their own texture, at most {MOST_COST:g})",
            otherwise="increase the radius if the mark extends beyond it, or reduce it if it "
            "touches an edge",
        )
    return donor.shift


def _blend(cleared: _Cleared, mark: Mark) -> _Cleared:
    """As far as the strength goes, and less along the soft edge."""
    inside = depth(centres(cleared.box), mark) / (SOFT_EDGE * mark.radius_px)
    share = (mark.strength * np.clip(inside, 0, 1)).astype(np.float32)[..., None]
    light = cleared.before + share * (cleared.light - cleared.before)
    return replace(cleared, light=light)


def _over(read: Read, cleared: Sequence[_Cleared]) -> Read:
    """Read what has been cleared in place of what was there."""
    cleared = tuple(cleared)

    def look(box: Box) -> Light:
        light = read(box)
        met = [each for each in cleared if _meet(each.box, box)]
        if met:
            light = light.copy()
        for each in met:
            _put(each, light, box)
        return light

    return look


def _meet(one: Box, other: Box) -> bool:
    return (
        one.left < other.left + other.width
        and other.left < one.left + one.width
        and one.top < other.top + other.height
        and other.top < one.top + one.height
    )


def _put(cleared: _Cleared, light: Light, box: Box) -> None:
    """Write what has been cleared into the light of a box that meets it."""
    own = cleared.box
    left, top = max(own.left, box.left), max(own.top, box.top)
    right = min(own.left + own.width, box.left + box.width)
    bottom = min(own.top + own.height, box.top + box.height)
    there = np.s_[top - box.top : bottom - box.top, left - box.left : right - box.left]
    here = np.s_[top - own.top : bottom - own.top, left - own.left : right - own.left]
    shape = cleared.shape[here]
    light[there][shape] = cleared.light[here][shape]


def _remember(read: Read, window: Box) -> Read:
    """Read a window once, unless it is too large to keep, and look there from then on."""
    if window.width * window.height > LARGEST_WINDOW:
        return read
    pixels = read(window)

    def look(box: Box) -> Light:
        left, top = box.left - window.left, box.top - window.top
        if left < 0 or top < 0 or left + box.width > window.width:
            return read(box)
        if top + box.height > window.height:
            return read(box)
        return pixels[top : top + box.height, left : left + box.width]

    return look
