"""ICC in and out, whole chain with nothing else done, against Pillow's LittleCMS."""

from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from icc_profiles import (
    OPRGB_GAMMA,
    OPRGB_XY,
    SRGB_XY,
    Codes,
    Floats,
    built_in,
    colour_difference,
    grey,
    lab_of,
    littlecms,
    littlecms_lab,
    oprgb,
    parametric,
    rgb_to_xyz,
    sampled,
    table,
    table_lab,
)
from pictures import patch_means, patches, picture_of, printed, save, save_16

SRGB = built_in("srgb")
PROFILES = {"srgb": SRGB, "oprgb": oprgb(), "p3": built_in("p3"), "table": table()}
INKS = built_in("cmyk")
ACROSS, SIDE = 18, 8
RGB = np.array(list(product((0, 51, 102, 153, 204, 255), repeat=3)), np.uint8)
CMYK = np.array(list(product((0, 85, 170, 255), repeat=4)), np.uint8)
MOST, MEAN = 1.0, 0.2
"""Bounds of CIEDE2000. The means of 64 dithered pixels are compared with codes that LittleCMS has
rounded, which alone makes a mean of about 0.1."""


def differences(means: Floats, reference: Codes, profile: bytes) -> Floats:
    wanted = patch_means(reference, SIDE)
    off = colour_difference(lab_of(means[None], profile), lab_of(wanted[None], profile))
    return off.reshape(-1)


def hold(found: Floats) -> None:
    assert found.max() <= MOST, f"worst patch {found.argmax()}: dE00 {found.max():.2f}"
    assert found.mean() <= MEAN, f"mean dE00 {found.mean():.3f}"


def print_patches(folder: Path, colours: Codes, profile: bytes, **tables: Any) -> Floats:
    pixels = patches(colours, ACROSS if len(colours) == 216 else 16, SIDE)
    px = pixels.shape[1], pixels.shape[0]
    source = save(folder / "source.tif", pixels, profile)
    return patch_means(picture_of(printed(folder, source, px, **tables), px), SIDE)


@pytest.mark.parametrize("name", PROFILES)
def test_rgb_profiles_in_as_littlecms_has_them(tmp_path: Path, name: str) -> None:
    # ISO 15076-1 relative colorimetric with ISO 18619 black point compensation.
    found = print_patches(tmp_path, RGB, PROFILES[name])
    reference = littlecms(patches(RGB, ACROSS, SIDE), PROFILES[name], SRGB, "RGB")
    hold(differences(found, reference, SRGB))


def test_cmyk_profile_in_as_littlecms_has_it(tmp_path: Path) -> None:
    found = print_patches(tmp_path, CMYK, INKS)
    reference = littlecms(patches(CMYK, 16, SIDE), INKS, SRGB, "RGB")
    wanted = lab_of(patch_means(reference, SIDE)[None], SRGB)[0]
    colour = wanted[:, 0] > 3
    off = differences(found, reference, SRGB)
    hold(off[colour])
    # Inks laid over full black are darker than the black that is mapped to nothing: colours that
    # no eye can see, which end near black one way and the other.
    assert colour.sum() == 187
    seen = lab_of(found[None], SRGB)[0]
    assert seen[~colour, 0].max() < 3.1
    assert off[~colour].max() < 7


@pytest.mark.parametrize("name", ["srgb", "oprgb", "table"])
def test_lab_of_the_print_is_lab_of_the_source(tmp_path: Path, name: str) -> None:
    # Colours inside sRGB, so that nothing is cut. Pillow's Lab has 8 bits: up to 0.2 in L* and
    # 0.5 in a* and b* are its own rounding; lightness is held closer than the hue.
    inside = np.array(list(product((102, 119, 136, 153), repeat=3)), np.uint8)
    found = lab_of(print_patches(tmp_path, inside, PROFILES[name])[None], SRGB)[0]
    wanted = patch_means(littlecms_lab(patches(inside, 16, SIDE), PROFILES[name]), SIDE)
    off = np.abs(found - wanted)
    assert off[:, 0].max() < 0.35
    assert off[:, 1:].max() < 1.2
    assert off.mean() < 0.35


def test_table_profile_is_read_as_its_maker_meant(tmp_path: Path) -> None:
    # The device's own formula, no LittleCMS; its black is lifted, and black point compensation
    # takes it down to nothing by ISO 18619's scaling in XYZ, so light tones hardly move.
    light = np.array(list(product((178, 204, 230, 255), repeat=3)), np.uint8)
    found = lab_of(print_patches(tmp_path, light, table())[None], SRGB)[0]
    off = colour_difference(found, table_lab(light / 255))
    assert np.median(off) < 0.3
    assert off[-1] < 0.05


@pytest.mark.parametrize("name", ["oprgb", "p3", "table", "inks"])
def test_profile_path_out_as_littlecms_has_it(tmp_path: Path, name: str) -> None:
    profile = INKS if name == "inks" else PROFILES[name]
    (tmp_path / "out.icc").write_bytes(profile)
    found = print_patches(tmp_path, RGB, SRGB, delivery={"profile": "out.icc"})
    mode = "CMYK" if name == "inks" else "RGB"
    reference = littlecms(patches(RGB, ACROSS, SIDE), SRGB, profile, mode)
    hold(differences(found, reference, profile))


WAYS = [
    ("perceptual", False),
    ("relative", True),
    ("relative", False),
    ("saturation", False),
    ("absolute", False),
]
"""Intents, and whether the black point is compensated: LittleCMS looks at it for relative."""


@pytest.mark.parametrize(("intent", "compensated"), WAYS)
def test_intent_and_black_point_are_those_asked_for(
    tmp_path: Path, intent: str, compensated: bool
) -> None:
    (tmp_path / "out.icc").write_bytes(INKS)
    asked = {"rendering_intent": intent, "black_point_compensation": compensated}
    found = print_patches(tmp_path, RGB, SRGB, delivery={"profile": "out.icc", **asked})
    chart = patches(RGB, ACROSS, SIDE)
    for way in WAYS:
        reference = littlecms(chart, SRGB, INKS, "CMYK", intent=way[0], compensated=way[1])
        off = differences(found, reference, INKS)
        if way == (intent, compensated):
            hold(off)
        else:
            assert off.max() > 3


@pytest.mark.parametrize("name", ["oprgb", "table"])
def test_sixteen_bits_in_and_out(tmp_path: Path, name: str) -> None:
    wide = patches(RGB, ACROSS, SIDE).astype(np.uint16) * 257
    px = wide.shape[1], wide.shape[0]
    source = save_16(tmp_path / "source.tif", wide, PROFILES[name])
    file = printed(tmp_path, source, px, delivery={"bit_depth": 16})
    pixels = picture_of(file, px)
    assert pixels.dtype == np.uint16
    reference = littlecms(patches(RGB, ACROSS, SIDE), PROFILES[name], SRGB, "RGB")
    hold(differences(patch_means(pixels, SIDE) / 257, reference, SRGB))


def test_no_step_of_eight_bits_inside(tmp_path: Path) -> None:
    # A ramp of 2048 codes over a tenth of the scale stays 2048 tones.
    ramp = np.repeat(np.linspace(20000, 26553, 2048).astype(np.uint16)[:, None], 8, axis=1)
    pixels = np.repeat(ramp.T[..., None], 3, axis=2)
    source = save_16(tmp_path / "ramp.tif", np.ascontiguousarray(pixels), SRGB)
    file = printed(tmp_path, source, (2048, 8), delivery={"bit_depth": 16})
    found = picture_of(file, (2048, 8))[0, :, 0].astype(np.int64)
    assert np.abs(found - pixels[0, :, 0]).max() <= 2
    assert np.diff(found).min() > 0


GREYS = {
    "libvips' own": built_in("sgrey"),
    "no curve": grey(sampled()),
    "gamma 1.8": grey(sampled(round(1.8 * 256))),
    "samples": grey(sampled(*(round(65535 * (at / 32) ** 2.2) for at in range(33)))),
    "para 0": grey(parametric(0, 2.2)),
    "para 1": grey(parametric(1, 2.4, 0.95, 0.05)),
    "para 2": grey(parametric(2, 2.4, 0.9, 0.08, 1 - 0.98**2.4)),
    "para 3": grey(parametric(3, 2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)),
    "para 4": grey(parametric(4, 2.2, 0.9, 0.1, 0.2, 0.1, 0.0, 0.19**2.2 - 0.02)),
}


@pytest.mark.parametrize("name", GREYS)
@pytest.mark.parametrize("mono", [{}, {"mono": {"filter": "none"}}], ids=["colour", "mono"])
def test_grey_profile_in(tmp_path: Path, name: str, mono: dict[str, dict[str, str]]) -> None:
    # Every curve that ICC.1 knows, against LittleCMS, whose rounding is half a code.
    ramp = patches(np.arange(256, dtype=np.uint8)[:, None], 16, SIDE)
    source = save(tmp_path / "grey.tif", ramp[..., 0], GREYS[name])
    pixels = picture_of(printed(tmp_path, source, (128, 128), **mono), (128, 128))
    assert pixels.shape[2] == 3
    assert (pixels == pixels[..., :1]).all()
    wanted = littlecms(ramp[..., 0], GREYS[name], SRGB, "RGB")
    assert np.abs(patch_means(pixels, SIDE) - patch_means(wanted, SIDE)).max() < 0.8


def ramp_through(folder: Path, curve: bytes) -> tuple[Codes, Codes]:
    """A print of every code of a grey profile, and what Pillow's LittleCMS makes of them."""
    ramp = patches(np.arange(256, dtype=np.uint8)[:, None], 16, SIDE)
    source = save(folder / "grey.tif", ramp[..., 0], grey(curve))
    found = picture_of(printed(folder, source, (128, 128)), (128, 128))
    return found, littlecms(ramp[..., 0], grey(curve), SRGB, "RGB")


@pytest.mark.parametrize(
    "curve",
    [
        sampled(100, 100),
        parametric(1, 2.2, 0, 0),
        parametric(2, 2.2, 0, 0, 0.1),
        parametric(3, 2.4, -1, -1, 1, 0),
    ],
)
def test_curves_that_no_numbers_come_from_are_left_to_littlecms(
    tmp_path: Path, curve: bytes
) -> None:
    found, wanted = ramp_through(tmp_path, curve)
    assert (found == wanted).all()


@pytest.mark.parametrize("curve", [parametric(0, -2.2), parametric(3, 30000, 30000, 30000, 0, 0)])
def test_curves_of_endless_light_are_white(tmp_path: Path, curve: bytes) -> None:
    # LittleCMS has white in red and blue; its green overflows, and none of it may reach a print.
    found, wanted = ramp_through(tmp_path, curve)
    assert (wanted[..., [0, 2]] == 255).all()
    assert found.min() >= 250


def test_white_is_exactly_white_from_every_profile(tmp_path: Path) -> None:
    white = np.full((64, 64, 3), 255, np.uint8)
    for name in ("srgb", "oprgb", "p3"):
        source = save(tmp_path / f"{name}.tif", white, PROFILES[name])
        assert (picture_of(printed(tmp_path, source, (64, 64)), (64, 64)) == 255).all()


def test_oprgb_patches_of_the_wide_gamut_scenario(tmp_path: Path) -> None:
    # IEC 61966-2-5 to IEC 61966-2-1, computed from their definitions; 16 bits in, 8 out.
    colours = np.array([[200, 100, 100], [128, 128, 128], [0, 255, 0]], np.uint8)
    wide = patches(colours, 3, 64).astype(np.uint16) * 257
    source = save_16(tmp_path / "source.tif", wide, oprgb())
    pixels = picture_of(printed(tmp_path, source, (192, 64)), (192, 64))
    means = patch_means(pixels, 64)
    assert means == pytest.approx(by_definition(colours), abs=0.1)
    wanted = patches(np.array([[227, 100, 100], [129, 129, 129], [0, 255, 0]]), 3, 64)
    assert np.abs(pixels.astype(int) - wanted).max() <= 1
    assert means[2] == pytest.approx([0, 255, 0], abs=0.02)


def by_definition(codes: Codes) -> Floats:
    """Encoded opRGB to encoded sRGB, both by their standards' formulas; both stand on D65."""
    light = (codes / 255) ** OPRGB_GAMMA @ rgb_to_xyz(OPRGB_XY).T
    linear = np.clip(light @ np.linalg.inv(rgb_to_xyz(SRGB_XY)).T, 0, 1)
    encoded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.asarray(255 * encoded)
