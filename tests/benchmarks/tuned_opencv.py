"""OpenCV at its fastest: the same job with every function of a float read from a 16-bit table.

Tables of 65 536 entries need OpenCV 5.
"""

from pathlib import Path
from typing import Any

import cv2
import numpy as np
from brief import MONO_24X16, Brief, thread_count
from numpy.typing import NDArray
from tone_tables import LIGHTNESS_STEPS, STEPS, curved_lightness, linear_light, srgb_code

FloatImage = NDArray[np.float32]

cv2.setNumThreads(thread_count())


def make_print(source: Path, target: Path, brief: Brief = MONO_24X16) -> None:
    """Make the black-and-white print of the brief."""
    colour, kinds, chunks = read(source)
    luminance = _luminance(colour[brief.crop.slices], brief)
    sheet = np.full((brief.sheet.height, brief.sheet.width), 255, np.uint8)
    sheet[brief.picture.slices] = _finished(resized(luminance, brief), brief)
    write(target, sheet, kinds, chunks, brief)


def read(source: Path) -> Any:
    """Return the picture's codes and its metadata: kinds and their bytes."""
    return cv2.imdecodeWithMetadata(np.fromfile(source, np.uint8), cv2.IMREAD_COLOR)


def write(target: Path, sheet: NDArray[np.uint8], kinds: Any, chunks: Any, brief: Brief) -> None:
    """Write a grey sheet as the JPEG of the brief, in three equal channels."""
    colour = cv2.cvtColor(sheet, cv2.COLOR_GRAY2BGR)
    _, jpeg = cv2.imencodeWithMetadata(".jpg", colour, kinds, chunks, _jpeg_options(brief))
    _set_density(jpeg, brief.ppi)
    jpeg.tofile(target)


def _luminance(colour: NDArray[np.uint8], brief: Brief) -> FloatImage:
    blue_green_red = np.array([brief.weights[::-1]], np.float32)
    return np.asarray(cv2.transform(cv2.LUT(colour, linear_light()), blue_green_red))


def resized(luminance: FloatImage, brief: Brief) -> FloatImage:
    """Return the picture at its size on the sheet."""
    kernel = cv2.INTER_LANCZOS4 if brief.enlarges else cv2.INTER_AREA
    size = brief.picture.width, brief.picture.height
    return np.asarray(cv2.resize(luminance, size, interpolation=kernel))


def _finished(luminance: FloatImage, brief: Brief) -> NDArray[np.uint8]:
    """Curve and sharpen in L*, and encode; each table reads the float before it in 16 bits."""
    index = cv2.multiply(luminance, STEPS, dtype=cv2.CV_16U)
    lightness = cv2.LUT(index, curved_lightness(brief))
    blurred = cv2.GaussianBlur(lightness, (0, 0), brief.sharpen_sigma_px)
    kept, taken = 1 + brief.sharpen_gain, -brief.sharpen_gain
    index = cv2.addWeighted(
        lightness, kept * LIGHTNESS_STEPS, blurred, taken * LIGHTNESS_STEPS, 0, dtype=cv2.CV_16U
    )
    return np.asarray(cv2.LUT(index, srgb_code()))


def _jpeg_options(brief: Brief) -> list[Any]:
    return [
        cv2.IMWRITE_JPEG_QUALITY,
        brief.quality,
        cv2.IMWRITE_JPEG_SAMPLING_FACTOR,
        cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444,
        cv2.IMWRITE_JPEG_OPTIMIZE,
        int(brief.optimised_coding),
    ]


def _set_density(jpeg: NDArray[np.uint8], ppi: int) -> None:
    """Write dots per inch into the JFIF segment, which OpenCV puts first (JFIF 1.02, page 5)."""
    jpeg[13] = 1
    jpeg[14:18] = np.frombuffer(ppi.to_bytes(2) * 2, np.uint8)
