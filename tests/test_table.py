"""Tables against the functions they stand for, asked at every place."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from plans import NEUTRAL_TONE
from sightsize.acutance import emphasis
from sightsize.job import SplitGrade, Tint, Toner
from sightsize.picture.grain import fluctuation
from sightsize.picture.table import LAST, tabulate, tabulate_bands
from sightsize.picture.tone import ToneScale, toned
from sightsize.tones import luminance, srgb_encode
from sightsize.toning import toned_light
from sightsize.zones import Placement

Function = Callable[[float], float]

CURVE = ((0.0, 2.0), (4.0, 3.0), (4.1, 6.0), (50.0, 53.0), (96.0, 98.0), (100.0, 98.0))
TONES = [
    ToneScale(NEUTRAL_TONE),
    ToneScale(replace(NEUTRAL_TONE, grade=5.0, curve=CURVE), 3.7, 91.3),
    ToneScale(
        replace(NEUTRAL_TONE, split_grade=SplitGrade(dark=4, light=1, start=30, end=70), pivot=60),
        12.0,
        13.1,
        Placement(1.9, 1.4),
    ),
]


def worst(function: Function, low: float, high: float) -> float:
    """The largest error of a table, as a share of the function's range."""
    found = tabulate(function, low, high).numpy().ravel().astype(np.float64)
    places = low + np.arange(LAST + 1) * ((high - low) / LAST)
    wanted = np.array([function(place) for place in places])
    assert (found[0], found[-1]) == pytest.approx((wanted[0], wanted[-1]), rel=1e-7)
    return float(np.abs(found - wanted).max() / np.ptp(wanted))


@pytest.mark.parametrize("scale", TONES)
def test_a_tone_scale(scale: ToneScale) -> None:
    assert worst(toned(scale), 0, 1) < 2e-6


@pytest.mark.parametrize(
    ("function", "low", "high"),
    [
        (srgb_encode, 0, 1),
        (luminance, 0, 100),
        (lambda detail: emphasis(detail, 0.8, 0.5), -128, 128),
        (lambda detail: emphasis(detail, 3.0, 0.01), -128, 128),
        (lambda each: fluctuation(each, 0.02), 0, 100),
    ],
)
def test_the_other_tables(function: Function, low: float, high: float) -> None:
    assert worst(function, low, high) < 2e-6


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
    scale = toned(TONES[1])

    def counted(light: float) -> float:
        asked.append(light)
        return scale(light)

    tabulate(counted, 0, 1)
    assert len(asked) < LAST / 15
