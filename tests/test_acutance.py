"""The numbers of sharpening against worked cases and the frequency response of two passes."""

from itertools import pairwise
from math import radians, tan

import numpy as np
import pytest

from icc_profiles import Floats
from sightsize.acutance import (
    SURFACE_GAIN,
    damping,
    deblur_sigma_px,
    emphasis,
    noise_floor,
    one_pass,
    radius_mm,
)
from sightsize.crop import ACUITY_MM_PPI


def test_open_surfaces_get_more() -> None:
    # Common practice, no source.
    assert SURFACE_GAIN == {"glossy": 0.6, "lustre": 0.8, "matte": 1.0, "cotton": 1.2}


@pytest.mark.parametrize(
    ("distance", "wanted"),
    [(100, 0.06), (180, 0.06), (240, 0.08), (300, 0.10), (600, 0.20), (900, 0.30), (3000, 0.30)],
)
def test_radius_grows_with_the_distance_within_limits(distance: float, wanted: float) -> None:
    assert radius_mm(distance) == pytest.approx(wanted)


def test_radius_is_little_more_than_an_arc_minute() -> None:
    minute = 300 * tan(radians(1 / 60))
    assert minute == pytest.approx(0.0873, abs=5e-5)
    assert minute == pytest.approx(25.4 / float(ACUITY_MM_PPI / 300))
    assert 1 < radius_mm(300) / minute < 1.2


@pytest.mark.parametrize(
    ("effective_ppi", "wanted"),
    [(600, 0), (300, 0), (250, 0), (200.1, 0), (200, 0.6), (150, 0.8), (100, 1.2), (30, 4.0)],
)
def test_deblurring_begins_at_half_as_large_again(effective_ppi: float, wanted: float) -> None:
    assert deblur_sigma_px(effective_ppi, 300) == pytest.approx(wanted)


def test_damping_passes_smoothly_from_all_to_half() -> None:
    wanted = {0.0: 1.0, 0.05: 1.0, 0.0625: 0.921875, 0.075: 0.75, 0.10: 0.5, 0.4: 0.5}
    assert {each: damping(each) for each in wanted} == pytest.approx(wanted)
    shares = [damping(each / 1000) for each in range(200)]
    assert shares == sorted(shares, reverse=True)
    assert max(a - b for a, b in pairwise(shares)) < 0.02


def test_noise_floor_is_two_sigma_and_never_below_the_least() -> None:
    wanted = {0.0: 0.8, 0.4: 0.8, 0.5: 1.0, 2.0: 4.0}
    assert {each: noise_floor(each) for each in wanted} == pytest.approx(wanted)


def test_emphasis_is_nothing_at_the_floor_and_all_at_twice() -> None:
    wanted = {0.8: 0.0, -0.8: 0.0, 1.2: 0.5 * 1.2, 1.6: 1.6, 5.0: 5.0, -5.0: -5.0}
    assert {each: emphasis(each, 1, 0.8) for each in wanted} == pytest.approx(wanted)
    steps = [emphasis(each / 100, 1, 0.8) for each in range(-300, 301)]
    assert steps == sorted(steps)


def test_one_pass_alone_is_what_was_asked_for() -> None:
    assert one_pass(1.18, 0.8, 0) == pytest.approx((1.18, 0.8))
    assert one_pass(1.18, 0, 1.2) == pytest.approx((1.2, 1.0))  # van Cittert's own step
    assert one_pass(1.2, 0.8, 1.2) == pytest.approx((1.2, 1.8))
    assert one_pass(1.18, 0, 0) == one_pass(0, 0.8, 0) == (0, 0)


@pytest.mark.parametrize("enlarged", [1.5, 2, 3, 4, 6, 10])
@pytest.mark.parametrize("sigma", [0.94, 1.18])
@pytest.mark.parametrize("gain", [0.6, 0.8, 1.2])
def test_one_pass_responds_as_two(enlarged: float, sigma: float, gain: float) -> None:
    # A Gaussian of sigma s passes exp(-(w s)^2 / 2) of frequency w in radians a pixel; an
    # enlargement has no frequency beyond pi / enlarged.
    def taken(s: float) -> Floats:
        return np.asarray(1 - np.exp(-((frequency * s) ** 2) / 2))

    frequency = np.linspace(0.001, np.pi / enlarged, 200)
    deblur = 0.4 * enlarged
    one_sigma, one_gain = one_pass(sigma, gain, deblur)
    two = 1 + gain * taken(sigma) + taken(deblur)
    assert np.abs((1 + one_gain * taken(one_sigma)) / two - 1).max() < 0.06
    assert one_gain <= gain + 1 + 1e-9
