"""Whole prints against the same way in plain 64-bit floats: what tables and steps may cost.

The reference has no table, no 16-bit lightness, no strips, no maps in small and no pixels taken
together. It takes lightness and sRGB from colour-science, the curve and the logistic of the grade
from scipy. Local contrast and the sharpening's limits are the program's own ways, written out anew.
A print may differ by a code of 8 bits anywhere, and by a twentieth of one on average.
"""

from pathlib import Path
from typing import Any

import colour
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import correlate1d, gaussian_filter, maximum_filter, minimum_filter
from scipy.special import expit, logit

from pictures import picture_of, printed, save
from speed import first_is_quick

Floats = NDArray[np.float64]

WIDTH, HEIGHT = 420, 300
CODE = 257
"""Steps of 16 bits in a code of 8."""
CURVE = [(0, 0), (6, 3), (50, 54), (95, 97), (100, 100)]
STOPS, GRADE = 0.2, 3
TONE = {"exposure": STOPS, "grade": GRADE, "curve": CURVE}
SIGMA_PX, GAIN, FLOOR = 1.2, 0.8, 0.8
SHARPEN = {"radius": "0.12 mm", "gain": GAIN, "noise_floor": FLOOR}
"""The same at ten pixels in a millimetre."""
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
"""The luminance row of the sRGB primaries, IEC 61966-2-1."""
GRADE_CONTRAST = 105 / 85
"""Of grade 3 against grade 2, in the manner of ISO 6846: common practice, no source."""


def scene() -> NDArray[np.uint8]:
    """Shading, texture, noise and hard edges in colour."""
    draw = np.random.default_rng(11).standard_normal
    layers = [
        gain * sigma * gaussian_filter(draw((HEIGHT, WIDTH, 3)), (sigma, sigma, sigma / 9))
        for sigma, gain in ((0.6, 14), (3, 22), (40, 60))
    ]
    picture = 128 + sum(layers)
    picture[60:160, 90:210] *= 0.35
    picture[200:, 250:330] = 250 - picture[200:, 250:330] / 6
    return np.asarray(np.clip(np.rint(picture), 0, 255), np.uint8)


def light_of(pixels: NDArray[np.uint8]) -> Floats:
    """Linear light of sRGB codes (IEC 61966-2-1)."""
    value = pixels / 255
    return np.asarray(np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4))


def catmull_rom(distance: Floats) -> Floats:
    """Keys' cubic with a = -1/2 (IEEE Transactions on Acoustics 29, 1981)."""
    x = np.abs(distance)
    near, far = 1.5 * x**3 - 2.5 * x**2 + 1, -0.5 * x**3 + 2.5 * x**2 - 4 * x + 2
    return np.where(x < 1, near, np.where(x < 2, far, 0.0))


def lanczos_2(distance: Floats) -> Floats:
    return np.where(np.abs(distance) < 2, np.sinc(distance) * np.sinc(distance / 2), 0.0)


def resized(light: Floats, width: int, height: int) -> Floats:
    """Weights written out for each pixel; the picture's last pixels stand for what is beyond."""
    for axis, new in ((0, height), (1, width)):
        old = light.shape[axis]
        stretch = max(old / new, 1.0)
        centres = (np.arange(new) + 0.5) * old / new - 0.5
        if new > old:  # libvips enlarges at sixty-fourths of a pixel
            centres = np.rint(centres * 64) / 64
        reach = np.arange(-int(4 * stretch), int(4 * stretch) + 2)
        places = np.floor(centres)[:, None].astype(np.intp) + reach
        kernel = lanczos_2 if new < old else catmull_rom
        weights = kernel((places - centres[:, None]) / stretch)
        weights /= weights.sum(axis=1, keepdims=True)
        taken = np.take(light, np.clip(places, 0, old - 1), axis=axis)
        shape = [1] * taken.ndim
        shape[axis : axis + 2] = weights.shape
        light = (taken * weights.reshape(shape)).sum(axis=axis + 1)
    return light


def toned(light: Floats) -> Floats:
    """L* of the tone above: exposure, the grade's logistic about L* 50, the curve."""
    exposed = colour.lightness(np.clip(light * 2**STOPS, 0, 1) * 100, method="CIE 1976")

    def paper(share: Any) -> Any:
        return expit(GRADE_CONTRAST * logit(0.001 + 0.998 * share))

    graded = 100 * (paper(exposed / 100) - paper(0)) / (paper(1) - paper(0))
    return np.asarray(PchipInterpolator(*zip(*CURVE, strict=True))(graded))


def window_mean(values: Floats, side: int) -> Floats:
    """The mean of a square window over what of it lies inside the picture."""
    for axis in (0, 1):
        ones = np.ones(side)
        sums = correlate1d(values, ones, axis, mode="constant")
        values = sums / correlate1d(np.ones_like(values), ones, axis, mode="constant")
    return values


def contrasted(lightness: Floats, side: int, gain: float) -> Floats:
    """The guided filter at every pixel, and local contrast as the program has it."""
    mean = window_mean(lightness, side)
    variance = window_mean(lightness**2, side) - mean**2
    slope = variance / (variance + 36)
    a, b = window_mean(slope, side), window_mean((1 - slope) * mean, side)
    fade = (1 - a) ** 2 / ((1 - a) ** 2 + a**2 / 2)
    detail, x = fade * (lightness - a * lightness - b), lightness / 100
    return np.asarray(lightness + 5 * np.tanh(gain * detail / 5) * 4 * x * (1 - x))


def sharpened(lightness: Floats) -> Floats:
    """Sharpened, and an enlargement's blur undone, within the overshoot that is allowed.

    Twice the size leaves a blur of 0.8 px, and one pass for both has the second order
    0.8 x 1.2^2 + 0.8^2 = 1.792 and the fourth 0.8 x 1.2^4 + 0.8^4 = 2.06848: a sigma of
    (2.06848 / 1.792)^(1/2) and a gain of 1.792^2 / 2.06848.
    """
    doubled = lightness.shape[1] == 2 * WIDTH
    sigma_px, gain = (1.0743765, 1.5524791) if doubled else (SIGMA_PX, GAIN)
    detail = lightness - gaussian_filter(lightness, sigma_px, mode="nearest", truncate=6)
    share = np.clip((np.abs(detail) - FLOOR) / FLOOR, 0, 1)
    sharp = lightness + gain * detail * share * share * (3 - 2 * share)
    lowest = minimum_filter(lightness, 3, mode="nearest") - 2
    highest = maximum_filter(lightness, 3, mode="nearest") + 2
    return np.asarray(np.clip(sharp, lowest, highest))


def codes_of(lightness: Floats) -> Floats:
    return encoded(luminance_of(lightness))


def luminance_of(lightness: Floats) -> Floats:
    """Luminance, white at 1, by CIE 15."""
    return np.asarray(colour.luminance(np.clip(lightness, 0, 100), method="CIE 1976")) / 100


def encoded(light: Floats) -> Floats:
    """Codes of 8 bits, unrounded (IEC 61966-2-1)."""
    return np.asarray(colour.cctf_encoding(np.clip(light, 0, 1), function="sRGB")) * 255


def off(folder: Path, px: tuple[int, int], wanted: Floats, **tables: Any) -> Floats:
    """How far a print is from what is wanted, in codes of 8 bits."""
    source = save(folder / "scene.png", scene())
    delivery = {"bit_depth": 16}
    path = printed(folder, source, px, tone=TONE, sharpen=SHARPEN, delivery=delivery, **tables)
    return np.asarray(np.abs(picture_of(path, px) / CODE - np.atleast_3d(wanted)))


def mono_light() -> Floats:
    return np.asarray(light_of(scene()) @ LUMINANCE)


@pytest.mark.parametrize(
    "px",
    first_is_quick([(546, 390), (WIDTH, HEIGHT), (840, 600), (168, 120)]),
    ids=lambda px: f"{px[0]}x{px[1]}",
)
def test_a_black_and_white_print(tmp_path: Path, px: tuple[int, int]) -> None:
    wanted = codes_of(sharpened(toned(resized(mono_light(), *px))))
    found = off(tmp_path, px, wanted, mono={})
    print(f"{px}: mean {found.mean():.4f}, at most {found.max():.3f}")
    assert found.max() <= 1
    assert found.mean() < 0.05


def test_a_print_with_local_contrast(tmp_path: Path) -> None:
    px = (WIDTH, HEIGHT)
    wanted = codes_of(sharpened(contrasted(toned(mono_light()), 25, 0.3)))
    local = {"neighbourhood": "2.5 mm", "gain": 0.3}
    found = off(tmp_path, px, wanted, mono={}, local_contrast=local)
    print(f"mean {found.mean():.4f}, at most {found.max():.3f}")
    assert found.max() <= 1
    assert found.mean() < 0.05


def test_a_colour_print(tmp_path: Path) -> None:
    px = (546, 390)
    light = resized(light_of(scene()), *px)
    luminance = light @ LUMINANCE
    lightness = sharpened(toned(luminance))
    target = luminance_of(lightness)[..., None]
    seen = np.maximum(luminance, 0)[..., None]
    scale = (target + 1e-3) / (seen + 1e-3)
    printed_light = light * scale + target - seen * scale
    wanted = encoded(printed_light)
    inside = ((printed_light > 0) & (printed_light < 1)).all(axis=2)  # others keep to the gamut
    found = off(tmp_path, px, wanted)[inside]
    print(f"{inside.mean():.0%} inside: mean {found.mean():.4f}, at most {found.max():.3f}")
    assert inside.mean() > 0.8
    assert found.max() <= 1
    assert found.mean() < 0.05
