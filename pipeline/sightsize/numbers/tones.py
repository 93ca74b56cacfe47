"""The numbers of black-and-white and of tone: pure functions, no pictures.

Light is linear and relative to white (1.0); lightness is L* of CIE 1976, 0 to 100.
"""

from bisect import bisect_right
from collections.abc import Callable, Sequence
from itertools import pairwise
from math import log2

from sightsize.model.settings import SplitGrade

Weights = tuple[float, float, float]
Function = Callable[[float], float]

RESPONSES: dict[str, Weights] = {
    # The luminance row of the sRGB primaries, IEC 61966-2-1.
    "luminance": (0.2126, 0.7152, 0.0722),
    # Working approximations of emulsions: common practice, no source.
    "panchromatic_film": (0.32, 0.36, 0.32),
    "red_extended": (0.55, 0.27, 0.18),
    "orthochromatic": (0.02, 0.50, 0.48),
    "blue_sensitive": (0.00, 0.06, 0.94),
}
"""Weight of linear red, green and blue light in each emulsion; each sums to 1."""

FILTERS: dict[str, Weights] = {
    # Working approximations of contrast filters: common practice, no source.
    "none": (1.0, 1.0, 1.0),
    "yellow": (1.0, 0.95, 0.25),
    "yellow_green": (0.75, 1.0, 0.25),
    "orange": (1.0, 0.60, 0.08),
    "red": (1.0, 0.12, 0.02),
    "green": (0.25, 1.0, 0.30),
    "blue": (0.10, 0.25, 1.0),
}
"""Transmission of each filter for red, green and blue light."""

_GRADE_RANGES = (150.0, 130.0, 105.0, 85.0, 65.0, 50.0)
"""Exposure range R of paper grades 0 to 5 in the manner of ISO 6846; working approximations."""

VISIBLE_DE00 = 3.0
"""CIEDE2000 above which a colour counts as missed: common practice, no source."""

_ENDS = 0.001


def mono_weights(
    response: str | Weights, filter_name: str, strength: float
) -> tuple[Weights, float]:
    """Return the weights of a response behind a filter, and the filter factor in stops.

    The filter's transmissions are raised to ``strength`` (Bouguer-Lambert: strength is thickness)
    and the weights are scaled to sum to 1, so that greys do not move.
    """
    base = RESPONSES[response] if isinstance(response, str) else response
    total = sum(base)
    passed = [
        weight / total * transmission**strength
        for weight, transmission in zip(base, FILTERS[filter_name], strict=True)
    ]
    through = sum(passed)
    red, green, blue = (weight / through for weight in passed)
    return (red, green, blue), -log2(through)


def lightness(luminance: float) -> float:
    """Return L* of a relative luminance (CIE 15; ISO/CIE 11664-4)."""
    if luminance > (6 / 29) ** 3:
        return float(116 * luminance ** (1 / 3) - 16)
    return luminance * (29 / 3) ** 3


def luminance(lightness: float) -> float:
    """Return the relative luminance of an L*: the inverse of ``lightness``."""
    if lightness > 8:
        return ((lightness + 16) / 116) ** 3
    return lightness / (29 / 3) ** 3


def srgb_encode(light: float) -> float:
    """Return the sRGB value, 0 to 1, of linear light (IEC 61966-2-1)."""
    light = min(max(light, 0.0), 1.0)
    return 12.92 * light if light <= 0.0031308 else float(1.055 * light ** (1 / 2.4) - 0.055)


def grade_contrast(grade: float) -> float:
    """Return the mid-tone contrast of a paper grade 0 to 5, 1 at grade 2, interpolated."""
    low = min(int(grade), 4)
    share = grade - low
    exposure_range = _GRADE_RANGES[low] * (1 - share) + _GRADE_RANGES[low + 1] * share
    return _GRADE_RANGES[2] / exposure_range


def grade_function(grade: float, pivot: float = 50) -> Function:
    """Return the function from the L* of grade 2 to the L* that a paper of ``grade`` gives.

    A logistic curve about the pivot over all but its outermost thousandths, scaled so that black
    and white stay exactly where they are; the pivot stays within 0.2 L*. Grade 2 is the identity;
    every grade rises everywhere.
    """
    contrast = grade_contrast(grade)
    if contrast == 1:
        return lambda value: value
    middle = _inner(pivot / 100)
    shift = (middle / (1 - middle)) ** (contrast - 1)

    def paper(share: float) -> float:
        share = _inner(share)
        return float(1 / (1 + ((1 - share) / share) ** contrast * shift))

    black, white = paper(0), paper(1)
    return lambda value: 100 * ((paper(value / 100) - black) / (white - black))


def _inner(share: float) -> float:
    return _ENDS + share * (1 - 2 * _ENDS)


def split_grade_function(split: SplitGrade, pivot: float = 50) -> Function:
    """Return the function of two grades on one sheet, the light one taking over smoothly."""
    dark, light = grade_function(split.dark, pivot), grade_function(split.light, pivot)

    def both(value: float) -> float:
        share = smoothstep((value - split.start) / (split.end - split.start))
        return (1 - share) * dark(value) + share * light(value)

    return both


def split_grade_rises(split: SplitGrade, pivot: float = 50) -> bool:
    """Return whether two grades mixed keep the order of tones, looked at every tenth of an L*."""
    both = split_grade_function(split, pivot)
    values = [both(step / 10) for step in range(1001)]
    return all(low < high for low, high in pairwise(values))


def end_points_function(black: float, white: float) -> Function:
    """Return the function that makes ``black`` L* 0 and ``white`` L* 100, straight between."""
    if (black, white) == (0, 100):
        return lambda value: value
    return lambda value: min(max(100 * (value - black) / (white - black), 0.0), 100.0)


def smoothstep(at: float) -> float:
    """Return a smooth rise from 0 at 0 to 1 at 1, level beyond."""
    at = min(max(at, 0.0), 1.0)
    return at * at * (3 - 2 * at)


class MonotoneCurve:
    """A monotone cubic through points: it never overshoots and never turns over.

    Slopes are the weighted harmonic means of Fritsch and Butland (SIAM J. Sci. Stat. Comput. 5,
    1984) with the three-point end slopes in use with them. Beyond the end points it stays level.
    """

    def __init__(self, points: Sequence[tuple[float, float]]) -> None:
        """Take at least two points; the first column must rise and the second never fall."""
        self._x = [float(x) for x, _ in points]
        self._y = [float(y) for _, y in points]
        steps = [b - a for a, b in zip(self._x, self._x[1:], strict=False)]
        rises = [b - a for a, b in zip(self._y, self._y[1:], strict=False)]
        if not steps or min(steps) <= 0 or min(rises) < 0:
            raise ValueError("curve points must rise")
        self._steps = steps
        self._secants = [rise / step for rise, step in zip(rises, steps, strict=True)]
        self._slopes = self._all_slopes()

    def __call__(self, x: float) -> float:
        """Return the curve's value at ``x``."""
        if x <= self._x[0]:
            return self._y[0]
        if x >= self._x[-1]:
            return self._y[-1]
        index = bisect_right(self._x, x) - 1
        step = self._steps[index]
        t = (x - self._x[index]) / step
        y0, y1 = self._y[index], self._y[index + 1]
        m0, m1 = self._slopes[index] * step, self._slopes[index + 1] * step
        return y0 + (y1 - y0) * t * t * (3 - 2 * t) + m0 * t * (1 - t) ** 2 - m1 * t * t * (1 - t)

    def _all_slopes(self) -> list[float]:
        secants, steps = self._secants, self._steps
        if len(secants) == 1:
            return [secants[0], secants[0]]
        inner = [self._inner_slope(index) for index in range(1, len(secants))]
        first = _end_slope(steps[0], steps[1], secants[0], secants[1])
        last = _end_slope(steps[-1], steps[-2], secants[-1], secants[-2])
        return [first, *inner, last]

    def _inner_slope(self, index: int) -> float:
        before, after = self._secants[index - 1], self._secants[index]
        if before == 0 or after == 0:
            return 0.0
        step_before, step_after = self._steps[index - 1], self._steps[index]
        weight_before = 2 * step_after + step_before
        weight_after = step_after + 2 * step_before
        return (weight_before + weight_after) / (weight_before / before + weight_after / after)


def _end_slope(step: float, next_step: float, secant: float, next_secant: float) -> float:
    slope = ((2 * step + next_step) * secant - step * next_secant) / (step + next_step)
    return min(max(slope, 0.0), 3 * secant)
