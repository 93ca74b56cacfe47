"""Resizing against a Lanczos-2 written from its formula, in linear light."""

from functools import cache
from pathlib import Path

import numpy as np
import pytest
import pyvips
from PIL import Image
from scipy.ndimage import gaussian_filter, gaussian_filter1d

from icc_profiles import Codes, Floats, built_in, colour_difference, lab_of
from pictures import job, patches, picture_of, planned_picture, printed, save
from sightsize.imaging.raster.resize import resize_to
from sightsize.numbers.tones import lightness
from sightsize.plan.decode import print_shrink

SRGB = built_in("srgb")
RNG = np.random.default_rng(1926)


def resized(light: Floats, width: int, height: int) -> Floats:
    image = pyvips.Image.new_from_array(light.astype(np.float32))
    return np.asarray(resize_to(image, width, height).numpy(), np.float64)


def lanczos(before: int, after: int) -> Floats:
    """Weights of Lanczos-2 (Duchon, J. Appl. Meteorology 18, 1979), one row an output pixel."""
    scale = before / after
    reach = int(2 * scale) + 2
    at = np.arange(-reach, before + reach)
    x = (at + 0.5 - (np.arange(after)[:, None] + 0.5) * scale) / scale
    weights = np.where(np.abs(x) < 2, np.sinc(x) * np.sinc(x / 2), 0)
    weights /= weights.sum(axis=1, keepdims=True)
    matrix = np.zeros((after, before))
    for column, place in enumerate(np.clip(at, 0, before - 1)):
        matrix[:, place] += weights[:, column]
    return matrix


def zone_plate(side: int) -> Floats:
    """Every frequency up to half a cycle a pixel, which the middle of each edge reaches."""
    y, x = np.mgrid[0:side, 0:side] - (side - 1) / 2
    return np.asarray(0.5 + 0.5 * np.cos(np.pi * (x * x + y * y) / side))


@pytest.mark.parametrize("after", [300, 190, 128, 100, 64, 41])
def test_shrinking_is_lanczos_2(after: int) -> None:
    plate = zone_plate(512)
    rows = lanczos(512, after)
    found = resized(plate, after, after)
    # libvips rounds the place of its kernel; at whole ratios it agrees to the last bit of a float.
    assert np.abs(found - rows @ plate @ rows.T).max() < (1e-6 if 512 % after == 0 else 0.008)


@pytest.mark.parametrize("after", [190, 128, 100, 64])
def test_what_cannot_be_shown_leaves_no_moire(after: int) -> None:
    # Where the plate has half as much detail again as the small picture can hold, what is left is
    # alias: its energy is under a thousandth of the plate's own (variance 1/8).
    found = resized(zone_plate(512), after, after)
    y, x = np.mgrid[0:after, 0:after] - (after - 1) / 2
    cycles = np.hypot(x, y) / after * (512 / after)  # a pixel of the small picture
    inside = np.maximum(np.abs(x), np.abs(y)) < after / 2 - 4
    beyond = found[(cycles > 0.75) & (cycles < 0.5 * 512 / after) & inside]
    assert beyond.size > 500
    assert beyond.var() < 0.001 / 8
    assert beyond.mean() == pytest.approx(0.5, abs=0.002)


@pytest.mark.parametrize("smaller", [0.86, 0.7, 0.5, 0.4])
@pytest.mark.parametrize("blur", [0.6, 0.8])
def test_no_black_line_beside_an_edge(smaller: float, blur: float) -> None:
    # An edge from L* 20 to 73, as soft as a sharp lens draws it.
    edge = gaussian_filter1d(np.repeat([0.03, 0.46], 48), blur)
    after = round(96 * smaller)
    for shift in range(4):
        found = resized(np.tile(np.roll(edge, shift), (96, 1)), after, after)
        inside = found[after // 2, after // 5 : -after // 5]
        assert lightness(inside.min()) > 14.5
        assert lightness(inside.max()) < 74.5


@pytest.mark.parametrize("suffix", [".tif", ".png"])
@pytest.mark.parametrize("upright", [True, False])
def test_hairlines_become_the_grey_of_their_light(
    tmp_path: Path, suffix: str, upright: bool
) -> None:
    # Half black and half white is half the light: IEC 61966-2-1 encodes .5 as 187.5. An average
    # of encoded values would be 128.
    lines = np.zeros((512, 512, 3), np.uint8)
    if upright:
        lines[:, ::2] = 255
    else:
        lines[::2] = 255
    source = save(tmp_path / f"lines{suffix}", lines)
    found = picture_of(printed(tmp_path, source, (64, 64)), (64, 64))[4:-4, 4:-4]
    assert found.mean() == pytest.approx(187.516, abs=0.1)
    assert np.abs(found.astype(int) - 188).max() <= 1


@pytest.mark.parametrize("size", [(97, 141), (200, 200), (611, 333)])
def test_enlarging_keeps_flat_fields_and_the_mean(size: tuple[int, int]) -> None:
    flat = np.full((61, 47), 0.3)
    assert np.abs(resized(flat, *size) - 0.3).max() < 1e-6
    soft = np.pad(RNG.uniform(0.2, 0.8, size=(49, 35)), 6, constant_values=0.5)
    found = resized(soft, *size)
    assert found.shape == (size[1], size[0])
    assert found.mean() == pytest.approx(soft.mean(), abs=0.001)


def test_enlarging_keeps_a_ramp_straight_and_in_place() -> None:
    # Bicubic reproduces straight lines (Keys, IEEE Trans. ASSP 29, 1981), pixel middles aligned.
    ramp = np.tile(np.linspace(0, 1, 64), (8, 1))
    found = resized(ramp, 256, 32)[16]
    wanted = ((np.arange(256) + 0.5) / 4 - 0.5) / 63
    inner = np.s_[12:-12]
    assert np.abs(found - wanted)[inner].max() < 0.002


@cache
def natural_picture() -> Codes:
    """Amplitude falling with frequency, as in natural scenes (Field, JOSA A 4, 1987)."""
    draw = np.random.default_rng(1987).random
    height, width = 960, 1280
    distance = np.hypot(np.fft.fftfreq(height)[:, None], np.fft.fftfreq(width))
    distance[0, 0] = np.inf
    bands = []
    for _ in range(3):
        phase = np.exp(2j * np.pi * draw((height, width)))
        bands.append(np.real(np.fft.ifft2(phase / distance)))
    grey, red, blue = (band / band.std() for band in bands)
    colour = 120 + 50 * grey[..., None] + 12 * np.stack([red, -0.3 * (red + blue), blue], axis=-1)
    return np.asarray(np.clip(colour, 0, 255).astype(np.uint8))


def from_jpeg_and_from_tiff(
    folder: Path, pixels: Codes, px: tuple[int, int], shrink: int
) -> tuple[Codes, Codes]:
    """A JPEG printed from its own file, and printed from all its pixels in a TIFF."""
    jpeg = save(folder / "source.jpg", pixels, quality=95, subsampling=0)
    tiff = save(folder / "source.tif", np.asarray(Image.open(jpeg)))
    planned = job(folder, {"print": {"source": "source.jpg"}}, px)
    assert print_shrink(planned_picture(planned)) == shrink
    whole = picture_of(printed(folder, tiff, px), px)
    return picture_of(printed(folder, jpeg, px), px), whole


@pytest.mark.parametrize(
    ("width", "shrink", "lens_px", "mean"),
    [
        (320, 2, 0.8, 0.55),
        (160, 4, 0.8, 0.75),
        (80, 8, 0.8, 1.05),
        (320, 2, 0.0, 1.05),
        (160, 4, 0.0, 1.4),
        (80, 8, 0.0, 1.9),
    ],
)
def test_shrinking_while_decoding_hardly_shows(
    tmp_path: Path, width: int, shrink: int, lens_px: float, mean: float
) -> None:
    # The decoder averages encoded values, not light. Measured with dither included, mean dE00 and
    # 99th percentile: behind a lens that blurs 0.8 px (from memory, about what cameras do) 0.48
    # 1.3, 0.68 1.6 and 0.95 2.2 at 2, 4 and 8 times; with full detail down to the pixel, which no
    # lens gives, 0.93 2.4, 1.30 2.9 and 1.66 3.2. The picture is darker by 0.2 to 4 codes.
    px = width, width * 3 // 4
    pixels = natural_picture()
    if lens_px:
        soft = gaussian_filter(pixels.astype(float), (lens_px, lens_px, 0))
        pixels = soft.round().astype(np.uint8)
    shrunk, whole = from_jpeg_and_from_tiff(tmp_path, pixels, px, shrink)
    off = colour_difference(lab_of(shrunk, SRGB), lab_of(whole, SRGB))
    assert off.mean() < mean
    assert np.percentile(off, 99) < 3.6


def test_hairlines_in_a_jpeg_are_averaged_as_encoded(tmp_path: Path) -> None:
    # The documented limit of shrinking while decoding: the decoder averages encoded values, so
    # black and white lines one source pixel wide become 128 where their light is 188.
    lines = np.zeros((512, 512, 3), np.uint8)
    lines[::2] = 255
    shrunk, whole = from_jpeg_and_from_tiff(tmp_path, lines, (64, 64), 4)
    assert whole[8:-8, 8:-8].mean() == pytest.approx(187.5, abs=1)
    assert shrunk[8:-8, 8:-8].mean() == pytest.approx(127.5, abs=1)


def test_a_jpeg_less_than_four_times_too_large_is_decoded_whole(tmp_path: Path) -> None:
    lines = np.zeros((256, 256, 3), np.uint8)
    lines[::2] = 255
    shrunk, whole = from_jpeg_and_from_tiff(tmp_path, lines, (72, 72), 1)
    assert (shrunk == whole).all()


def test_not_resized_is_not_touched(tmp_path: Path) -> None:
    codes = RNG.integers(0, 256, size=(24 * 24, 3)).astype(np.uint8)
    source = save(tmp_path / "same.tif", patches(codes, 24, 4))
    found = picture_of(printed(tmp_path, source, (96, 96)), (96, 96))
    assert np.abs(found.astype(int) - patches(codes, 24, 4)).max() <= 1
