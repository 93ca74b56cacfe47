"""Exposure, end points, zones, grade and curve: from linear light to lightness, in one table."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import pyvips

from sightsize import tones
from sightsize.job import Tone
from sightsize.picture.table import STEPS_PER_L, look_up, tabulate, whole_steps
from sightsize.zones import Placement, placement_function

Function = Callable[[float], float]


@dataclass(frozen=True)
class ToneScale:
    """A tone with its end points in L* and its zones placed: nothing left to measure."""

    tone: Tone
    black: float = 0.0
    white: float = 100.0
    placement: Placement | None = None


def to_lightness(luminance: pyvips.Image, scale: ToneScale) -> pyvips.Image:
    """Return 16-bit lightness of a band of linear light after everything that moves tones.

    Light below black or beyond white is cut after the exposure.
    """
    return look_up(luminance, _table(scale), 0, 1)


@lru_cache(maxsize=32)
def _table(scale: ToneScale) -> pyvips.Image:
    return whole_steps(tabulate(toned(scale), 0, 1) * STEPS_PER_L).copy_memory()


def toned(scale: ToneScale) -> Function:
    """Return the function from linear light, 0 to 1, to the L* that a print gives for it."""
    before, after = exposed(scale), printed(scale.tone)
    if scale.placement is None:
        return lambda light: after(before(light))
    placed = placement_function(scale.placement)
    return lambda light: after(tones.lightness(min(placed(tones.luminance(before(light))), 1.0)))


def exposed(scale: ToneScale) -> Function:
    """Return the function from linear light to L* after the exposure and the end points."""
    gain = 2**scale.tone.exposure_stops
    ends = tones.end_points_function(scale.black, scale.white)
    return lambda light: ends(tones.lightness(min(light * gain, 1.0)))


def printed(tone: Tone) -> Function:
    """Return the function of the paper: grade or grades, then the curve, L* to L*."""
    curve = tones.MonotoneCurve(tone.curve)
    if tone.split_grade is not None:
        grade = tones.split_grade_function(tone.split_grade, tone.pivot)
    else:
        grade = tones.grade_function(tone.grade, tone.pivot)
    return lambda value: curve(grade(value))
