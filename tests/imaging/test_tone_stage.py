"""The tone stage and the rounding to 8 bits, against the pure functions and whole ramps."""

from dataclasses import replace
from math import log2
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import pyvips

from icc_profiles import Floats, built_in
from pictures import patch_means, patches, picture_of, printed, save, save_16
from plans import NEUTRAL_TONE
from sightsize.base.units import parse_resolution_ppi
from sightsize.imaging.colour.output import at_lightness, finish_colour, finish_mono
from sightsize.imaging.raster.lookup_tables import STEPS_PER_L, whole_steps
from sightsize.imaging.stages.tone import ToneScale, to_lightness, tone_function
from sightsize.model.settings import Delivery, SplitGrade, Tone
from sightsize.numbers.tones import lightness, srgb_encode
from sightsize.numbers.tones import luminance as light_of

CURVE = ((0.0, 0.0), (4.0, 1.0), (50.0, 53.0), (96.0, 98.0), (100.0, 100.0))
TONES = [
    NEUTRAL_TONE,
    replace(NEUTRAL_TONE, exposure_stops=0.1, grade=2.4, curve=CURVE),
    replace(NEUTRAL_TONE, exposure_stops=-1.0, grade=0.0),
    replace(NEUTRAL_TONE, exposure_stops=0.5, grade=5.0, curve=CURVE),
    replace(NEUTRAL_TONE, split_grade=SplitGrade(dark=4, light=1, start=30, end=70), pivot=60),
]


def stage(light: Floats, tone: Tone) -> Floats:
    image = pyvips.Image.new_from_array(light.astype(np.float32)[None])
    return (
        np.asarray(to_lightness(image, ToneScale(tone)).numpy(), np.float64).reshape(-1)
        / STEPS_PER_L
    )


@pytest.mark.parametrize("tone", TONES)
def test_stage_is_the_pure_function(tone: Tone) -> None:
    pure = tone_function(ToneScale(tone))
    light = np.array([light_of(each) for each in np.linspace(0, 100, 20_001)])
    found = stage(light, tone)
    wanted = np.array([pure(float(each)) for each in light])
    steep = max(1.0, np.abs(np.diff(wanted)).max() / 0.005)  # slope of L* out against L* in
    assert np.abs(found - wanted).max() < 0.02 * steep
    if tone.exposure_stops == 0:
        assert np.abs(found - wanted).max() < 0.02


def test_stage_without_settings_is_cie_lightness() -> None:
    # CIE 15: L* 8 is Y .008856, 50 is .184187, 95 is .876183; out of range is cut.
    light = np.array([-0.2, 0.0, 0.0088565, 0.184187, 0.876183, 1.0, 1.7])
    wanted = [0, 0, 8, 50, 95, 100, 100]
    assert stage(light, TONES[0]) == pytest.approx(wanted, abs=0.01)


def test_one_stop_is_twice_the_light() -> None:
    plus_one = replace(NEUTRAL_TONE, exposure_stops=1.0)
    for y in (0.01, 0.09, 0.18, 0.4):
        (seen,) = stage(np.array([y]), plus_one)
        assert log2(light_of(seen) / y) == pytest.approx(1, abs=0.002)


def ramp_16(levels: int) -> Floats:
    """L* from 0 to 100 as 16-bit sRGB codes."""
    steps = np.linspace(0, 100, levels)
    return np.array([65535 * srgb_encode(light_of(float(each))) for each in steps])


def printed_ramp(folder: Path, height: int, **tables: Any) -> Floats:
    """A 16-bit L* ramp, 2048 tones wide, printed in black and white to 8 bits."""
    codes = ramp_16(2048).round().astype(np.uint16)
    pixels = np.ascontiguousarray(np.broadcast_to(codes[None, :, None], (height, 2048, 3)))
    source = save_16(folder / "ramp.tif", pixels, built_in("srgb"))
    settings = {"mono": {"filter": "none"}, **tables}
    px = 2048, height
    return np.asarray(picture_of(printed(folder, source, px, **settings), px))


EVERYTHING: dict[str, Any] = {
    "tone": {"exposure": 0.1, "grade": 2.4, "curve": [list(each) for each in CURVE]},
    "sharpen": {"gain": 0.8, "noise_floor": 0.8},
}


CRAFT: dict[str, Any] = {
    **EVERYTHING,
    "tone": {
        "exposure": 0.1,
        "black_point": 2.0,
        "white_point": 98.0,
        "split_grade": {"dark": 3.0, "light": 1.5},
        "pivot": 55,
        "curve": EVERYTHING["tone"]["curve"],
    },
    "local_contrast": {"gain": 0.25},
    "toner": {"kind": "sepia", "dark": {"hue": 330, "chroma": 4}},
}
"""Every stage that moves tones; grain, which is noise by design, is left out."""


@pytest.mark.parametrize(
    ("tables", "channel"),
    [({}, 0), (EVERYTHING, 0), *((CRAFT, channel) for channel in range(3))],
    ids=["neutral", "everything", "craft red", "craft green", "craft blue"],
)
def test_ramp_has_no_step_and_no_comb(tmp_path: Path, tables: dict[str, Any], channel: int) -> None:
    # 2048 tones over 256 codes: a column's tone never jumps, and no code is left empty.
    pixels = printed_ramp(tmp_path, 128, **tables)[..., channel].astype(np.float64)
    tones = pixels.mean(axis=0)
    assert np.abs(np.diff(tones)).max() < 1
    smooth = np.convolve(tones, np.ones(16) / 16, "valid")
    below_white = smooth[16:] < 254.5  # an exposure sends the last tones to white
    below_white &= smooth[:-16] > 0.5  # and a black point the first ones to black
    assert below_white.sum() > 1850
    assert (smooth[16:] > smooth[:-16])[below_white].all()
    counts = np.bincount(pixels.astype(int).ravel(), minlength=256)
    used = counts[counts.nonzero()[0].min() : counts.nonzero()[0].max() + 1]
    assert (used > 0).all()
    inner = counts[13:243].astype(float)
    # A comb has neighbours of very different height; a smooth histogram has none.
    assert (np.abs(np.diff(inner)) / np.minimum(inner[1:], inner[:-1])).max() < 0.35


def test_ramp_comes_out_as_its_own_function(tmp_path: Path) -> None:
    tone = TONES[1]
    pixels = printed_ramp(tmp_path, 64, tone=EVERYTHING["tone"])
    pure = tone_function(ToneScale(tone))
    wanted = [
        255 * srgb_encode(light_of(pure(light_of(float(each)))))
        for each in np.linspace(0, 100, 2048)
    ]
    assert np.abs(pixels[..., 0] - np.array(wanted)).max() < 1.1
    assert (pixels[..., 0].mean(axis=0) - wanted).mean() == pytest.approx(0, abs=0.01)


def delivery() -> Delivery:
    return Delivery(
        ppi=parse_resolution_ppi("300 ppi"),
        format="tiff",
        quality=95,
        bit_depth=8,
        profile="grey",
        rendering_intent="relative",
        black_point_compensation=True,
        location=False,
        serial_numbers=False,
        keep_master=False,
    )


@pytest.mark.parametrize("tone", [0.4, 3.3, 12.345, 50.0, 61.7, 88.88, 99.7])
def test_dither_keeps_the_mean_of_a_flat_tone(tone: float) -> None:
    # Rectangular dither makes the mean error nothing (Lipshitz, Wannamaker and Vanderkooy, J.
    # Audio Eng. Soc. 40, 1992). One 256 px tile of noise has a mean within .002 of even.
    flat = whole_steps(pyvips.Image.black(512, 256) + tone * STEPS_PER_L)
    found = finish_mono(flat, delivery()).numpy()
    wanted = 255 * srgb_encode(light_of(round(tone * STEPS_PER_L) / STEPS_PER_L))
    assert found.mean() == pytest.approx(wanted, abs=0.02)
    assert found.max() - found.min() <= 1
    assert found.std() < 0.51


def test_dither_leaves_black_and_white_alone(tmp_path: Path) -> None:
    colours = np.array([[0, 0, 0], [255, 255, 255]], np.uint8)
    pixels = patches(colours, 2, 128)
    source = save(tmp_path / "ends.tif", pixels)
    for tables in ({}, {"mono": {"filter": "red"}}, {"tone": {"grade": 5.0}}):
        found = picture_of(printed(tmp_path, source, (256, 128), **tables), (256, 128))
        assert (found == pixels).all()


def test_dither_has_no_pattern() -> None:
    # White noise: between neighbours, and from one row to the next, no correlation.
    flat = whole_steps(pyvips.Image.black(256, 256) + 50.2 * STEPS_PER_L)
    found = finish_mono(flat, delivery()).numpy().astype(np.float64)
    found -= found.mean()
    for shift in ((0, 1), (1, 0), (1, 1), (0, 2)):
        other = np.roll(found, shift, axis=(0, 1))
        assert abs((found * other).mean() / found.var()) < 0.02


def test_sixteen_bits_are_not_dithered(tmp_path: Path) -> None:
    flat = np.full((64, 64, 3), 30000, np.uint16)
    source = save_16(tmp_path / "flat.tif", flat, built_in("srgb"))
    found = picture_of(printed(tmp_path, source, (64, 64), delivery={"bit_depth": 16}), (64, 64))
    assert np.unique(found).size == 1
    assert abs(int(found[0, 0, 0]) - 30000) <= 2


def test_lightness_of_colour_survives_the_whole_chain(tmp_path: Path) -> None:
    # A grade moves a colour's lightness as it moves a grey's, in its own L* (CIE 15).
    colours = np.array([[120, 120, 120], [150, 110, 90], [80, 130, 140]], np.uint8)
    source = save(tmp_path / "colours.tif", patches(colours, 3, 64))
    found = picture_of(printed(tmp_path, source, (192, 64), tone={"grade": 3.0}), (192, 64))
    pure = tone_function(ToneScale(replace(NEUTRAL_TONE, grade=3.0)))
    row = np.array([0.2126, 0.7152, 0.0722])
    for before, after in zip(colours, patch_means(found, 64), strict=True):
        wanted = pure(float(row @ decoded(before)))
        assert lightness(float(row @ decoded(after))) == pytest.approx(wanted, abs=0.06)


def decoded(codes: Floats) -> Floats:
    """IEC 61966-2-1, from 8-bit codes to light."""
    value = np.asarray(codes, np.float64) / 255
    return np.asarray(np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4))


def finished(
    light: pyvips.Image, luminance: pyvips.Image, lightness: pyvips.Image, colour: Delivery
) -> Floats:
    """One pixel's codes, in 8 bits but not rounded to them, of light at a lightness."""
    sixteen = finish_colour(at_lightness(light, luminance, lightness), colour)
    return np.asarray(sixteen.numpy()[16, 16] / 257)


@pytest.mark.parametrize("green", [-0.0034, -0.0031, -0.00254, -0.0022, 0.0, 0.002])
def test_a_colour_next_to_black_does_not_blaze_up(green: float) -> None:
    # Inks laid over black give light with hardly any luminance, or less than none. Lifted to L* 2,
    # as sharpening may, it keeps near the light it had and gets its lightness from grey.
    light = np.array([0.0065, green, 0.003])
    seen = float(np.array([0.2126, 0.7152, 0.0722]) @ light)
    image = pyvips.Image.new_from_array(np.tile(light.astype(np.float32), (32, 32, 1)))
    luminance = (pyvips.Image.black(32, 32) + seen).cast("float")
    lifted = whole_steps(pyvips.Image.black(32, 32) + 2.0 * STEPS_PER_L)
    colour = replace(delivery(), profile="srgb", bit_depth=16)
    found = decoded(finished(image, luminance, lifted, colour))
    assert found.max() < 4 * light.max()
    still = whole_steps(pyvips.Image.black(32, 32) + lightness(max(seen, 0.0)) * STEPS_PER_L)
    left = decoded(finished(image, luminance, still, colour))
    assert left == pytest.approx(np.maximum(light, 0), abs=2e-5)
