"""Float peer with OpenCV: whole images, each function of a float computed as it is written down."""

from pathlib import Path

import cv2
import numpy as np
from brief import MONO_24X16, Brief, thread_count
from numpy.typing import NDArray
from tone_tables import linear_light, monotone_cubic
from tuned_opencv import FloatImage, read, resized, write

cv2.setNumThreads(thread_count())


def make_print(source: Path, target: Path, brief: Brief = MONO_24X16) -> None:
    """Make the black-and-white print of the brief."""
    colour, kinds, chunks = read(source)
    light = cv2.LUT(colour[brief.crop.slices], linear_light())
    luminance = cv2.transform(light, np.array([brief.weights[::-1]], np.float32))
    lightness = _curved(_lightness(resized(np.asarray(luminance), brief)), brief)
    blurred = cv2.GaussianBlur(lightness, (0, 0), brief.sharpen_sigma_px)
    gain = brief.sharpen_gain
    sharp = np.asarray(cv2.addWeighted(lightness, 1 + gain, blurred, -gain, 0))
    sheet = np.full((brief.sheet.height, brief.sheet.width), 255, np.uint8)
    sheet[brief.picture.slices] = cv2.convertScaleAbs(_srgb(sharp), alpha=255)
    write(target, sheet, kinds, chunks, brief)


def _lightness(light: FloatImage) -> FloatImage:
    """L* of light (CIE 15)."""
    light = np.clip(light, 0, 1)
    return np.where(light > (6 / 29) ** 3, 116 * _power(light, 1 / 3) - 16, light * (29 / 3) ** 3)


def _curved(lightness: FloatImage, brief: Brief) -> FloatImage:
    knots = np.linspace(0, 100, 1001)
    curve = monotone_cubic(brief.curve, knots)
    return np.interp(lightness, knots, curve).astype(np.float32)


def _srgb(lightness: FloatImage) -> FloatImage:
    """The sRGB value of L* (IEC 61966-2-1)."""
    lightness = np.clip(lightness, 0, 100)
    light = np.where(lightness > 8, ((lightness + 16) / 116) ** 3, lightness / (29 / 3) ** 3)
    low = light <= 0.0031308
    return np.where(low, light * 12.92, 1.055 * _power(light, 1 / 2.4) - 0.055)


def _power(values: NDArray[np.float32], exponent: float) -> FloatImage:
    return np.asarray(cv2.pow(values, exponent))
