"""Local contrast and the spreading of maps against OpenCV, sums written out, and edges measured."""

import hashlib
import os
import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest
import pyvips
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter
from scipy.special import erf

from icc_profiles import Floats
from pictures import Pixels
from sightsize.imaging.raster.lookup_tables import LAST, STEPS_PER_L
from sightsize.imaging.raster.spread import spread
from sightsize.imaging.stages.local_contrast import (
    base_coefficients,
    coarseness,
    raise_local_contrast,
)

RNG = np.random.default_rng(5)
STEP = 1 / STEPS_PER_L


def field(rows: int, columns: int, **lightness: float) -> NDArray[np.float32]:
    """Lightness about 50 with detail of each size: ``s8=3`` is 3 L* (rms) at a sigma of 8 px."""
    total = np.full((rows, columns), 50.0)
    for name, amplitude in lightness.items():
        soft = gaussian_filter(RNG.normal(size=(rows, columns)), float(name[1:]))
        total += amplitude * soft / soft.std()
    return np.asarray(np.clip(total, 0, 100), np.float32)


def smaller(lightness: Pixels, factor: int) -> NDArray[np.float32]:
    """Means of squares of ``factor`` pixels a side."""
    rows, columns = (length // factor for length in lightness.shape)
    squares = lightness.reshape(rows, factor, columns, factor)
    return np.asarray(squares.mean(axis=(1, 3)), np.float32)


def steps_image(lightness: Pixels) -> pyvips.Image:
    return pyvips.Image.new_from_array(np.rint(lightness * STEPS_PER_L).astype(np.uint16))


def stage(lightness: Floats, coefficients: NDArray[np.float32], gain: float) -> Floats:
    """L* after the stage, which takes and gives 16-bit steps."""
    result = raise_local_contrast(steps_image(lightness), coefficients, gain)
    assert result.format == "ushort"
    return np.asarray(result.numpy(), np.float64) / STEPS_PER_L


def contrasted(lightness: Floats, radius: float, gain: float, factor: int = 4) -> Floats:
    """L* after the stage with coefficients of a picture ``factor`` times smaller, as prints do."""
    every = coarseness(radius / factor)
    coefficients = base_coefficients(smaller(lightness, factor), radius / factor, every=every)
    return stage(lightness, coefficients, gain)


def base(lightness: Pixels, radius: float, eps: float = 36.0) -> Floats:
    coefficients = base_coefficients(lightness, radius, eps)
    return np.asarray(coefficients[..., 0] * lightness + coefficients[..., 1], np.float64)


@pytest.mark.parametrize(("radius", "eps"), [(1, 36), (4, 36), (9, 36), (9, 4), (15, 400)])
def test_base_is_the_guided_filter_of_opencv(radius: int, eps: float) -> None:
    # OpenCV counts whole pixels beside the middle, and mirrors the picture at its edges: both see
    # the same when the picture is mirrored for them first. It computes in single precision.
    lightness = field(120, 170, s1=3, s3=5, s12=20)
    wide = np.pad(lightness, 4 * radius, mode="symmetric")
    wanted = cv2.ximgproc.guidedFilter(lightness, lightness, radius, eps)
    inner = np.s_[4 * radius : -4 * radius, 4 * radius : -4 * radius]
    assert np.abs(base(wide, radius + 0.5, eps)[inner] - wanted).max() < 0.01
    inside = np.s_[2 * radius : -2 * radius, 2 * radius : -2 * radius]
    assert np.abs(base(lightness, radius + 0.5, eps) - wanted)[inside].max() < 0.01


def weights(count: int, at: int, radius: float) -> Floats:
    """How much of each pixel lies within ``radius`` of the middle of the pixel ``at``."""
    edges = np.clip(np.arange(count + 1), at + 0.5 - radius, at + 0.5 + radius)
    return np.diff(edges)


@pytest.mark.parametrize("radius", [0.5, 0.8, 1.5, 2.25, 3.7, 40.0])
def test_windows_end_with_the_picture_and_count_cut_pixels_in_part(radius: float) -> None:
    # The definition written out: windows as weights, every mean a sum of its own.
    lightness = field(9, 13, s1=5, s3=10).astype(np.float64)
    rows, columns = lightness.shape

    def mean(values: Floats, row: int, column: int) -> float:
        weight = np.outer(weights(rows, row, radius), weights(columns, column, radius))
        return float((weight * values).sum() / weight.sum())

    def means(values: Floats) -> Floats:
        return np.array([[mean(values, y, x) for x in range(columns)] for y in range(rows)])

    variance = means(lightness**2) - means(lightness) ** 2
    a = variance / (variance + 36)
    wanted = np.stack([means(a), means((1 - a) * means(lightness))], axis=-1)
    found = base_coefficients(lightness.astype(np.float32), radius)
    assert found.dtype == np.float32
    assert np.abs(found - wanted).max() < 1e-4


def test_coefficients_of_a_single_pixel_and_a_flat_picture() -> None:
    for shape in ((1, 1), (1, 7), (20, 30)):
        found = base_coefficients(np.full(shape, 43.0, np.float32), 4.5)
        assert found.shape == (*shape, 2)
        assert found[..., 0] == pytest.approx(np.zeros(shape), abs=1e-9)
        assert found[..., 1] == pytest.approx(np.full(shape, 43.0), abs=1e-5)


def test_gain_0_is_the_same_object() -> None:
    image = steps_image(field(20, 30, s2=9))
    assert raise_local_contrast(image, base_coefficients(field(5, 8, s1=9), 2.5), 0) is image


@pytest.mark.parametrize("gain", [0.1, 0.25, 0.5])
def test_flat_areas_are_left_exactly(gain: float) -> None:
    for steps in (1, 777, 32_768, 40_001, LAST - 1):
        flat = np.full((70, 90), steps / STEPS_PER_L)
        found = contrasted(flat[:68, :88], 9, gain)
        assert (np.rint(found * STEPS_PER_L) == steps).all()


@pytest.mark.parametrize("gain", [0.25, 0.5])
def test_change_is_bounded_and_black_and_white_stay(gain: float) -> None:
    # Every tone among greys of 50: detail far beyond the limit.
    lightness = RNG.choice([0.0, 3.0, 20.0, 50.0, 80.0, 97.0, 100.0], size=(96, 128))
    found = stage(lightness, base_coefficients(np.full((12, 16), 50, np.float32), 3), gain)
    change = found - np.rint(lightness * STEPS_PER_L) / STEPS_PER_L
    assert np.abs(change).max() <= 5
    assert np.abs(change).max() > 2.5
    assert (found[lightness == 0] == 0).all()
    assert (found[lightness == 100] == 100).all()


@pytest.mark.parametrize(
    ("a", "lightness", "wanted"),
    [
        # Flat surroundings of L* 45. Detail 5: 5 tanh(0.4) x 4 x 0.5 x 0.5 = 1.89974.
        (0.0, 50.0, 51.89974),
        # Detail 30 runs against the limit: 5 tanh(2.4) x 4 x 0.75 x 0.25 = 3.68878.
        (0.0, 75.0, 78.68878),
        # Detail -20: -5 tanh(1.6) x 4 x 0.25 x 0.75 = -3.45626.
        (0.0, 25.0, 21.54374),
        # Variance as large as eps. Detail 7.5 / 1.5 = 5: 5 tanh(0.4) x 4 x 0.6 x 0.4 = 1.82375.
        (0.5, 60.0, 61.82375),
        # Variance twice eps, an edge. Detail 15 / 3 / 3 = 1.66667: 5 tanh(2/15) x 0.96 = 0.63625.
        (2 / 3, 60.0, 60.63625),
    ],
)
def test_the_stage_in_worked_numbers(a: float, lightness: float, wanted: float) -> None:
    # L* + limit(gain x (L* - base)) x 4 x (1 - x), the fade from edges and the limit of 5 L*:
    # common practice, no source.
    coefficients = np.array([[[a, (1 - a) * 45.0]]], np.float32)
    found = stage(np.full((2, 2), lightness), coefficients, 0.4)
    assert found == pytest.approx(np.full((2, 2), wanted), abs=2 * STEP)


@pytest.mark.parametrize("a", [0.0, 0.3, 0.6])
def test_tables_and_steps_cost_no_bias(a: float) -> None:
    # The module's own formula in floats, for every tone: what its tables and 16-bit steps may cost.
    # The formula is held by worked numbers above; here the variance is eps * a / (1 - a).
    lightness = np.arange(LAST + 1)[None, :] / STEPS_PER_L
    mean, gain, x = 45.0, 0.4, lightness / 100
    detail = (1 - a) * (lightness - mean) / (1 + (a / (1 - a)) ** 2 / 2)
    wanted = lightness + 5 * np.tanh(gain * detail / 5) * 4 * x * (1 - x)
    found = stage(lightness, np.array([[[a, (1 - a) * mean]]], np.float32), gain)
    assert np.abs(found - wanted).max() < 1.5 * STEP
    assert np.abs((found - wanted).mean()) < 0.2 * STEP


@settings(max_examples=25)
@given(st.floats(0, 1), st.floats(0, 100), st.sampled_from([0.05, 0.25, 0.5]))
def test_no_tone_overtakes_another_at_one_place(a: float, mean: float, gain: float) -> None:
    # Every tone before one base, even one that no picture has.
    ramp = np.arange(LAST + 1)[None, :] / STEPS_PER_L
    coefficients = np.array([[[a, (1 - a) * mean]]], np.float32)
    found = stage(ramp, coefficients, gain)
    assert (np.diff(found) >= 0).all()
    assert np.abs(found - ramp).max() <= 5
    assert (found[0, 0], found[0, -1]) == (0, 100)


@pytest.mark.parametrize("gain", [0.25, 0.5])
@pytest.mark.parametrize(("low", "high"), [(0.0, 100.0), (45.0, 55.0), (0.0, 4.0)])
def test_a_ramp_stays_smooth_and_in_order(low: float, high: float, gain: float) -> None:
    ramp = np.tile(np.linspace(low, high, 2000), (40, 1))
    found = contrasted(ramp, 60, gain)
    rise = np.diff(found)
    step = (high - low) / 1999
    assert (rise >= -1e-9).all()
    # No pixel rises by more than the gain allows and the three roundings: no band, no step.
    assert rise.max() <= step * (1 + gain) + 3 * STEP
    inside = np.s_[:, 200:-200]
    assert np.abs(found - ramp)[inside].max() < 0.05


def edge(low: float, high: float, sigma: float, degrees: float, side: int = 400) -> Floats:
    """A straight edge through the middle, blurred, its pixels at their middles."""
    at = np.arange(side) - (side - 1) / 2
    angle = np.radians(degrees)
    distance = np.cos(angle) * at[None, :] + np.sin(angle) * at[:, None]
    share = (1 + erf(distance / (max(sigma, 0.3) * np.sqrt(2)))) / 2
    return np.asarray(low + (high - low) * share)


def beyond(found: Floats, low: float, high: float) -> float:
    """How far the lightest and darkest lie beyond the plateaus, away from the picture's corners."""
    middle = found[100:-100, 100:-100]
    return float(max(middle.max() - high, low - middle.min()))


@pytest.mark.parametrize("sigma", [0.0, 1.5, 6.0, 20.0])
@pytest.mark.parametrize("degrees", [0, 20, 45, 90])
@pytest.mark.parametrize(("low", "high"), [(20, 80), (40, 60), (10, 95)])
def test_no_rim_at_edges(low: int, high: int, degrees: int, sigma: float) -> None:
    found = contrasted(edge(low, high, sigma, degrees), 24, 0.5)
    assert beyond(found, low, high) < 0.95


@pytest.mark.parametrize("rise", [4, 8, 10, 14, 20, 30, 50])
def test_no_rim_at_an_edge_of_any_height(rise: int) -> None:
    # Low edges cannot be told from texture; they are what is strengthened most.
    low, high = 50 - rise / 2, 50 + rise / 2
    for gain, most in ((0.1, 0.35), (0.3, 1.0), (0.5, 1.6)):
        found = contrasted(edge(low, high, 0.5, 0, 240)[:80], 24, gain)
        assert max(found.max() - high, low - found.min()) < most


def test_the_rim_that_the_fade_takes_off() -> None:
    # The filter alone, as the papers have it: gain 0.5 would leave a rim of more than 1.7 L*.
    lightness = edge(40, 60, 0.3, 0, 240)[:80].astype(np.float32)
    assert np.abs(lightness - base(lightness, 24)).max() > 3.4


@pytest.mark.parametrize("gain", [0.1, 0.25, 0.5])
@pytest.mark.parametrize("periods", [0.5, 1.0, 2.0])
def test_detail_of_the_neighbourhoods_size_is_strengthened(periods: float, gain: float) -> None:
    window, amplitude = 60.0, 3.0
    wave = amplitude * np.sin(2 * np.pi * np.arange(600) / (window * periods))
    found = contrasted(np.tile(50 + wave, (200, 1)), window / 2, gain)
    inside = found[100, 120:-120]
    strengthened = (inside.max() - inside.min()) / 2 / amplitude
    share = {0.5: 0.88, 1.0: 0.88, 2.0: 0.55}[periods]
    assert strengthened == pytest.approx(1 + share * gain, abs=0.02)


def test_texture_keeps_its_change_and_tones_at_the_ends_have_less() -> None:
    wave = 3 * np.sin(2 * np.pi * np.arange(600) / 40)
    grown = {}
    for middle in (10, 25, 50, 75, 90):
        found = contrasted(np.tile(middle + wave, (80, 1)), 30, 0.25)[40, 120:-120]
        grown[middle] = (found.max() - found.min()) / 6 - 1
    for middle, each in grown.items():
        factor = 4 * middle / 100 * (1 - middle / 100)
        assert each == pytest.approx(factor * grown[50], abs=0.02)


@pytest.mark.parametrize("gain", [0.25, 0.5])
def test_every_size_looks_alike(gain: float) -> None:
    # Prints of one picture, the neighbourhood a share of it, each with a small picture of its own.
    large = field(720, 960, s3=2, s8=4, s60=18).astype(np.float64)
    wanted = smaller(contrasted(large, 36, gain, 4), 6)
    for factor, map_factor in ((2, 2), (3, 1), (3, 2)):
        reprint = smaller(large, factor).astype(np.float64)
        found = contrasted(reprint, 36 / factor, gain, map_factor)
        difference = np.abs(smaller(found, 6 // factor) - wanted)
        assert difference.mean() < 0.02
        assert difference.max() < 0.15


@pytest.mark.parametrize("radius", [7.0, 8.0, 9.6, 17.0, 40.0])
def test_pixels_taken_together_do_as_every_one(radius: float) -> None:
    lightness = field(331, 401, s1=2, s4=3, s12=5, s50=18)
    every = coarseness(radius)
    assert every == int(radius / 3.5)
    alone, together = (base_coefficients(lightness, radius, every=each) for each in (1, every))
    assert together.shape[:2] == (round(331 / every), round(401 / every))
    pixels = lightness.astype(np.float64)
    # On this picture; on 16 of its kind the largest difference at radius 40 was 0.06 to 0.20.
    difference = np.abs(stage(pixels, together, 0.25) - stage(pixels, alone, 0.25))
    assert difference.mean() < 0.02
    assert difference.max() < 0.15


@pytest.mark.parametrize("sigma", [0.3, 6.0])
@pytest.mark.parametrize("degrees", [0, 20])
def test_no_rim_at_edges_where_pixels_are_taken_together(degrees: int, sigma: float) -> None:
    lightness = edge(40, 60, sigma, degrees)
    coefficients = base_coefficients(lightness.astype(np.float32), 24, every=coarseness(24))
    found = stage(lightness, coefficients, 0.5)
    assert coarseness(24) == 6
    assert beyond(found, 40, 60) < 0.95


@pytest.mark.parametrize(("factor", "mean", "most"), [(2, 0.015, 0.1), (4, 0.03, 0.3)])
def test_small_coefficients_do_as_those_of_every_pixel(
    factor: int, mean: float, most: float
) -> None:
    lightness = field(480, 640, s1=2, s4=3, s12=5, s50=18).astype(np.float64)
    every = contrasted(lightness, 24, 0.25, 1)
    difference = np.abs(contrasted(lightness, 24, 0.25, factor) - every)
    assert difference.mean() < mean
    assert difference.max() < most
    assert np.abs(every - lightness).mean() > 5 * mean


def test_pixels_are_read_once_in_order(tmp_path: Path) -> None:
    lightness = field(300, 400, s2=4, s20=15)
    steps_image(lightness).tiffsave(str(tmp_path / "print.tif"))
    coefficients = base_coefficients(smaller(lightness, 4), 6)
    streamed = pyvips.Image.new_from_file(str(tmp_path / "print.tif"), access="sequential")
    found = raise_local_contrast(streamed, coefficients, 0.25).numpy()
    assert (found == raise_local_contrast(steps_image(lightness), coefficients, 0.25).numpy()).all()


_PRINT = """
import sys
import numpy as np, pyvips
from sightsize.imaging.stages.local_contrast import base_coefficients, raise_local_contrast
image = pyvips.Image.new_from_file(sys.argv[1], access="sequential")
small = np.load(sys.argv[2])
raise_local_contrast(image, base_coefficients(small, 6.3), 0.4).tiffsave(sys.argv[3])
"""


def test_bytes_are_the_same_for_any_number_of_threads(tmp_path: Path) -> None:
    lightness = field(500, 700, s2=4, s20=15)
    steps_image(lightness).tiffsave(str(tmp_path / "print.tif"))
    np.save(tmp_path / "small.npy", smaller(lightness, 4))
    hashes = set()
    for threads in (1, 2, 4):
        files = [str(tmp_path / name) for name in ("print.tif", "small.npy", f"{threads}.tif")]
        environment = {**os.environ, "VIPS_CONCURRENCY": str(threads)}
        subprocess.run([sys.executable, "-c", _PRINT, *files], env=environment, check=True)
        hashes.add(hashlib.sha256(Path(files[2]).read_bytes()).hexdigest())
    assert len(hashes) == 1


@pytest.mark.parametrize(
    ("small", "large"),
    [
        ((5, 7), (5, 7)),
        ((5, 7), (6, 9)),
        ((30, 40), (301, 517)),
        ((40, 64), (97, 128)),
        ((1, 1), (33, 70)),
        ((3, 200), (200, 200)),
    ],
)
def test_spread_is_opencvs_bilinear_resize(small: tuple[int, int], large: tuple[int, int]) -> None:
    values = RNG.random(small).astype(np.float32)
    wanted = cv2.resize(values, large[::-1], interpolation=cv2.INTER_LINEAR)
    image = spread(values, large[1], large[0])
    assert (image.width, image.height, image.bands) == (*large[::-1], 1)
    assert image.format == "float"
    assert np.abs(image.numpy() - wanted).max() < 1e-5
