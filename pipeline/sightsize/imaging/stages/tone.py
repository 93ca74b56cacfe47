"""Exposure, end points, zones, grade and curve: from linear light to lightness, in one table."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache

import pyvips

from sightsize.imaging.raster.lookup_tables import STEPS_PER_L, look_up, tabulate, whole_steps
from sightsize.model.settings import Tone
from sightsize.numbers import tones
from sightsize.numbers.zones import Placement, placement_function

Function = Callable[[float], float]

_HALVINGS = 24
_SAME_TONE = 1e-3
"""L* within which two lights print alike: less than a 16-bit step."""


@dataclass(frozen=True)
class ToneScale:
    """A tone with its end points in L* and its zones placed: nothing left to measure.

    ``reach`` is the light up to which tones differ, above 1 where a dodge goes beyond white and
    the exposure or the zones bring it back.
    """

    tone: Tone
    black: float = 0.0
    white: float = 100.0
    placement: Placement | None = None
    reach: float = 1.0


def to_lightness(luminance: pyvips.Image, scale: ToneScale) -> pyvips.Image:
    """Return 16-bit lightness of a band of linear light after everything that moves tones.

    Light below black or beyond white is cut after the exposure and the zones.
    """
    return look_up(luminance, _table(scale), 0, scale.reach)


def extend_reach(scale: ToneScale, most_light: float) -> ToneScale:
    """Return a tone for light up to ``most_light``, as far as it gives tones of their own."""
    if most_light <= 1:
        return scale
    print_of = tone_function(scale)
    whitest = print_of(most_light) - _SAME_TONE
    return replace(scale, reach=max(_where(print_of, whitest, most_light), 1.0))


@lru_cache(maxsize=32)
def _table(scale: ToneScale) -> pyvips.Image:
    table = tabulate(tone_function(scale), 0, scale.reach, _bends(scale))
    return whole_steps(table * STEPS_PER_L).copy_memory()


def _bends(scale: ToneScale) -> Iterator[float]:
    """Light at which a tone changes its course: where it is cut, and at the curve's points."""
    gain = 2**scale.tone.exposure_stops
    for cut in (scale.black, scale.white, 100.0):
        yield tones.luminance(cut) / gain
    placed, grade = _placing_function(scale), _grade_function(scale.tone)
    yield _where(placed, 100.0, scale.reach)
    for value, _ in scale.tone.curve:
        yield _where(lambda light: grade(placed(light)), value, scale.reach)


def _where(rising: Function, value: float, most: float) -> float:
    """Where a function that never falls comes to a value, between 0 and the most."""
    low, high = 0.0, most
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if rising(middle) < value else (low, middle)
    return low


def tone_function(scale: ToneScale) -> Function:
    """Return the function from linear light to the L* that a print gives for it."""
    placed, after = _placing_function(scale), paper_function(scale.tone)
    return lambda light: after(placed(light))


def _placing_function(scale: ToneScale) -> Function:
    """The function from linear light to the L* that the paper gets."""
    before = exposure_function(scale)
    if scale.placement is None:
        return lambda light: min(before(light), 100.0)
    placed = placement_function(scale.placement)
    return lambda light: tones.lightness(min(placed(tones.luminance(before(light))), 1.0))


def exposure_function(scale: ToneScale) -> Function:
    """Return the function from linear light to L* after the exposure and the end points.

    Light that the exposure leaves beyond white has an L* above 100 unless a white point cuts it.
    """
    gain = 2**scale.tone.exposure_stops
    ends = tones.end_points_function(scale.black, scale.white)
    return lambda light: ends(tones.lightness(light * gain))


def paper_function(tone: Tone) -> Function:
    """Return the function of the paper: grade or grades, then the curve, L* to L*."""
    curve, grade = tones.MonotoneCurve(tone.curve), _grade_function(tone)
    return lambda value: curve(grade(value))


def _grade_function(tone: Tone) -> Function:
    if tone.split_grade is not None:
        return tones.split_grade_function(tone.split_grade, tone.pivot)
    return tones.grade_function(tone.grade, tone.pivot)
