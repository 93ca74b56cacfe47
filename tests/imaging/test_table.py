"""Tables against the functions they stand for, asked at every place."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
import pyvips

from icc_profiles import Floats
from plans import NEUTRAL_TONE
from sightsize.imaging.raster.lookup_tables import LAST, STEPS_PER_L, tabulate, tabulate_bands
from sightsize.imaging.stages.grain import fluctuation
from sightsize.imaging.stages.sharpen import _table
from sightsize.imaging.stages.tone import ToneScale, to_lightness, tone_function
from sightsize.model.settings import SplitGrade, Tint, Toner
from sightsize.numbers.sharpening import emphasis
from sightsize.numbers.tones import luminance, srgb_encode
from sightsize.numbers.toning import toned_light
from sightsize.numbers.zones import Placement

Function = Callable[[float], float]

CURVE = ((0.0, 2.0), (4.0, 3.0), (4.1, 6.0), (50.0, 53.0), (96.0, 98.0), (100.0, 98.0))
LIFTED = ((0, 0), (0.2, 0.2), (0.5, 0.5), (0.7, 12), (13, 13), (14, 14), (100, 100))
NUDGED = ((0, 0), (0.5, 0.5), (1, 1), (1.5, 1.9), (2, 2), (2.5, 2.5), (100, 100))
STEPPED = ((0, 0), (40, 40), (40.2, 41), (40.4, 59), (40.6, 60), (100, 100))
TONES = [
    ToneScale(NEUTRAL_TONE),
    ToneScale(replace(NEUTRAL_TONE, grade=5.0, curve=CURVE), 3.7, 91.3),
    ToneScale(replace(NEUTRAL_TONE, curve=STEPPED), 94, 95),
    *(
        ToneScale(replace(NEUTRAL_TONE, exposure_stops=stops, curve=curve))
        for stops in (-2, 0, 2)
        for curve in (LIFTED, NUDGED, STEPPED)
    ),
    ToneScale(replace(NEUTRAL_TONE, exposure_stops=-1, curve=STEPPED), reach=2.0),
    ToneScale(NEUTRAL_TONE, placement=Placement(0.4, 1.3), reach=2.1),
    ToneScale(
        replace(
            NEUTRAL_TONE,
            split_grade=SplitGrade(dark=4, light=1, start=30, end=70),
            pivot=60,
            curve=STEPPED,
        ),
        12.0,
        13.1,
        Placement(1.9, 1.4),
    ),
]


def exact(function: Function, low: float, high: float) -> Floats:
    """A function asked at every place of a table."""
    return np.array([function(low + place * ((high - low) / LAST)) for place in range(LAST + 1)])


def worst(found: pyvips.Image, wanted: Floats) -> float:
    """The largest error of a table, as a share of the function's range."""
    values = found.numpy().ravel().astype(np.float64)
    assert (values[0], values[-1]) == pytest.approx((wanted[0], wanted[-1]), rel=1e-7)
    return float(np.abs(values - wanted).max() / np.ptp(wanted))


@pytest.mark.parametrize("scale", TONES)
def test_a_tone_is_within_one_step_of_lightness(scale: ToneScale) -> None:
    light = np.arange(LAST + 1, dtype=np.float32) * np.float32(scale.reach / LAST)
    found = to_lightness(pyvips.Image.new_from_array(light[None]), scale).numpy().ravel()
    # Rounded to whole steps, each may come out on the other side of a half.
    assert np.abs(found - exact(tone_function(scale), 0, scale.reach) * STEPS_PER_L).max() < 0.75


@pytest.mark.parametrize("floor", [0.01, 0.03, 0.05, 0.12, 0.126, 0.13, 0.5, 2.0])
@pytest.mark.parametrize("gain", [0.8, 3.0])
def test_sharpening_has_its_floor(floor: float, gain: float) -> None:
    high = 128 - 1 / 256
    wanted = exact(lambda detail: emphasis(detail, gain, floor) * STEPS_PER_L, -128, high)
    assert worst(_table(gain, floor), wanted) < 3e-6


@pytest.mark.parametrize(
    ("function", "low", "high"),
    [
        (srgb_encode, 0, 1),
        (luminance, 0, 100),
        (lambda each: fluctuation(each, 0.02), 0, 100),
    ],
)
def test_the_other_tables(function: Function, low: float, high: float) -> None:
    assert worst(tabulate(function, low, high), exact(function, low, high)) < 3e-6


def test_every_band_of_a_table() -> None:
    toner = Toner(dark=Tint(75, 12), light=Tint(260, 30), split=50, crossover=10)
    found = tabulate_bands(lambda each: toned_light(each, toner), 0, 100).numpy()
    wanted = [toned_light(index * 100 / LAST, toner) for index in range(LAST + 1)]
    assert (
        np.abs(found.reshape(-1, 3) - wanted).max() < 3e-4
    )  # the gamut's edge is found by halving


def test_zero_and_what_does_not_move_stay_exact() -> None:
    table = tabulate(lambda detail: emphasis(detail, 0.8, 0.5), -128, 128 - 1 / 256).numpy().ravel()
    places = np.arange(LAST + 1) / 256 - 128
    assert (table[np.abs(places) <= 0.5] == 0).all()
    assert (tabulate(lambda _: 7.0, 0, 1).numpy() == 7).all()


def test_a_function_is_asked_seldom() -> None:
    asked = []
    scale = tone_function(TONES[1])

    def counted(light: float) -> float:
        asked.append(light)
        return scale(light)

    tabulate(counted, 0, 1)
    assert len(asked) < LAST / 15
