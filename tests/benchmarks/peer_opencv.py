"""Float peer with OpenCV: whole images, each function of a float computed as it is written down."""

from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from spec import MONO_24X16, Spec, thread_count
from tone_tables import linear_light, monotone_cubic
from tuned_opencv import FloatImage, read, resized, write

cv2.setNumThreads(thread_count())


def make_print(source: Path, target: Path, spec: Spec = MONO_24X16) -> None:
    """Make the black-and-white print of the spec."""
    colour, kinds, chunks = read(source)
    light = cv2.LUT(colour[spec.crop.slices], linear_light())
    luminance = cv2.transform(light, np.array([spec.weights[::-1]], np.float32))
    lightness = _curved(_lightness(resized(np.asarray(luminance), spec)), spec)
    blurred = cv2.GaussianBlur(lightness, (0, 0), spec.sharpen_sigma_px)
    gain = spec.sharpen_gain
    sharp = np.asarray(cv2.addWeighted(lightness, 1 + gain, blurred, -gain, 0))
    sheet = np.full((spec.sheet.height, spec.sheet.width), 255, np.uint8)
    sheet[spec.picture.slices] = cv2.convertScaleAbs(_srgb(sharp), alpha=255)
    write(target, sheet, kinds, chunks, spec)


def _lightness(light: FloatImage) -> FloatImage:
    """L* of light (CIE 15)."""
    light = np.clip(light, 0, 1)
    return np.where(light > (6 / 29) ** 3, 116 * _power(light, 1 / 3) - 16, light * (29 / 3) ** 3)


def _curved(lightness: FloatImage, spec: Spec) -> FloatImage:
    knots = np.linspace(0, 100, 1001)
    curve = monotone_cubic(spec.curve, knots)
    return np.interp(lightness, knots, curve).astype(np.float32)


def _srgb(lightness: FloatImage) -> FloatImage:
    """The sRGB value of L* (IEC 61966-2-1)."""
    lightness = np.clip(lightness, 0, 100)
    light = np.where(lightness > 8, ((lightness + 16) / 116) ** 3, lightness / (29 / 3) ** 3)
    low = light <= 0.0031308
    return np.where(low, light * 12.92, 1.055 * _power(light, 1 / 2.4) - 0.055)


def _power(values: NDArray[np.float32], exponent: float) -> FloatImage:
    return np.asarray(cv2.pow(values, exponent))
