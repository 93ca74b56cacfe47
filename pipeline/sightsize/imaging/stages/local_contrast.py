"""Local contrast: what differs from its neighbourhood differs a little more; edges are left alone.

The neighbourhood's lightness is a guided filter's, the picture its own guide (He, Sun and Tang,
Guided Image Filtering, IEEE PAMI 35, 2013): base = a * L + b. Its coefficients are smooth, so they
are computed on a small picture and spread over the print (He and Sun, Fast Guided Filter, arXiv
1505.00996, 2015).

out = L + limit(gain * fade * (L - base)) * 4x(1 - x), x = L / 100

The limit stands before the last factor, so that black and white stay and no tone overtakes another
at one place. The fade, 1 / (1 + (variance / eps)^2 / 2), is not in the papers. It takes the rim off
edges: beside one of 20 L* the filter alone leaves 3.7 L* times the gain, with the fade half of
that. It costs pictures about a third of their change.
"""

from functools import lru_cache
from math import tanh

import numpy as np
import pyvips
from numpy.typing import NDArray

from sightsize.imaging.raster.lookup_tables import STEPS_PER_L, tabulate, whole_steps
from sightsize.imaging.raster.spread import spread

Floats = NDArray[np.float64]

LARGEST_CHANGE = 5.0
"""What no tone is moved beyond, in L*: common practice, no source."""

_NO_DETAIL = 2**15
"""Index of detail 0 in its table; the table spans 50 L* to either side."""

_LEAST_RADIUS_PX = 3.5


def coarseness(radius_px: float) -> int:
    """Return how many pixels each way may become one in windows of a radius: He and Sun's rate."""
    return max(int(radius_px / _LEAST_RADIUS_PX), 1)


def base_coefficients(
    small: NDArray[np.float32], radius_px: float, eps: float = 36.0, every: int = 1
) -> NDArray[np.float32]:
    """Return a and b of the guided filter of a small lightness map, as rows x columns x 2.

    ``radius_px`` reaches from a pixel's middle to its window's edge, so a window spans exactly
    twice that whatever the map's size: R + 0.5 is a window of 2R + 1 whole pixels, and a pixel that
    the edge cuts counts in part. Windows end where the picture ends. ``eps`` is in L* squared:
    variance well below it is detail, well above it an edge. Where ``every`` is more than 1 so many
    pixels each way become one of the result; nothing of their own variance is lost.
    """
    lightness, radius_px = small.astype(np.float64), radius_px / every
    mean, squares = (
        _window_means(_average_blocks(each, every), radius_px) for each in (lightness, lightness**2)
    )
    variance = np.maximum(squares - mean**2, 0)
    slope = variance / (variance + eps)
    fitted = (slope, (1 - slope) * mean)
    means = [_window_means(each, radius_px).astype(np.float32) for each in fitted]
    return np.stack(means, axis=-1)


def _average_blocks(values: Floats, every: int) -> Floats:
    """The means of blocks of so many pixels each way, of one more or less where they do not fit."""
    for axis, length in enumerate(values.shape if every > 1 else ()):
        blocks = max(round(length / every), 1)
        ends = np.rint(np.linspace(0, length, blocks + 1)).astype(np.intp)
        sums = np.add.reduceat(values, ends[:-1], axis)
        values = sums / np.expand_dims(np.diff(ends), 1 - axis)
    return values


def _window_means(values: Floats, radius_px: float) -> Floats:
    """The mean of each pixel's square window over what of it lies inside the picture."""
    down, across = (_line_sums(np.ones((1, length)), radius_px)[0] for length in values.shape)
    total = _line_sums(np.ascontiguousarray(_line_sums(values, radius_px).T), radius_px).T
    return np.asarray(total / np.outer(down, across))


def _line_sums(values: Floats, radius_px: float) -> Floats:
    """Sums along each row: over a window of whole pixels, and a part of the next at its ends.

    Differences of running sums, which numpy makes quickest along what lies together in memory.
    """
    rows, count = values.shape
    reach: float = min(max(radius_px - 0.5, 0.0), count)
    whole = int(reach)
    padded = np.zeros((rows, count + 2 * whole + 2))
    padded[:, whole + 1 : whole + 1 + count] = values
    running: Floats = np.cumsum(padded, axis=1)
    inner = running[:, 2 * whole + 1 : -1] - running[:, :count]
    return inner + (reach - whole) * (padded[:, :count] + padded[:, 2 * whole + 2 :])


def raise_local_contrast(
    lightness: pyvips.Image, coefficients: NDArray[np.float32], gain: float
) -> pyvips.Image:
    """Return 16-bit lightness with more local contrast; gain 0 is the identity.

    ``coefficients`` are those of the whole picture that ``lightness`` shows, at any smaller size.
    """
    if gain == 0:
        return lightness
    slope, shift = (spread(each, lightness.width, lightness.height) for each in _maps(coefficients))
    detail = lightness * slope - shift
    change = detail.cast("ushort").maplut(_limit_table(gain)) * lightness.maplut(_weight())
    return whole_steps(change + lightness)


def _maps(coefficients: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Maps of p and q: p * L - q is the faded detail's place in its table, in need of rounding.

    The fade is 1 for texture of a few L* and nearly 0 at an edge; variance / eps is a / (1 - a).
    """
    a, b = coefficients[..., 0], coefficients[..., 1]
    fade = (1 - a) ** 2 / ((1 - a) ** 2 + a**2 / 2)
    shift = fade * b * np.float32(STEPS_PER_L) - np.float32(_NO_DETAIL + 0.5)
    return np.asarray(fade * (1 - a), np.float32), np.asarray(shift, np.float32)


@lru_cache(maxsize=32)
def _limit_table(gain: float) -> pyvips.Image:
    """What is added for a detail, in 16-bit steps, before it is weighted by tone."""
    reach = _NO_DETAIL / STEPS_PER_L

    def change(detail: float) -> float:
        return LARGEST_CHANGE * tanh(gain * detail / LARGEST_CHANGE) * STEPS_PER_L

    return tabulate(change, -reach, reach - 1 / STEPS_PER_L)


@lru_cache(maxsize=1)
def _weight() -> pyvips.Image:
    """4x(1 - x): all of the change at L* 50, none of it at black and white."""
    return tabulate(lambda each: 4 * (each / 100) * (1 - each / 100), 0, 100)
