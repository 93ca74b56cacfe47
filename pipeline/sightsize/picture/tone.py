"""Exposure, paper grade and tone curve: from linear light to lightness, in one table."""

from collections.abc import Callable
from functools import lru_cache

import pyvips

from sightsize import tones
from sightsize.job import Tone
from sightsize.picture.table import STEPS_PER_L, look_up, tabulate, whole_steps


def to_lightness(luminance: pyvips.Image, tone: Tone) -> pyvips.Image:
    """Return 16-bit lightness of a band of linear light after exposure, grade and curve.

    Light below black or beyond white is cut after the exposure.
    """
    return look_up(luminance, _table(tone), 0, 1)


@lru_cache(maxsize=32)
def _table(tone: Tone) -> pyvips.Image:
    return whole_steps(tabulate(toned(tone), 0, 1) * STEPS_PER_L).copy_memory()


def toned(tone: Tone) -> Callable[[float], float]:
    """Return the function from linear light, 0 to 1, to the L* that a print gives for it."""
    gain = 2**tone.exposure_stops
    curve = tones.MonotoneCurve(tone.curve)
    grade = tones.grade_function(tone.grade)
    return lambda light: curve(grade(tones.lightness(min(light * gain, 1.0))))
