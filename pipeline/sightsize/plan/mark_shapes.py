"""Marks as pixels: what they cover, and whether the donor named for one has clean picture to give.

Points are complex numbers, x + iy, in pixels from the picture's top left corner.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sightsize.model.geometry import Box
from sightsize.plan.places import Mark

Points = NDArray[np.complex128]
Whole = NDArray[np.intp]
Mask = NDArray[np.bool_]

_LONGEST_PX, _LONGEST_RADII = 128, 8
"""A line is looked at in pieces no longer than the greater of these."""
_ROOM_PX = 1.5
"""Room between a mark and its own donor, whose rim the membrane is joined to."""


@dataclass(frozen=True)
class Marks:
    """Marks as arrays: their lines and radii."""

    starts: Points
    ends: Points
    radii: NDArray[np.float64]

    def among(self, chosen: Mask) -> "Marks":
        """Return some of the marks."""
        return Marks(self.starts[chosen], self.ends[chosen], self.radii[chosen])

    def near(self, start: complex, end: complex, reach: float) -> Mask:
        """True for each mark that could lie within ``reach`` of a line."""
        middles, halves = (self.starts + self.ends) / 2, np.abs(self.ends - self.starts) / 2
        apart = np.abs(middles - (start + end) / 2) - halves - abs(end - start) / 2
        return np.asarray(apart <= reach + self.radii)

    def cover(self, points: Points) -> Mask:
        """True for each point on any mark."""
        covered = np.zeros(points.shape, bool)
        for start, end, radius in zip(self.starts, self.ends, self.radii, strict=True):
            covered |= distance(points, start, end) <= radius
        return covered


def as_arrays(marks: Sequence[Mark]) -> Marks:
    """Return marks as arrays."""
    return Marks(
        np.array([complex(*mark.start) for mark in marks], complex),
        np.array([complex(*mark.end) for mark in marks], complex),
        np.array([mark.radius_px for mark in marks], float),
    )


def distance(points: Points, start: complex | Points, end: complex | Points) -> NDArray[np.float64]:
    """Return the distance of points from a line between two points, ends included."""
    line = np.asarray(end - start)
    length2 = line.real**2 + line.imag**2
    along = ((points - start) * line.conj()).real / np.where(length2 > 0, length2, 1)
    return np.asarray(np.abs(points - start - np.clip(along, 0, 1) * line))


def depth(points: Points, mark: Mark) -> NDArray[np.float64]:
    """Return how far inside a mark's outline points lie, in pixels; negative outside."""
    return mark.radius_px - distance(points, complex(*mark.start), complex(*mark.end))


def cuts(mark: Mark) -> list[complex]:
    """Return the ends of a mark's line and where it is cut into pieces."""
    start, end = complex(*mark.start), complex(*mark.end)
    longest = max(_LONGEST_PX, _LONGEST_RADII * mark.radius_px)
    count = max(int(np.ceil(abs(end - start) / longest)), 1)
    return [start + (end - start) * number / count for number in range(count + 1)]


def bounds(points: Points) -> Box:
    """Return the box of the pixels that points lie in."""
    left, top = int(np.floor(points.real.min())), int(np.floor(points.imag.min()))
    right, bottom = int(np.floor(points.real.max())), int(np.floor(points.imag.max()))
    return Box(left, top, right + 1 - left, bottom + 1 - top)


def grow(box: Box, more: int, size_px: tuple[int, int]) -> Box:
    """Return a box and some pixels round it, as far as they lie in the picture."""
    left, top = max(box.left - more, 0), max(box.top - more, 0)
    right = min(box.left + box.width + more, size_px[0])
    bottom = min(box.top + box.height + more, size_px[1])
    return Box(left, top, max(right - left, 0), max(bottom - top, 0))


def near_line(start: complex, end: complex, reach: float, size_px: tuple[int, int]) -> Box:
    """Return the box of the picture's pixels that may lie within ``reach`` of a line."""
    return grow(bounds(np.array([start, end])), int(reach) + 2, size_px)


def centres(box: Box) -> Points:
    """Return the middles of a box's pixels, rows by columns."""
    columns, rows = np.arange(box.width) + box.left, np.arange(box.height) + box.top
    return columns + 0.5 + 1j * (rows[:, None] + 0.5)


def donor_shift(mark: Mark) -> tuple[int, int]:
    """Return the whole pixels from a mark to the donor that is named for it."""
    assert mark.donor is not None
    shift = complex(*mark.donor) - (complex(*mark.start) + complex(*mark.end)) / 2
    return round(shift.real), round(shift.imag)


def donor_fault(mark: Mark, later: Marks, size_px: tuple[int, int]) -> str:
    """Return why the donor named for a mark has no clean picture to give; empty when it has.

    ``later`` are the marks that are cleared after it, ``size_px`` is the upright picture's size.
    """
    if mark.donor is None:
        return ""
    across, down = donor_shift(mark)
    shift = complex(across, down)
    start, end = (complex(*each) + shift for each in (mark.start, mark.end))
    later = later.among(later.near(start, end, mark.radius_px))
    for points in _middles(mark, size_px):
        # Of a mark at the picture's edge no more is wanted than stands in the picture.
        box = grow(bounds(points), 1, size_px)
        moved = Box(box.left + across, box.top + down, box.width, box.height)
        if grow(moved, 0, size_px) != moved:
            return "the donor reaches beyond the picture's edge"
        if (depth(points + shift, mark) > -_ROOM_PX).any():
            return "the donor lies on the mark itself"
        if later.cover(points + shift).any():
            return "the donor lies on a mark that is cleared later"
    return ""


def donor_faults(marks: Sequence[Mark], size_px: tuple[int, int]) -> Iterator[tuple[Mark, str]]:
    """Yield each mark whose named donor has no clean picture to give, and why."""
    lines, order = as_arrays(marks), np.arange(len(marks))
    for number, mark in enumerate(marks):
        fault = donor_fault(mark, lines.among(order > number), size_px) if mark.donor else ""
        if fault:
            yield mark, fault


def _middles(mark: Mark, size_px: tuple[int, int]) -> Iterator[Points]:
    """The middles of a mark's pixels inside the picture, piece by piece."""
    line = cuts(mark)
    for start, end in pairwise(line):
        points = centres(near_line(start, end, mark.radius_px, size_px))
        points = points[distance(points, start, end) <= mark.radius_px]
        if points.size:
            yield points
