"""Grain against Selwyn's and Siedentopf's laws, with scipy as the judge of its correlation.

E. W. H. Selwyn, A theory of graininess, Photographic Journal 75, 1935: the RMS density seen through
an aperture falls with the root of its area. H. Siedentopf, Physikalische Zeitschrift 38, 1937: the
RMS density grows with the root of the density. Both from memory.
"""

import hashlib
import os
import subprocess
import sys
from fractions import Fraction
from functools import cache
from itertools import product
from math import lcm
from pathlib import Path

import numpy as np
import pytest
import pyvips
from hypothesis import example, given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import kurtosis, skew

from icc_profiles import Floats
from sightsize.imaging.raster.lookup_tables import LAST, STEPS_PER_L
from sightsize.imaging.stages.grain import _field, _tiles, add_grain, fluctuation
from sightsize.model.settings import Grain
from sightsize.numbers import tones

SEED = int("5eed" * 16, 16)
SIDE = 1024
TENTH_MM = Fraction(1, 10)
UNIT = 1024**2 / 2


def grain(granularity: float = 0.03, size_mm: Fraction = TENTH_MM) -> Grain:
    return Grain(granularity=granularity, size_mm=size_mm)


def flat(lightness: float, side: int = SIDE) -> pyvips.Image:
    return (pyvips.Image.black(side, side) + round(lightness * STEPS_PER_L)).cast("ushort")


def lightness_of(image: pyvips.Image) -> Floats:
    return np.asarray(image.numpy() / STEPS_PER_L, np.float64)


def density_of(image: pyvips.Image) -> Floats:
    """-log10 of the luminance of CIE 15."""
    each = np.arange(1, LAST + 1) / STEPS_PER_L
    light = np.where(each > 8, ((each + 16) / 116) ** 3, each / (29 / 3) ** 3)
    return np.asarray(-np.log10(light)[image.numpy() - 1], np.float64)


def grey_of(density: float) -> float:
    return tones.lightness(10**-density)


def printed(density: float, how: Grain, ppi: float, side: int = SIDE) -> Floats:
    """The densities of a flat grey with grain."""
    return density_of(add_grain(flat(grey_of(density), side), how, ppi, SEED))


@cache
def seen_by(aperture: float, lag: float, size: float) -> float:
    """Along one axis, the covariance of two apertures ``lag`` apart over that of two points.

    By scipy's quadrature over the autocorrelation exp(-(2 r / size)^2) that defines the size.
    """

    def both(apart: float) -> float:
        overlap = (aperture - abs(apart)) / aperture**2
        return float(overlap * np.exp(-((2 * (lag + apart) / size) ** 2)))

    return float(quad(both, -aperture, aperture, points=[0], limit=200, epsabs=1e-10)[0])


def averaged(pixels: Floats, side: int) -> Floats:
    """Means of squares of ``side`` pixels."""
    kept = pixels.shape[0] // side * side
    squares = pixels[:kept, :kept].reshape(kept // side, side, kept // side, side)
    return np.asarray(squares.mean(axis=(1, 3)))


def correlation(pixels: Floats, across: int, down: int) -> float:
    height, width = pixels.shape
    here, there = pixels[: height - down, : width - across], pixels[down:, across:]
    return float(np.corrcoef(here.ravel(), there.ravel())[0, 1])


# The amount.


@pytest.mark.parametrize("granularity", [0.01, 0.05])
@pytest.mark.parametrize("density", [0.05, 0.3, 1.0, 2.0])
def test_fluctuation_of_density(density: float, granularity: float) -> None:
    """Siedentopf: G sqrt(D), here for grain of three pixels."""
    found = printed(density, grain(granularity, Fraction(3, 10)), 254)
    wanted = granularity * np.sqrt(density) * seen_by(1, 0, 3)
    assert found.std() == pytest.approx(wanted, rel=0.03)
    assert found.mean() == pytest.approx(density, abs=0.003)


@pytest.mark.parametrize("size_px", [0.3, 0.6, 1.0, 1.7, 4.0, 12.0])
def test_a_pixel_is_an_aperture(size_px: float) -> None:
    found = printed(1.0, grain(0.03, Fraction(size_px) / 10), 254).std()
    assert found == pytest.approx(0.03 * seen_by(1, 0, size_px), rel=0.03)


def test_grain_far_below_a_pixel() -> None:
    """Selwyn: sigma sqrt(A) is G sqrt(D) sqrt(pi / 4) size: for 1/50 of a pixel, 0.0177 G."""
    found = printed(1.0, grain(0.05, Fraction(1, 500)), 254).std()
    assert found / 0.05 == pytest.approx(0.02 * np.sqrt(np.pi) / 2, rel=0.03)


@pytest.mark.parametrize("size_px", [0.5, 1.2, 2.4])
def test_selwyns_law(size_px: float) -> None:
    """RMS density through squares: exactly as the size has it, and as 1 / side in the limit."""
    pixels = printed(0.8, grain(0.04, Fraction(size_px) / 10), 254, 2048)
    sides = [2, 4, 8, 16, 32]
    found = np.array([averaged(pixels, side).std() for side in sides])
    point = 0.04 * np.sqrt(0.8)
    wanted = point * np.array([seen_by(side, 0, size_px) for side in sides])
    assert found == pytest.approx(wanted, rel=0.03)
    limit = point * np.sqrt(np.pi) / 2 * size_px / np.array([16, 32])
    assert found[-2:] == pytest.approx(limit, rel=0.12)
    assert np.log2(found[-2] / found[-1]) == pytest.approx(1, abs=0.06)


# The size.


@pytest.mark.parametrize("size_px", [1.0, 2.4, 6.0])
def test_correlation_is_that_of_the_size(size_px: float) -> None:
    pixels = printed(0.8, grain(0.02, Fraction(size_px) / 10), 254, 1200)
    for across, down in ((1, 0), (0, 1), (1, 1), (2, 0), (3, 2), (5, 0), (0, 8)):
        wanted = (
            seen_by(1, across, size_px) * seen_by(1, down, size_px) / seen_by(1, 0, size_px) ** 2
        )
        assert correlation(pixels, across, down) == pytest.approx(wanted, abs=0.015)


@pytest.mark.parametrize("size_px", [1.2, 6.0])
def test_size_is_a_diameter(size_px: float) -> None:
    """The sum of the covariances over the variance of a point is the area of the circle."""
    point = 0.02 * np.sqrt(0.8)
    pixels = printed(0.8, grain(0.02, Fraction(size_px) / 10), 254, 2048)
    power = np.abs(np.fft.rfft2(pixels - pixels.mean())) ** 2
    covariance = np.fft.irfft2(power) / pixels.size
    reach = int(np.ceil(1.5 * size_px))
    near = np.r_[-reach : reach + 1]
    area = covariance[np.ix_(near, near)].sum() / point**2
    assert 2 * np.sqrt(area / np.pi) == pytest.approx(size_px, rel=0.05)


def test_same_look_on_paper_at_every_resolution() -> None:
    """508 ppi, seen in squares of 2 x 2 pixels, is 254 ppi."""
    coarse = printed(0.8, grain(), 254)
    fine = averaged(printed(0.8, grain(), 508, 2 * SIDE), 2)
    assert fine.shape == coarse.shape
    assert fine.std() == pytest.approx(coarse.std(), rel=0.02)
    for across, down in ((1, 0), (0, 1), (1, 1), (2, 0)):
        difference = correlation(fine, across, down) - correlation(coarse, across, down)
        assert abs(difference) < 0.015


# The field.


def test_the_field_is_gaussian() -> None:
    field = _field(2048, 2048, 2.0, SEED).numpy().ravel() / UNIT
    assert field.mean() == pytest.approx(0, abs=0.005)
    assert field.std() == pytest.approx(1, rel=0.01)
    assert skew(field) == pytest.approx(0, abs=0.02)
    assert kurtosis(field) == pytest.approx(0, abs=0.06)
    assert np.abs(field).max() < 3.51


def turned(tile: pyvips.Image) -> Floats:
    """The autocorrelation of a complex tile that wraps round, given by its parts."""
    field = tile.numpy() @ np.array([1, 1j])
    power = np.abs(np.fft.fft2(field)) ** 2
    both = np.fft.ifft2(power)
    return np.asarray((both / both[0, 0]).real)


@pytest.mark.parametrize("size_px", [0.6, 1.2, 2.4, 5.0])
def test_no_repeat_on_a_large_sheet(size_px: float) -> None:
    """On 24 x 16 in at 300 ppi, wherever one tile comes round again the other is elsewhere.

    The field's correlation at a lag is the product of both tiles'.
    """
    tiles = _tiles(size_px, SEED)
    sides = [tile.width for tile in tiles]
    assert lcm(*sides) > 24 * 300
    for one, other in ((0, 1), (1, 0)):
        known = turned(tiles[other])
        for across, down in product(range(7200 // sides[one] + 1), range(4800 // sides[one] + 1)):
            if across or down:
                at = down * sides[one] % sides[other], across * sides[one] % sides[other]
                assert abs(known[at]) < 0.1


@pytest.mark.parametrize("lag", [625, 768, 1250, 1536])
def test_no_repeat_in_the_field(lag: int) -> None:
    field = _field(2304, 2304, 2.4, SEED).numpy()
    for across, down in ((lag, 0), (0, lag), (lag, lag)):
        assert abs(correlation(field, across, down)) < 0.06


# What it leaves alone.


def test_no_granularity_is_the_identity() -> None:
    image = flat(50)
    assert add_grain(image, grain(0.0), 300, SEED) is image


@pytest.mark.parametrize("lightness", [0.0, 100.0])
def test_black_and_bare_paper_stay(lightness: float) -> None:
    found = add_grain(flat(lightness, 256), grain(0.1), 300, SEED).numpy()
    assert (found == round(lightness * STEPS_PER_L)).all()


@pytest.mark.parametrize("granularity", [0.03, 0.1])
@pytest.mark.parametrize("lightness", [0.2, 5, 8, 50, 95, 99.7, 99.99])
def test_mean_lightness_stays_and_nothing_is_cut(lightness: float, granularity: float) -> None:
    before = round(lightness * STEPS_PER_L) / STEPS_PER_L
    pixels = add_grain(flat(lightness), grain(granularity, Fraction(2, 10)), 254, SEED)
    found = lightness_of(pixels)
    assert found.std() > 0
    assert found.mean() == pytest.approx(before, abs=0.02)
    at_an_end = np.isin(pixels.numpy(), (0, LAST)).mean()
    assert at_an_end < 0.001 or lightness == 99.99  # six steps below white


def test_light_of_an_area_stays() -> None:
    """Seen from afar light is averaged, not lightness: a tenth of L* at the most."""
    for density in (0.1, 0.7, 1.5):
        light = (10 ** -printed(density, grain(0.05, Fraction(3, 10)), 254)).mean()
        assert tones.lightness(light) == pytest.approx(grey_of(density), abs=0.1)


def test_a_step_wedge_keeps_its_steps() -> None:
    """Steps of 0.15 D, as in a 21-step tablet; the mean of each stays within 0.002."""
    densities = np.arange(0.05, 2.2, 0.15)
    row = [round(grey_of(each) * STEPS_PER_L) for each in densities]
    wedge = np.repeat(np.repeat(np.array([row], np.uint16), 512, axis=0), 256, axis=1)
    found = density_of(add_grain(pyvips.Image.new_from_array(wedge), grain(0.03), 300, SEED))
    steps = found.reshape(512, len(row), 256)
    assert steps.mean(axis=(0, 2)) == pytest.approx(densities, abs=0.002)
    law = 0.03 * np.sqrt(densities) * seen_by(1, 0, 300 / 254)
    assert steps.std(axis=(0, 2)) == pytest.approx(law, rel=0.03)


lightnesses = st.floats(0, 100)
granularities = st.floats(1e-4, 0.1)


@example(5e-324, 0.1)
@example(99.99999999999999, 0.1)
@given(lightnesses, granularities)
def test_fluctuation_stays_within_black_and_white(lightness: float, granularity: float) -> None:
    largest = 3.5 * fluctuation(lightness, granularity)
    assert 0 <= largest <= min(lightness, 100 - lightness) + 1e-12


@example(8.0, 0.05)
@given(st.floats(1, 99.99), st.floats(1e-4, 0.06))
def test_fluctuation_follows_the_law_up_to_next_to_white(
    lightness: float, granularity: float
) -> None:
    """dL*/dD by a difference; from a density of 15 G^2 on, which is 0.0135 for G = 0.03."""
    density = -np.log10(tones.luminance(lightness))
    if density > 15 * granularity**2:
        ends = [grey_of(density + each) for each in (-1e-6, 1e-6)]
        law = abs(ends[1] - ends[0]) / 2e-6 * granularity * np.sqrt(density)
        assert fluctuation(lightness, granularity) == pytest.approx(law, rel=1e-3)


# Reprints.


def digest(image: pyvips.Image) -> str:
    return hashlib.sha256(image.write_to_memory()).hexdigest()


def test_a_reprint_is_the_same_and_another_seed_another() -> None:
    first = digest(add_grain(flat(50, 900), grain(), 300, SEED))
    _tiles.cache_clear()
    assert digest(add_grain(flat(50, 900), grain(), 300, SEED)) == first
    other = add_grain(flat(50, 900), grain(), 300, SEED + 1)
    assert digest(other) != first
    fields = [_field(900, 900, 1.2, seed).numpy() for seed in (SEED, SEED + 1)]
    assert abs(np.corrcoef(fields[0].ravel(), fields[1].ravel())[0, 1]) < 0.01


RUN = """
import hashlib, sys
from fractions import Fraction
import pyvips
from sightsize.model.settings import Grain
from sightsize.imaging.stages.grain import add_grain
ramp = pyvips.Image.xyz(1500, 1200).extract_band(0).linear([40], [0]).cast("ushort")
how = Grain(granularity=0.03, size_mm=Fraction(1, 10))
print(hashlib.sha256(add_grain(ramp, how, 300, 1931).write_to_memory()).hexdigest())
"""


def test_threads_make_no_difference_nor_do_years() -> None:
    """The digest is what this stage gave when it was written."""
    found = {
        subprocess.run(
            [sys.executable, "-c", RUN],
            env={**os.environ, "VIPS_CONCURRENCY": threads},
            capture_output=True,
            text=True,
            check=True,
        ).stdout.strip()
        for threads in ("1", "2", "4")
    }
    assert found == {"b47232d192bc7c573ccb21c8daa24f626386e1ddbd8b6e1161d1349c92af7b5e"}


def test_a_sequential_picture(tmp_path: Path) -> None:
    path = tmp_path / "grey.tif"
    flat(60, 700).tiffsave(str(path))
    streamed = pyvips.Image.new_from_file(str(path), access="sequential")
    found = add_grain(streamed, grain(), 300, SEED)
    assert digest(found) == digest(add_grain(flat(60, 700), grain(), 300, SEED))
