"""Noise and edge overshoot of pixels: how noisy a picture is, and whether it was sharpened.

Both read a few windows of lightness at the print's own size, rows by columns, as L* or as the
16-bit steps in which lightness travels, and give one number.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, map_coordinates, maximum_filter

from sightsize.imaging.raster.lookup_tables import STEPS_PER_L

Floats = NDArray[np.float64]

_MAD_OF_UNIT_NOISE = 0.6745
_BLOCK_PX, _CELL_PX = 32, 4
_FLATTEST = 0.25
_TEXTURE_GROWTH = 2.0
_NO_BLOCKS = np.empty((0, _BLOCK_PX**2))

_REACH_PX, _PLATEAU_PX, _HALF_LENGTH_PX, _SAMPLES = 12, 8, 8, 2
_LEAST_HEIGHT = 15.0
_LEAST_COHERENCE = 0.9
_UNEVEN = 0.08
_APART_PX, _CREST = 5, 0.97
_MOST_EDGES, _LEAST_EDGES = 200, 8
_TRIED_IN_A_WINDOW = 400
_LEAST_SLOPE = 0.8
"""The least rise from pixel to pixel of an edge that is high enough within what is read of it."""
_CUT = 2.0
_NO_PROFILES = np.empty((0, 2 * _REACH_PX * _SAMPLES + 1))


def noise_sigma(windows: Sequence[NDArray[Any]], spacing_px: int = 1) -> float:
    """Return the standard deviation of a picture's noise in L*.

    It is the median of the diagonal Haar detail over 0.6745 (Donoho and Johnstone, Biometrika 81,
    1994, from memory), which neither ramps nor upright or level edges reach, over the quarter of
    blocks with the least in them. Flatness is told from means, which noise hardly moves, so that
    choosing does not make the noise smaller. Blocks that touch black or white have lost theirs and
    are left out. Without any block the noise is 0.

    What texture is still in them grows with the distance between the pixels, about twofold when
    that doubles, and noise does not: so much is taken off.

    Neighbouring pixels of an enlargement share their noise: ``spacing_px``, the magnification
    rounded up, takes pixels that do not.
    """
    found = [_blocks(_l_star(window), spacing_px) for window in windows]
    near, far = (np.concatenate([_NO_BLOCKS, *(each[at] for each in found)]) for at in (0, 1))
    unevenness = np.concatenate([np.empty(0), *(each[2] for each in found)])
    if not len(near):
        return 0.0
    count = max(1, round(len(near) * _FLATTEST))
    flattest = np.argsort(unevenness, kind="stable")[:count]
    variance, wider = (_robust_sigma(each[flattest]) ** 2 for each in (near, far))
    texture = max(0.0, wider - variance) / (_TEXTURE_GROWTH**2 - 1)
    return float(max(0.0, variance - texture) ** 0.5)


def edge_overshoot(windows: Sequence[NDArray[Any]]) -> float:
    """Return how far edges go beyond the plateaus beside them, as a share of their height.

    The strongest straight edges are read across, each averaged along its length; the median of
    their profiles is free of noise. The lesser of the overshoots on the light and the dark side
    counts, since shrinking in linear light darkens the dark side alone. 0 without such edges. A
    bare step from one pixel to the next, which no lens draws, reads as 10 %: between its pixels
    the cubic overshoots by itself.
    """
    found = [_profiles(_l_star(window)) for window in windows]
    profiles = np.concatenate([_NO_PROFILES, *found])
    strongest = np.argsort(-_steepness(profiles), kind="stable")[:_MOST_EDGES]
    sides = [_beyond(profiles[strongest]), _beyond(100 - profiles[strongest][:, ::-1])]
    seen = [side for side in sides if side is not None]
    return max(0.0, min(seen)) if seen else 0.0


def _l_star(window: NDArray[Any]) -> Floats:
    scale = STEPS_PER_L if np.issubdtype(window.dtype, np.integer) else 1.0
    return np.asarray(window, np.float64) / scale


def _robust_sigma(details: Floats) -> float:
    return float(np.median(np.abs(details)) / _MAD_OF_UNIT_NOISE)


def _blocks(window: Floats, spacing: int) -> tuple[Floats, Floats, Floats]:
    """Each block's diagonal detail, one row each, the same twice as wide, and its unevenness."""
    rows, columns = ((side - 2 * spacing) // _BLOCK_PX * _BLOCK_PX for side in window.shape)
    if rows <= 0 or columns <= 0:
        return _NO_BLOCKS, _NO_BLOCKS, np.empty(0)
    pixels = _cut(window[:rows, :columns], _BLOCK_PX).reshape(-1, _BLOCK_PX**2)
    whole = (pixels.min(axis=1) > 0) & (pixels.max(axis=1) < 100)
    near, far = (
        _cut(_diagonal(window, apart)[:rows, :columns], _BLOCK_PX).reshape(-1, _BLOCK_PX**2)
        for apart in (spacing, 2 * spacing)
    )
    cells = _cut(window[:rows, :columns], _CELL_PX).mean(axis=(2, 3))
    unevenness = _cut(cells, _BLOCK_PX // _CELL_PX).std(axis=(2, 3)).ravel()
    return near[whole], far[whole], unevenness[whole]


def _diagonal(window: Floats, apart: int) -> Floats:
    """Haar's diagonal detail of pixels some way apart, which has the noise's own variance."""
    above, below = window[:-apart], window[apart:]
    return (above[:, :-apart] - above[:, apart:] - below[:, :-apart] + below[:, apart:]) / 2


def _cut(values: Floats, side: int) -> Floats:
    """Squares of ``side``: block row, block column, row, column."""
    rows, columns = values.shape
    squares = values.reshape(rows // side, side, columns // side, side)
    return squares.swapaxes(1, 2)


def _profiles(window: Floats) -> Floats:
    """Lightness across each strong straight edge from dark to light, one row each."""
    if np.ptp(window) < _LEAST_HEIGHT:
        return _NO_PROFILES
    down, across = (gaussian_filter(window, 1.0, order=order) for order in ((1, 0), (0, 1)))
    y, x = _edge_points(np.hypot(down, across))
    angle, coherence = _direction(down, across, y, x)
    straight = coherence >= _LEAST_COHERENCE
    profiles = _read_across(window, y[straight], x[straight], angle[straight])
    return profiles[_is_step(profiles)]


def _edge_points(gradient: Floats) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Rows and columns of the steepest place in each small square, well inside the rim."""
    crest = np.where(gradient >= _CREST * maximum_filter(gradient, _APART_PX), gradient, 0)
    rim = _REACH_PX + _HALF_LENGTH_PX
    rows, columns = ((side - 2 * rim) // _APART_PX * _APART_PX for side in gradient.shape)
    if rows <= 0 or columns <= 0:
        return np.empty(0, np.intp), np.empty(0, np.intp)
    squares = _cut(crest[rim : rim + rows, rim : rim + columns], _APART_PX)
    slopes = squares.reshape(*squares.shape[:2], -1)
    down, across = np.divmod(slopes.argmax(axis=2), _APART_PX)
    y = rim + down + _APART_PX * np.arange(squares.shape[0])[:, None]
    x = rim + across + _APART_PX * np.arange(squares.shape[1])
    steepest = slopes.max(axis=2).ravel()
    first = np.argsort(-steepest, kind="stable")[:_TRIED_IN_A_WINDOW]
    first = first[steepest[first] >= _LEAST_SLOPE]
    return y.ravel()[first], x.ravel()[first]


def _direction(
    down: Floats, across: Floats, y: NDArray[np.intp], x: NDArray[np.intp]
) -> tuple[Floats, Floats]:
    """Angle of the steepest rise, and how much of one mind the neighbourhood is, 0 to 1.

    From the structure tensor (Bigun and Granlund 1987, from memory), summed over squares of 2 x 2
    before it is smoothed, which takes an eighth of the time.
    """
    pairs = ((across, across), (across, down), (down, down))
    xx, xy, yy = (_smooth_at(a * b, y, x) for a, b in pairs)
    angle = np.arctan2(2 * xy, xx - yy) / 2
    rises = np.cos(angle) * across[y, x] + np.sin(angle) * down[y, x] >= 0
    coherence = np.hypot(xx - yy, 2 * xy) / np.maximum(xx + yy, 1e-12)
    return np.where(rises, angle, angle + np.pi), coherence


def _smooth_at(values: Floats, y: NDArray[np.intp], x: NDArray[np.intp]) -> Floats:
    """Values under a Gaussian of a quarter of the length along an edge, at given pixels."""
    rows, columns = (side // 2 * 2 for side in values.shape)
    above, below = values[:rows:2, :columns], values[1:rows:2, :columns]
    halved = above[:, ::2] + above[:, 1::2] + below[:, ::2] + below[:, 1::2]
    return np.asarray(gaussian_filter(halved, _HALF_LENGTH_PX / 4)[y // 2, x // 2])


def _read_across(window: Floats, y: NDArray[np.intp], x: NDArray[np.intp], angle: Floats) -> Floats:
    """Cubic samples along each normal, averaged along the edge."""
    out = np.arange(-_REACH_PX * _SAMPLES, _REACH_PX * _SAMPLES + 1)[None, None] / _SAMPLES
    along = np.arange(-_HALF_LENGTH_PX, _HALF_LENGTH_PX + 1)[None, :, None]
    cosine, sine = np.cos(angle)[:, None, None], np.sin(angle)[:, None, None]
    rows = y[:, None, None] + out * sine + along * cosine
    columns = x[:, None, None] + out * cosine - along * sine
    return np.asarray(map_coordinates(window, [rows, columns], order=3).mean(axis=1))


def _plateaus(profiles: Floats) -> tuple[Floats, Floats]:
    far = (_REACH_PX - _PLATEAU_PX) * _SAMPLES + 1
    return profiles[:, :far], profiles[:, -far:]


def _is_step(profiles: Floats) -> NDArray[np.bool_]:
    """High enough, and level on both sides."""
    dark, light = _plateaus(profiles)
    height = light.mean(axis=1) - dark.mean(axis=1)
    uneven = np.maximum(np.ptp(dark, axis=1), np.ptp(light, axis=1))
    return np.asarray((height >= _LEAST_HEIGHT) & (uneven <= _UNEVEN * height))


def _steepness(profiles: Floats) -> Floats:
    return np.asarray(np.diff(profiles, axis=1).max(axis=1, initial=0.0))


def _beyond(profiles: Floats) -> float | None:
    """Median overshoot on the light side of profiles whose light is not cut; None if too few."""
    dark, light = (each.mean(axis=1, keepdims=True) for each in _plateaus(profiles))
    kept = (light < 100 - _CUT).ravel()
    if kept.sum() < _LEAST_EDGES:
        return None
    shares = (profiles[kept] - dark[kept]) / (light[kept] - dark[kept])
    middle = np.median([_centred(each) for each in shares], axis=0)
    return float(middle[_SAMPLES * _REACH_PX : _SAMPLES * (_REACH_PX + _PLATEAU_PX)].max() - 1)


def _centred(share: Floats) -> Floats:
    """A profile from 0 to 1 moved so that it stands at a half in the middle."""
    at = np.arange(len(share))
    after = int(np.argmax(share >= 0.5))
    before = after - 1
    half = before + (0.5 - share[before]) / (share[after] - share[before])
    return np.asarray(np.interp(at + half - _SAMPLES * _REACH_PX, at, share))
