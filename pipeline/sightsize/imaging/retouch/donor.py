"""Where to take clean picture from: the place whose surroundings are most like the mark's own.

Pixels are judged in Hunter's lightness, 100 times the square root of luminance (Hunter, J. Opt.
Soc. Am. 48, 1958; from memory): close enough to the cube root here, the transform that makes photon
noise even (Anscombe, Biometrika 35, 1948; from memory), and a tenth of the time.

What the membrane will follow anyway, a plane of shading, is taken off before anything is compared.
A place costs, in squared units of lightness, the mean squared difference of the two rings, half the
difference between the variance inside it and that of the mark's ring, and a fifth of the mean
squared difference of the rings' gradients: common practice, no source.

Points are complex numbers, x + iy, in pixels from the picture's top left corner.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sightsize.imaging.raster.pixels import weigh
from sightsize.model.geometry import Box
from sightsize.numbers.tones import RESPONSES
from sightsize.plan.mark_shapes import Marks, Points, Whole, distance

Light = NDArray[np.float32]
Read = Callable[[Box], Light]

MOST_COST = 3.0
"""Cost of a donor, as a multiple of the ring's own noise, beyond which it would show: two clean
pieces of one texture differ by twice its variance."""

_FEWEST_JUDGED = 4
"""Clean places along the ring that it takes to judge a donor."""
_ANGLES, _DISTANCES = 24, 3
_NEAREST, _FARTHEST = 2.2, 4.0
"""Distances of donors in radii."""
_MOST_AROUND, _MOST_INSIDE = 64, 128
"""Samples along the ring and inside the shape."""
_FEWEST_AROUND = 8
_LEAST_NOISE, _MOST_NOISE = 0.6, 6.0
"""Bounds of the noise in units of lightness: a difference below the first is not seen, and no
texture of skin, cloth or sand goes far beyond the second, but an edge does."""
_TOE = 0.003
"""Light added before the root, which gives black the slope that L* has there."""
_NO_PLANE = 1e-6
"""Keeps pixels in a line, which fit many planes, from having none."""
LARGEST_WINDOW = 4_000_000
"""Pixels that are read at once."""


@dataclass(frozen=True)
class Search:
    """What a donor is sought for: a line and radius, its pixels, and what may not be used."""

    start: complex
    end: complex
    radius: float
    pixels: tuple[Whole, Whole]
    """Columns and rows of the shape."""
    dirty: Callable[[Points], NDArray[np.bool_]]
    """True for points that are not clean yet."""
    marks: Marks


@dataclass(frozen=True)
class Donor:
    """A whole-pixel shift, and its cost as a multiple of the noise of the mark's ring."""

    shift: tuple[int, int]
    cost: float


def find_donor(read: Read, size_px: tuple[int, int], search: Search) -> Donor | None:
    """Return the donor that costs least, the first by angle of equals; None when none has room.

    A shape with no clean surroundings, inside a mark still to be cleared, gets the first.
    """
    around = _ring(search, size_px)
    inside = _some(search.pixels, _MOST_INSIDE)
    shifts = _with_room(_shifts(search), around, search, size_px)
    if not len(shifts):
        return None
    if len(around[0]) < _FEWEST_JUDGED:
        return Donor((int(shifts[0].real), int(shifts[0].imag)), 0.0)
    shifts = np.concatenate([[0j], shifts])
    both = [np.concatenate([ring.ravel(), disc]) for ring, disc in zip(around, inside, strict=True)]
    lightness = _lightness(read, both[0], both[1], shifts)
    rings = _without_plane(lightness[:, : around[0].size], around)
    discs = _without_plane(lightness[1:, around[0].size :], inside)
    rings = rings.reshape(len(shifts), *around[0].shape)
    costs = _costs(rings[0], rings[1:], discs) / _noise(rings)
    best = int(np.argmin(np.round(costs, 4)))
    shift = shifts[best + 1]
    return Donor((int(shift.real), int(shift.imag)), float(costs[best]))


def _ring_width(radius: float) -> float:
    return max(2.0, 0.2 * radius)


def _ring(search: Search, size_px: tuple[int, int]) -> tuple[Whole, Whole]:
    """Columns and rows of the clean pixels round the shape: (steps along, steps across)."""
    width = _ring_width(search.radius)
    offsets = search.radius + np.linspace(0.7, width - 0.3, 2 if width < 3 else 3)
    feet, normals = _outline(search, offsets.mean())
    points = feet[:, None] + normals[:, None] * offsets
    columns, rows = _pixels(points)
    within = (columns >= 0) & (rows >= 0) & (columns < size_px[0]) & (rows < size_px[1])
    clean = (within & ~search.dirty(points)).all(axis=1)
    return columns[clean], rows[clean]


def _outline(search: Search, radius: float) -> tuple[Points, Points]:
    """Points along the line, there and back, and the directions outwards: once round the shape."""
    line = search.end - search.start
    normal = 1j * line / abs(line) if line else 1j
    length = 2 * abs(line) + 2 * np.pi * radius
    steps = int(np.clip(round(length), _FEWEST_AROUND, _MOST_AROUND))
    straight = round(steps * abs(line) / length)
    turn = normal * np.exp(
        -1j * np.pi * (np.arange(steps // 2 - straight) + 0.5) / max(steps // 2 - straight, 1)
    )
    share = (np.arange(straight) + 0.5) / max(straight, 1)
    there, cap = search.start + share * line, np.full(turn.shape, search.end)
    back, first_cap = search.end - share * line, np.full(turn.shape, search.start)
    side = np.full(straight, normal)
    return np.concatenate([there, cap, back, first_cap]), np.concatenate([side, turn, -side, -turn])


def _pixels(points: Points) -> tuple[Whole, Whole]:
    return np.floor(points.real).astype(np.intp), np.floor(points.imag).astype(np.intp)


def _some(pixels: tuple[Whole, Whole], most: int) -> tuple[Whole, Whole]:
    """At most so many pixels of a list, evenly."""
    columns, rows = pixels
    chosen = np.linspace(0, len(rows) - 1, min(len(rows), most)).astype(np.intp)
    return columns[chosen], rows[chosen]


def _shifts(search: Search) -> Points:
    """Whole-pixel shifts in order of preference among equals: all round a spot, across a line."""
    least = 2 * search.radius + _ring_width(search.radius) + 2
    more = max(least - _NEAREST * search.radius, 0)
    distances = np.linspace(_NEAREST, _FARTHEST, _DISTANCES) * search.radius + more
    line = search.end - search.start
    if line:
        along = np.linspace(-0.5, 0.5, _ANGLES // 2) * (abs(line) + search.radius)
        across = np.concatenate([1j * distances, -1j * distances])
        ways = (along[:, None] + across) * line / abs(line)
    else:
        ways = np.exp(2j * np.pi * np.arange(_ANGLES) / _ANGLES)[:, None] * distances
    return np.asarray(np.rint(ways.ravel()))


def _with_room(
    shifts: Points, around: tuple[Whole, Whole], search: Search, size_px: tuple[int, int]
) -> Points:
    """The shifts that leave shape and ring in the picture and the shape off every mark."""
    fits = np.ones(len(shifts), bool)
    both = zip((shifts.real, shifts.imag), search.pixels, around, size_px, strict=True)
    for shift, shape, ring, size in both:
        low = min(shape.min() - 1, ring.min(initial=size))
        high = max(shape.max() + 1, ring.max(initial=0))
        # Of a mark at the picture's edge no more is wanted than stands in the picture.
        fits &= (max(low, 0) + shift >= 0) & (min(high, size - 1) + shift < size)
    shifts = shifts[fits]
    reach = np.abs(shifts).max(initial=0) + search.radius + 2
    near = search.marks.among(search.marks.near(search.start, search.end, reach))
    clear = _between(search, shifts, near) - near.radii > search.radius + 1.5
    return shifts[clear.all(axis=1)]


def _between(search: Search, shifts: Points, marks: Marks) -> NDArray[np.float64]:
    """The distance of each shifted line from each mark's line; 0 where they cross."""
    start, end = (search.start + shifts)[:, None], (search.end + shifts)[:, None]
    apart = np.minimum(
        np.minimum(
            distance(start, marks.starts, marks.ends), distance(end, marks.starts, marks.ends)
        ),
        np.minimum(*(distance(each, start, end) for each in (marks.starts, marks.ends))),
    )
    own = _side(marks.starts, start, end) * _side(marks.ends, start, end) < 0
    other = _side(start, marks.starts, marks.ends) * _side(end, marks.starts, marks.ends) < 0
    return np.where(own & other, 0.0, apart)


def _side(points: Points, start: Points, end: Points) -> NDArray[np.float64]:
    """Positive on one side of a line and negative on the other."""
    return np.asarray(((points - start) * (end - start).conj()).imag)


def _lightness(read: Read, columns: Whole, rows: Whole, shifts: Points) -> Light:
    """Lightness of the same pixels at each shift: (shifts, pixels)."""
    across, down = shifts.real.astype(np.intp), shifts.imag.astype(np.intp)
    left, top = columns.min() + across.min(), rows.min() + down.min()
    width = columns.max() + across.max() + 1 - left
    height = rows.max() + down.max() + 1 - top
    if width * height > LARGEST_WINDOW and len(shifts) > 1:
        each = [_lightness(read, columns, rows, shift[None]) for shift in shifts]
        return np.concatenate(each)
    light = read(Box(int(left), int(top), int(width), int(height)))
    weights = RESPONSES["luminance"] if light.shape[2] == 3 else (1.0,)
    lightness = 100 * np.sqrt(np.maximum(weigh(light, weights), 0) + np.float32(_TOE))
    places = (rows + down[:, None] - top) * width + columns + across[:, None] - left
    return np.asarray(lightness.reshape(-1).take(places))


def _without_plane(values: Light, pixels: tuple[Whole, Whole]) -> Light:
    """Values less the plane that lies closest to them."""
    columns, rows = (each.ravel() for each in pixels)
    basis = np.stack([np.ones(len(rows)), columns - columns.mean(), rows - rows.mean()])
    fit = basis.T @ np.linalg.inv(basis @ basis.T + _NO_PLANE * np.eye(3))
    plane = (values @ fit.astype(np.float32)) @ basis.astype(np.float32)
    return np.asarray(values - plane)


def _costs(target: Light, rings: Light, discs: Light) -> NDArray[np.float64]:
    off = rings - target
    gradients = (_mean_square(np.diff(off, axis=2)) + _mean_square(np.diff(off, axis=1))) / 2
    variances = np.abs(_mean_square(discs) - np.square(target).mean())
    return np.asarray(_mean_square(off) + 0.5 * variances + 0.2 * gradients, np.float64)


def _mean_square(values: Light) -> Light:
    """The mean square at each shift."""
    flat = values.reshape(len(values), -1)
    return np.asarray(np.einsum("sn,sn->s", flat, flat) / np.float32(flat.shape[1]))


def _noise(rings: Light) -> float:
    """The variance of the texture: the median over the mark's own ring and those of all donors.

    An edge that crosses some of the rings does not count as texture, not even where it crosses the
    mark's own.
    """
    within = float(np.median(_mean_square(rings)))
    return float(np.clip(within, _LEAST_NOISE**2, _MOST_NOISE**2))
