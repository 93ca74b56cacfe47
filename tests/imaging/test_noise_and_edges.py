"""Noise and overshoot as measured, against noise of known size and the response of a blurred step.

scikit-image's unsharp_mask does the sharpening that is to be found, scipy's normal distribution
gives the profile of a blurred edge, and scikit-image's photographs are the pictures.
"""

from collections.abc import Iterator
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
import pyvips
from scipy.special import ndtr
from skimage import data
from skimage.color import rgb2lab
from skimage.filters import unsharp_mask

from icc_profiles import Floats
from sightsize.imaging.analysis.noise_and_edges import edge_overshoot, noise_sigma
from sightsize.imaging.raster.lookup_tables import STEPS_PER_L
from sightsize.imaging.raster.resize import resize_to
from sightsize.numbers.sharpening import damping
from sightsize.numbers.tones import lightness

SIDE = 192
DOWN, ACROSS = np.mgrid[:SIDE, :SIDE]
ANGLES = (0, 17, 45, 63, 90, 135, 200)


@cache
def scene(name: str) -> Floats:
    """L* of a picture that has no noise of its own to speak of."""
    brick = rgb2lab(np.dstack([data.brick()[:SIDE, :SIDE]] * 3))[..., 0]
    scenes = {
        "flat": np.full((SIDE, SIDE), 50.0),
        "ramp": 10 + 80 * ACROSS / SIDE,
        "brick": brick,
        "half brick": np.where(ACROSS < SIDE // 2, brick, 30 + 40 * DOWN / SIDE),
        "edges": sum(edge(angle, 0.8) for angle in ANGLES) / len(ANGLES),
    }
    return np.asarray(scenes[name], np.float64)


def noise(sigma: float, seed: int = 3) -> Floats:
    return np.random.default_rng(seed).normal(0, sigma, (SIDE, SIDE))


def edge(angle: float, width: float, dark: float = 25, light: float = 75) -> Floats:
    """A straight edge through the middle, blurred by a Gaussian of sigma ``width``."""
    turn = np.radians(angle)
    middle = (SIDE - 1) / 2
    out = np.cos(turn) * (ACROSS - middle) + np.sin(turn) * (DOWN - middle)
    return np.asarray(dark + (light - dark) * ndtr(out / width))


def response(width: float, radius: float, amount: float) -> float:
    """Overshoot of a blurred step after unsharp masking, as a share of its height."""
    out = np.linspace(0, 12, 2401)
    step, blurred = ndtr(out / width), ndtr(out / np.hypot(width, radius))
    return float((step + amount * (step - blurred)).max() - 1)


@pytest.mark.parametrize("sigma", [0.3, 0.5, 1.0, 2.0, 4.0])
@pytest.mark.parametrize("name", ["flat", "ramp", "half brick", "edges"])
def test_noise_is_recovered(name: str, sigma: float) -> None:
    windows = [np.clip(scene(name) + noise(sigma, seed), 0, 100) for seed in (1, 2)]
    assert noise_sigma(windows) == pytest.approx(sigma, rel=0.10)


@pytest.mark.parametrize("sigma", [1.0, 2.0, 4.0])
def test_noise_over_brick_everywhere_is_recovered(sigma: float) -> None:
    # The wall's own grain is 0.3 L*, which cannot be told from noise.
    assert noise_sigma([scene("brick") + noise(sigma)]) == pytest.approx(sigma, rel=0.10)


def test_no_noise_is_none() -> None:
    for name in ("flat", "ramp", "half brick", "edges"):
        assert noise_sigma([scene(name)]) < 0.02
    assert noise_sigma([]) == 0
    assert noise_sigma([np.zeros((SIDE, SIDE))]) == 0  # nothing but black
    assert noise_sigma([scene("flat")[:20, :20]]) == 0  # not one block


def test_coarse_texture_is_not_noise() -> None:
    # Measured: gravel 2.2, a cat's fur 0.4 without what is taken off for texture. Lawn seen from
    # above is as fine as noise and stays taken for it, as 2.7 of its 4.6.
    for picture in (np.dstack([data.gravel()] * 3), data.chelsea()):
        assert noise_sigma([rgb2lab(picture)[..., 0]]) < 0.1
    lawn = rgb2lab(np.dstack([data.grass()] * 3))[..., 0]
    assert 2 < noise_sigma([lawn]) < 3


def test_black_and_white_hide_no_noise() -> None:
    window = np.where(ACROSS < SIDE // 2, 99.5, 50.0) + noise(2)
    assert noise_sigma([np.clip(window, 0, 100)]) == pytest.approx(2, rel=0.10)


def test_steps_of_16_bits_are_read_as_lightness() -> None:
    window = scene("ramp") + noise(1)
    steps = np.rint(np.clip(window, 0, 100) * STEPS_PER_L).astype(np.uint16)
    assert noise_sigma([steps]) == pytest.approx(noise_sigma([window]), rel=0.02)
    sharp = unsharp_mask(edge(17, 0.8), 1.5, 1, preserve_range=True)
    steps = np.rint(sharp * STEPS_PER_L).astype(np.uint16)
    assert edge_overshoot([steps]) == pytest.approx(edge_overshoot([sharp]), abs=0.002)


@pytest.mark.parametrize(("enlarged", "least"), [(1.25, 1.0), (1.5, 0.9), (2, 0.7), (3, 0.65)])
def test_noise_of_an_enlargement_needs_the_spacing(enlarged: float, least: float) -> None:
    # Bicubic enlarging spreads each source pixel's noise over several of the print.
    source = pyvips.Image.new_from_array((50 + noise(2)).astype(np.float32))
    side = round(SIDE * enlarged)
    window = resize_to(source, side, side).numpy()
    spaced = noise_sigma([window], int(np.ceil(enlarged)))
    assert least < spaced / window.std() < 1.15
    assert noise_sigma([window]) < 0.35 * window.std()


@pytest.mark.parametrize("width", [0.5, 0.8, 1.2, 2.0, 3.0])
def test_soft_edges_do_not_overshoot(width: float) -> None:
    for angle in ANGLES:
        assert edge_overshoot([edge(angle, width)]) < 0.01
    noisy = [edge(angle, width) + noise(1, angle) for angle in ANGLES]
    assert edge_overshoot(noisy) < 0.01


@pytest.mark.parametrize("angle", ANGLES)
@pytest.mark.parametrize(("width", "radius"), [(0.8, 1.0), (0.8, 1.5), (1.2, 2.0)])
def test_overshoot_is_the_response_of_a_step(angle: int, width: float, radius: float) -> None:
    shares = []
    for amount in (0.25, 0.5, 1.0, 2.0):
        window = unsharp_mask(edge(angle, width), radius, amount, preserve_range=True)
        share = edge_overshoot([window])
        assert share == pytest.approx(response(width, radius, amount), rel=0.10, abs=0.009)
        shares.append(share)
    assert all(less < more for less, more in pairwise(shares))


def test_a_bare_step_between_two_pixels_reads_as_a_tenth() -> None:
    step = np.where(ACROSS < SIDE // 2, 25.0, 75.0)
    assert edge_overshoot([step]) == pytest.approx(0.10, abs=0.01)


@pytest.mark.parametrize(("width", "radius"), [(0.8, 1.0), (0.8, 1.5), (1.2, 2.0), (1.2, 3.0)])
def test_five_percent_is_crossed_where_the_response_says(width: float, radius: float) -> None:
    amounts = np.linspace(0.1, 2.0, 400)
    crossing = next(each for each in amounts if response(width, radius, each) > 0.05)
    for factor, damped in ((0.75, False), (1.35, True)):
        windows = [
            unsharp_mask(edge(angle, width), radius, factor * crossing, preserve_range=True)
            for angle in ANGLES[:4]
        ]
        assert (damping(edge_overshoot(windows)) < 1) is damped
        noisy = [each + noise(1, seed) for seed, each in enumerate(windows)]
        assert (damping(edge_overshoot(noisy)) < 1) is damped


def light_edges(width: float) -> Iterator[Floats]:
    """L* of edges that were halved in light, as the chain does."""
    to_l = np.vectorize(lambda light: lightness(min(max(light, 0.0), 1.0)))
    for angle in (5, 27, 45, 70):
        image = pyvips.Image.new_from_array(edge(angle, width, 0.05, 0.8).astype(np.float32))
        yield np.asarray(to_l(resize_to(image, SIDE // 2, SIDE // 2).numpy()), np.float64)


@pytest.mark.parametrize("width", [0.7, 1.0])
def test_shrinking_in_light_is_not_taken_for_sharpening(width: float) -> None:
    # Lanczos rings in light; in L* the dark side shows three times as much of it as the other.
    assert edge_overshoot(list(light_edges(width))) < 0.02


def test_without_edges_there_is_no_overshoot() -> None:
    assert edge_overshoot([]) == 0
    assert edge_overshoot([scene("flat") + noise(4)]) == 0
    assert edge_overshoot([scene("ramp")]) == 0
    assert edge_overshoot([scene("flat")[:30, :30]]) == 0
    low = unsharp_mask(edge(30, 0.8, 45, 55), 1, 2, preserve_range=True)
    assert edge_overshoot([low]) == 0  # lower than 15 L*


def test_a_side_that_is_cut_is_not_read() -> None:
    window = unsharp_mask(edge(30, 0.8, 30, 100), 1.5, 1, preserve_range=True)
    found = edge_overshoot([np.clip(window, 0, 100)])
    assert found == pytest.approx(response(0.8, 1.5, 1), rel=0.12)
