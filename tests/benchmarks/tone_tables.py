"""Look-up tables of the float peers: sRGB code to linear light, light to L*, L* to sRGB code.

Tables with 65 536 entries stand for functions of a float: a step of 1/65 535 is at most 0.014 L*,
far below what the 8-bit print can show.
"""

from functools import cache

import numpy as np
from numpy.typing import NDArray
from spec import Spec

FloatTable = NDArray[np.float32]

STEPS = 65535
LIGHTNESS_STEPS = STEPS / 100
"""Steps of the last table in one unit of L*."""


@cache
def linear_light() -> FloatTable:
    """Linear light for each 8-bit sRGB code (IEC 61966-2-1)."""
    code = np.arange(256) / 255
    light = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    return light.astype(np.float32)


@cache
def curved_lightness(spec: Spec) -> FloatTable:
    """L* (CIE 15) after the tone curve, for linear light in 65 536 steps."""
    light = np.arange(STEPS + 1) / STEPS
    toe = light * (29 / 3) ** 3
    lightness = np.where(light > (6 / 29) ** 3, 116 * np.cbrt(light) - 16, toe)
    return monotone_cubic(spec.curve, lightness).astype(np.float32)


@cache
def srgb_code() -> NDArray[np.uint8]:
    """8-bit sRGB code for L* 0 to 100 in 65 536 steps."""
    lightness = np.arange(STEPS + 1) / LIGHTNESS_STEPS
    light = np.where(lightness > 8, ((lightness + 16) / 116) ** 3, lightness / (29 / 3) ** 3)
    code = np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.asarray(np.rint(code * 255), dtype=np.uint8)


def monotone_cubic(
    points: tuple[tuple[float, float], ...], values: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Values on the monotone cubic through points (Fritsch and Butland, SIAM JSSC 5, 1984)."""
    x, y = np.array(points, dtype=float).T
    widths, rises = np.diff(x), np.diff(y)
    slopes = _knot_slopes(widths, rises / widths)
    span = np.clip(np.searchsorted(x, values, side="right") - 1, 0, len(widths) - 1)
    t = (values - x[span]) / widths[span]
    start, end = slopes[span] * widths[span], slopes[span + 1] * widths[span]
    rise = rises[span]
    cubic = 3 * rise - 2 * start - end + t * (start + end - 2 * rise)
    return np.asarray(y[span] + t * (start + t * cubic))


def _knot_slopes(widths: NDArray[np.float64], secants: NDArray[np.float64]) -> NDArray[np.float64]:
    """Slopes at the knots: weighted harmonic means inside, three-point slopes at both ends."""
    if len(secants) == 1:
        return secants.repeat(2)
    before, after = 2 * widths[1:] + widths[:-1], widths[1:] + 2 * widths[:-1]
    inner = np.zeros_like(before)
    rising = secants[:-1] * secants[1:] > 0
    total = (before + after)[rising]
    inner[rising] = total / (before / secants[:-1] + after / secants[1:])[rising]
    first = _end_slope(widths[:2], secants[:2])
    last = _end_slope(widths[:-3:-1], secants[:-3:-1])
    return np.array([first, *inner, last])


def _end_slope(widths: NDArray[np.float64], secants: NDArray[np.float64]) -> float:
    slope = ((2 * widths[0] + widths[1]) * secants[0] - widths[0] * secants[1]) / widths.sum()
    return float(np.clip(slope, 0, 3 * secants[0]))
