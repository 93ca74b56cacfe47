"""The untimed parts of the benchmark, held against published values and against spoilt prints."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from brief import MONO_20X16, Box, Size
from numpy.typing import NDArray
from PIL import Image
from tone_tables import (
    LIGHTNESS_STEPS,
    STEPS,
    curved_lightness,
    linear_light,
    monotone_cubic,
    srgb_code,
)
from verify import coding_is_optimised, compare, comparison_faults

FloatImage = NDArray[np.float32]


def test_geometry_is_the_worked_one() -> None:
    assert MONO_20X16.sheet == Size(6000, 4800)
    assert MONO_20X16.picture == Box(543, 356, 4913, 4088)
    assert MONO_20X16.crop == Box(596, 0, 4808, 4000)
    assert MONO_20X16.sharpen_sigma_px == pytest.approx(1.18, abs=0.005)


def test_srgb_codes_come_back() -> None:
    light = linear_light()
    # IEC 61966-2-1: both branches meet at 0.04045 / 12.92; code 128 from memory.
    assert light[10] == pytest.approx(10 / 255 / 12.92)
    assert light[128] == pytest.approx(0.21586, abs=1e-5)
    lightness = [_lightness(value) for value in light]
    index = np.rint(np.array(lightness) * LIGHTNESS_STEPS).astype(np.uint16)
    assert srgb_code()[index].tolist() == list(range(256))


def _lightness(light: float) -> float:
    """CIE 15, written the other way: with kappa and epsilon."""
    return float(116 * np.cbrt(light) - 16 if light > 216 / 24389 else light * 24389 / 27)


def test_curve_goes_through_its_points_in_lightness() -> None:
    for before, after in MONO_20X16.curve:
        light = ((before + 16) / 116) ** 3 if before > 8 else before * 27 / 24389
        assert curved_lightness(MONO_20X16)[round(light * STEPS)] == pytest.approx(after, abs=0.02)


def test_monotone_cubic_has_the_known_values() -> None:
    # Data RPN 14 of Fritsch and Carlson, SIAM J. Numer. Anal. 17, 1980; values by scipy 1.17.1,
    # PchipInterpolator.
    x = (7.99, 8.09, 8.19, 8.7, 9.2, 10, 12, 15, 20)
    y = (0, 2.76429e-5, 4.37498e-2, 0.169183, 0.469428, 0.943740, 0.998636, 0.999919, 0.999994)
    found = monotone_cubic(tuple(zip(x, y, strict=True)), np.array([8.04, 8.5, 9, 9.5, 11, 13]))
    known = [6.9151e-6, 0.116633, 0.337534, 0.685218, 0.986043, 0.999362]
    assert found == pytest.approx(known, rel=1e-5)


def _textured() -> FloatImage:
    rng = np.random.default_rng(7)
    steps = np.repeat(rng.uniform(40, 215, (32, 32)), 8, axis=0).repeat(8, axis=1)
    return np.asarray(steps + rng.normal(0, 6, steps.shape), dtype=np.float32)


def _soften(image: FloatImage) -> FloatImage:
    return np.asarray((image + np.roll(image, 1, 0) + np.roll(image, 1, 1)) / 3)


def test_a_print_with_a_little_dither_passes() -> None:
    image = _textured()
    dithered = image + np.random.default_rng(8).uniform(-1, 1, image.shape).astype(np.float32)
    assert comparison_faults(compare(dithered, image)) == []


@pytest.mark.parametrize(
    ("spoil", "word"),
    [
        (lambda image: image + 2.5, "tone"),
        (lambda image: np.roll(image, 2, axis=1), "geometry"),
        (_soften, "sharpness"),
    ],
    ids=["lighter", "shifted", "softer"],
)
def test_a_spoilt_print_is_found(spoil: Callable[[FloatImage], FloatImage], word: str) -> None:
    image = _textured()
    assert word in " ".join(comparison_faults(compare(spoil(image), image)))


@pytest.mark.parametrize("optimised", [False, True])
def test_coding_is_told_from_the_tables(tmp_path: Path, optimised: bool) -> None:
    path = tmp_path / "print.jpg"
    codes = np.clip(_textured(), 0, 255).astype(np.uint8)
    Image.fromarray(codes).convert("RGB").save(path, quality=95, optimize=optimised)
    assert coding_is_optimised(path.read_bytes()) == optimised
