"""The numbers of sharpening against worked cases and the frequency response of two passes.

The numbers of the trade - gains, limits, floors - are common practice, no source.
"""

from itertools import pairwise
from math import radians, tan

import numpy as np
import pytest

from icc_profiles import Floats
from sightsize.numbers.sharpening import (
    SURFACE_GAIN,
    damping,
    deblur_sigma_px,
    emphasis,
    noise_floor,
    one_pass,
    radius_mm,
)
from sightsize.plan.crop import ACUITY_MM_PPI


def test_open_surfaces_get_more() -> None:
    # Common practice, no source.
    assert SURFACE_GAIN == {"glossy": 0.6, "lustre": 0.8, "matte": 1.0, "cotton": 1.2}


@pytest.mark.parametrize(
    ("distance", "wanted"),
    # 0.10 mm at 300 mm and in proportion: 240 mm gives 0.10 x 240 / 300 = 0.08.
    [(100, 0.06), (180, 0.06), (240, 0.08), (300, 0.10), (600, 0.20), (900, 0.30), (3000, 0.30)],
)
def test_radius_grows_with_the_distance_within_limits(distance: float, wanted: float) -> None:
    assert radius_mm(distance) == pytest.approx(wanted)


def test_radius_is_little_more_than_an_arc_minute() -> None:
    minute = 300 * tan(radians(1 / 60))
    assert minute == pytest.approx(0.0873, abs=5e-5)
    # 25.4 mm / 0.000290888 = 87319 mm x ppi: at 300 mm a pixel of 291 ppi spans an arc minute.
    assert float(ACUITY_MM_PPI) == pytest.approx(87318.8, abs=0.5)
    assert 1 < radius_mm(300) / minute < 1.2


@pytest.mark.parametrize(
    ("effective_ppi", "wanted"),
    [(600, 0), (300, 0), (250, 0), (200.1, 0), (200, 0.6), (150, 0.8), (100, 1.2), (30, 4.0)],
)
def test_deblurring_begins_at_half_as_large_again(effective_ppi: float, wanted: float) -> None:
    assert deblur_sigma_px(effective_ppi, 300) == pytest.approx(wanted)


def test_deblurring_goes_by_the_enlargement() -> None:
    # 0.4 px of the source, enlarged 360 / 120 = 3 times.
    assert deblur_sigma_px(120, 360) == pytest.approx(1.2)
    assert deblur_sigma_px(120, 150) == 0


def test_damping_passes_smoothly_from_all_to_half() -> None:
    # At 0.0625 a quarter of the way: 3 x 1/16 - 2 x 1/64 = 0.15625 of the half that goes.
    wanted = {0.0: 1.0, 0.05: 1.0, 0.0625: 0.921875, 0.075: 0.75, 0.10: 0.5, 0.4: 0.5}
    assert {each: damping(each) for each in wanted} == pytest.approx(wanted)
    shares = [damping(each / 1000) for each in range(200)]
    assert shares == sorted(shares, reverse=True)
    assert max(a - b for a, b in pairwise(shares)) < 0.02


def test_noise_floor_is_two_sigma_and_never_below_the_least() -> None:
    wanted = {0.0: 0.8, 0.4: 0.8, 0.5: 1.0, 2.0: 4.0}
    assert {each: noise_floor(each) for each in wanted} == pytest.approx(wanted)


def test_emphasis_is_nothing_at_the_floor_and_all_at_twice() -> None:
    # 1.0 is a quarter of the way from the floor to its double: 0.15625 of it.
    wanted = {0.8: 0.0, -0.8: 0.0, 1.0: 0.15625, 1.2: 0.6, 1.6: 1.6, 5.0: 5.0, -5.0: -5.0}
    assert {each: emphasis(each, 1, 0.8) for each in wanted} == pytest.approx(wanted)
    steps = [emphasis(each / 100, 1, 0.8) for each in range(-300, 301)]
    assert steps == sorted(steps)


def test_emphasis_goes_by_the_gain() -> None:
    assert emphasis(-1.2, 1.4, 0.8) == pytest.approx(-0.84)  # half of 1.2 x 1.4
    assert [emphasis(each, 0.6, 0) for each in (0.01, -3)] == pytest.approx([0.006, -1.8])


def test_one_pass_alone_is_what_was_asked_for() -> None:
    assert one_pass(1.18, 0.8, 0) == pytest.approx((1.18, 0.8))
    assert one_pass(1.18, 0, 1.2) == pytest.approx((1.2, 1.0))  # van Cittert's own step
    assert one_pass(1.2, 0.8, 1.2) == pytest.approx((1.2, 1.8))
    assert one_pass(1.18, 0, 0) == one_pass(0, 0.8, 0) == (0, 0)


def responses(frequency: Floats, sigma: float, gain: float, deblur: float) -> tuple[Floats, Floats]:
    """What two passes and the one make of frequencies in radians a pixel.

    A Gaussian of sigma s passes exp(-(w s)^2 / 2) of frequency w (its Fourier transform).
    """

    def taken(s: float) -> Floats:
        return np.asarray(1 - np.exp(-((frequency * s) ** 2) / 2))

    one_sigma, one_gain = one_pass(sigma, gain, deblur)
    return 1 + gain * taken(sigma) + taken(deblur), 1 + one_gain * taken(one_sigma)


@pytest.mark.parametrize("deblur", [0.6, 1.2, 4.0])
def test_one_pass_is_two_up_to_the_fourth_power_of_frequency(deblur: float) -> None:
    # What is left over begins with the sixth power: half the frequency has a 64th of it.
    two, one = responses(np.array([0.2, 0.1]) / deblur, 1.18, 0.8, deblur)
    high, low = np.abs(two - one)
    assert high / low == pytest.approx(64, rel=0.1)


@pytest.mark.parametrize("enlarged", [1.5, 2, 3, 4, 6, 10])
@pytest.mark.parametrize("sigma", [0.94, 1.18])
@pytest.mark.parametrize("gain", [0.6, 0.8, 1.2])
def test_one_pass_responds_as_two(enlarged: float, sigma: float, gain: float) -> None:
    # An enlargement has no frequency beyond pi / enlarged.
    frequency = np.linspace(0.001, np.pi / enlarged, 200)
    two, one = responses(frequency, sigma, gain, 0.4 * enlarged)
    assert np.abs(one / two - 1).max() < 0.06
    _, one_gain = one_pass(sigma, gain, 0.4 * enlarged)
    assert one_gain <= gain + 1 + 1e-9
