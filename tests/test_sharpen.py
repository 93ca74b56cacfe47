"""Sharpening against worked values, scikit-image and scipy."""

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import pyvips
from scipy.ndimage import gaussian_filter, maximum_filter, minimum_filter
from skimage.filters import unsharp_mask

from icc_profiles import Floats
from pictures import BORDER_PX, job, patches, picture_of, printed, read, save
from sightsize.batch import plan_prints
from sightsize.job import Sharpen
from sightsize.picture.sharpen import OVERSHOOT, blur, emphasis, sharpen
from sightsize.picture.table import STEPS_PER_L, whole_steps

RNG = np.random.default_rng(26)
STEP = 1 / STEPS_PER_L


def settings(gain: float = 0.8, noise_floor: float = 0.0) -> Sharpen:
    return Sharpen(radius_mm=Fraction(1, 10), gain=gain, noise_floor=noise_floor)


def image(lightness: Floats) -> pyvips.Image:
    return pyvips.Image.new_from_array(lightness.astype(np.float32))


def numbers(result: pyvips.Image) -> Floats:
    return np.asarray(result.numpy(), np.float64)


def sharpened(lightness: Floats, how: Sharpen, sigma_px: float) -> Floats:
    """L* after the stage, which takes and gives 16-bit steps."""
    steps = whole_steps(image(lightness * STEPS_PER_L))
    return numbers(sharpen(steps, how, sigma_px)) / STEPS_PER_L


def blobs() -> Floats:
    """Lightness between 5 and 95 with detail of every size."""
    field = gaussian_filter(RNG.normal(size=(96, 128)), 1.2)
    field += 3 * gaussian_filter(RNG.normal(size=(96, 128)), 8)
    return np.asarray(5 + 90 * (field - field.min()) / (field.max() - field.min()))


def test_worked_values_of_scikit_image() -> None:
    # The docstring of skimage.filters.unsharp_mask: 100 with 127 in the middle, sigma .5, amount
    # 2, unclipped: 147.59, beside it 95.48, diagonally 99.39, two away 99.99 and 100.
    point = np.full((5, 5), 100.0)
    point[2, 2] = 127
    detail = point - numbers(blur(image(point), 0.5))
    out = point + np.vectorize(lambda each: emphasis(each, settings(gain=2)))(detail)
    wanted = unsharp_mask(point, radius=0.5, amount=2, preserve_range=True)
    assert wanted[2, 2] == pytest.approx(147.59, abs=0.005)
    # The kernel here ends where a weight is below half a percent, scipy's a little later.
    assert np.abs(out - wanted).max() < 0.04


def test_worked_step() -> None:
    # scipy, sigma 1, amount 1, a step from .25 to .75: .09974 .90026, then .22072 .77928.
    step = np.tile(np.repeat([25.0, 75.0], 16), (8, 1))
    detail = numbers(image(step) - blur(image(step), 1.0))
    row = (step + detail)[4, 14:18]
    assert row == pytest.approx([22.072, 9.974, 90.026, 77.928], abs=0.25)


@pytest.mark.parametrize("sigma", [0.5, 0.75, 1.0, 1.18, 1.5, 2.0, 2.5, 3.0])
def test_blur_is_a_gaussian_of_its_sigma(sigma: float) -> None:
    # scipy.ndimage.gaussian_filter, whose sigma is scikit-image's too; edges repeat.
    lightness = blobs()
    wanted = gaussian_filter(lightness, sigma, mode="nearest", truncate=6)
    found = numbers(blur(image(lightness), sigma))
    moved = np.abs(wanted - lightness).max()
    assert np.abs(found - wanted).max() < 0.01 * moved
    spread = numbers(blur(image(np.eye(1, 41, 20) * 1000), sigma))[0]
    at = np.arange(41) - 20
    measured = np.sqrt((spread * at**2).sum() / spread.sum())
    # Cutting the kernel narrows it, by 8 % at half a pixel and by 3 % at most from there on.
    assert measured == pytest.approx(sigma, rel=0.08 if sigma == 0.5 else 0.03)


def test_unsharp_mask_of_scikit_image_inside_the_clamp() -> None:
    lightness = blobs()
    found = sharpened(lightness, settings(gain=0.8), 1.2)
    wanted = unsharp_mask(lightness, radius=1.2, amount=0.8, preserve_range=True)
    low, high = neighbourhood(lightness)
    held = np.clip(wanted, low - OVERSHOOT, high + OVERSHOOT)
    inside = np.s_[6:-6, 6:-6]  # scikit-image mirrors the picture at its edge
    assert np.abs(found - held)[inside].max() < 0.1
    assert np.abs(found - lightness).max() > 2


def neighbourhood(lightness: Floats) -> tuple[Floats, Floats]:
    return (
        np.asarray(minimum_filter(lightness, 3, mode="nearest")),
        np.asarray(maximum_filter(lightness, 3, mode="nearest")),
    )


@pytest.mark.parametrize("gain", [0.5, 3.0])
@pytest.mark.parametrize("sigma", [0.6, 1.18, 3.0])
def test_overshoot_ends_two_beyond_the_neighbours(gain: float, sigma: float) -> None:
    # Common practice, no source.
    lightness = RNG.choice([10.0, 50.0, 90.0], size=(64, 64))
    found = sharpened(lightness, settings(gain), sigma)
    low, high = neighbourhood(lightness)
    assert (found >= low - 2 - STEP).all()
    assert (found <= high + 2 + STEP).all()
    beyond = np.maximum(found - high, low - found).max()
    assert beyond == pytest.approx(2, abs=0.01)  # the clamp was needed


def test_detail_below_the_floor_is_left_exactly() -> None:
    quiet = np.rint((50 + RNG.uniform(-0.39, 0.39, size=(64, 64))) * STEPS_PER_L) / STEPS_PER_L
    found = sharpened(quiet, settings(gain=2, noise_floor=0.8), 1.18)
    assert found == pytest.approx(quiet, abs=1e-9)


def test_emphasis_is_nothing_at_the_floor_and_all_at_twice() -> None:
    wanted = {0.8: 0.0, -0.8: 0.0, 1.2: 0.5 * 1.2, 1.6: 1.6, 5.0: 5.0, -5.0: -5.0}
    found = {each: emphasis(each, settings(gain=1, noise_floor=0.8)) for each in wanted}
    assert found == pytest.approx(wanted)
    steps = [emphasis(each / 100, settings(1, 0.8)) for each in range(-300, 301)]
    assert steps == sorted(steps)


def test_flat_and_unsharpened_pictures_are_left_exactly() -> None:
    flat = np.full((32, 32), 40_000 / STEPS_PER_L)
    assert sharpened(flat, settings(gain=3), 1.18) == pytest.approx(flat, abs=1e-9)
    busy = np.rint(blobs() * STEPS_PER_L) / STEPS_PER_L
    assert sharpened(busy, settings(gain=0), 1.18) == pytest.approx(busy, abs=1e-9)


def test_no_halo_where_picture_meets_paper(tmp_path: Path) -> None:
    # A flat picture on white: sharpening across the edge would darken its rim.
    for value in (40, 128, 220):
        flat = patches(np.array([[value] * 3], np.uint8), 1, 64)
        source = save(tmp_path / "flat.tif", flat)
        file = printed(tmp_path, source, (64, 64), sharpen={"gain": 3.0, "noise_floor": 0.0})
        found = picture_of(file, (64, 64)).astype(int)
        assert np.abs(found - value).max() <= 1
        sheet = read(file)
        assert (sheet[:BORDER_PX] == 255).all()
        assert (sheet[:, :BORDER_PX] == 255).all()


def test_radius_is_a_length_on_paper(tmp_path: Path) -> None:
    # sigma px = mm / 25.4 x ppi: 0.10 mm is 1.18 px at 300 ppi and 2.36 px at 600 ppi.
    save(tmp_path / "flat.tif", patches(np.array([[128] * 3], np.uint8), 1, 64))
    for ppi, sigma in ((300, 1.1811), (600, 2.3622), (240, 0.9449)):
        planned = job(
            tmp_path,
            {"print": {"source": "flat.tif"}},
            (64, 64),
            sharpen={"radius": "0.10 mm", "gain": 0.8},
            delivery={"resolution": f"{ppi} ppi"},
        )
        (each,) = plan_prints(planned, planned.prints)
        assert each.plan is not None
        assert each.plan.sharpen_sigma_px == pytest.approx(sigma, abs=5e-5)


def test_a_dark_saturated_spot_stays_a_dark_spot(tmp_path: Path) -> None:
    # Colour is scaled with lightness; next to black that scale must not run away.
    pixels = np.full((64, 64, 3), 60, np.uint8)
    pixels[20:44, 20:44] = (0, 0, 0)
    pixels[24:40, 24:40] = (9, 0, 3)
    source = save(tmp_path / "spot.tif", pixels)
    file = printed(tmp_path, source, (64, 64), sharpen={"gain": 3.0, "noise_floor": 0.0})
    found = picture_of(file, (64, 64))[22:42, 22:42].astype(int)
    assert found[..., 0].max() <= 30
    assert (found[..., 0] - found[..., 1]).max() <= 22
