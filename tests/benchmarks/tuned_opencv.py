"""OpenCV at its fastest: the same job with every function of a float read from a 16-bit table.

Tables of 65 536 entries need OpenCV 5.
"""

from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from spec import MONO_24X16, Spec, thread_count
from tone_tables import LIGHTNESS_STEPS, STEPS, curved_lightness, linear_light, srgb_code

FloatImage = NDArray[np.float32]

cv2.setNumThreads(thread_count())


def make_print(source: Path, target: Path, spec: Spec = MONO_24X16) -> None:
    """Make the black-and-white print of the spec."""
    colour, kinds, chunks = read(source)
    luminance = _luminance(colour[spec.crop.slices], spec)
    sheet = np.full((spec.sheet.height, spec.sheet.width), 255, np.uint8)
    sheet[spec.picture.slices] = _finished(resized(luminance, spec), spec)
    write(target, sheet, kinds, chunks, spec)


def read(source: Path) -> Any:
    """Return the picture's codes and its metadata: kinds and their bytes."""
    return cv2.imdecodeWithMetadata(np.fromfile(source, np.uint8), cv2.IMREAD_COLOR)


def write(target: Path, sheet: NDArray[np.uint8], kinds: Any, chunks: Any, spec: Spec) -> None:
    """Write a grey sheet as the JPEG of the spec, in three equal channels."""
    colour = cv2.cvtColor(sheet, cv2.COLOR_GRAY2BGR)
    _, jpeg = cv2.imencodeWithMetadata(".jpg", colour, kinds, chunks, _jpeg_options(spec))
    _set_density(jpeg, spec.ppi)
    jpeg.tofile(target)


def _luminance(colour: NDArray[np.uint8], spec: Spec) -> FloatImage:
    blue_green_red = np.array([spec.weights[::-1]], np.float32)
    return np.asarray(cv2.transform(cv2.LUT(colour, linear_light()), blue_green_red))


def resized(luminance: FloatImage, spec: Spec) -> FloatImage:
    """Return the picture at its size on the sheet."""
    kernel = cv2.INTER_LANCZOS4 if spec.enlarges else cv2.INTER_AREA
    size = spec.picture.width, spec.picture.height
    return np.asarray(cv2.resize(luminance, size, interpolation=kernel))


def _finished(luminance: FloatImage, spec: Spec) -> NDArray[np.uint8]:
    """Curve and sharpen in L*, and encode; each table reads the float before it in 16 bits."""
    index = cv2.multiply(luminance, STEPS, dtype=cv2.CV_16U)
    lightness = cv2.LUT(index, curved_lightness(spec))
    blurred = cv2.GaussianBlur(lightness, (0, 0), spec.sharpen_sigma_px)
    kept, taken = 1 + spec.sharpen_gain, -spec.sharpen_gain
    index = cv2.addWeighted(
        lightness, kept * LIGHTNESS_STEPS, blurred, taken * LIGHTNESS_STEPS, 0, dtype=cv2.CV_16U
    )
    return np.asarray(cv2.LUT(index, srgb_code()))


def _jpeg_options(spec: Spec) -> list[Any]:
    return [
        cv2.IMWRITE_JPEG_QUALITY,
        spec.quality,
        cv2.IMWRITE_JPEG_SAMPLING_FACTOR,
        cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444,
        cv2.IMWRITE_JPEG_OPTIMIZE,
        int(spec.optimised_coding),
    ]


def _set_density(jpeg: NDArray[np.uint8], ppi: int) -> None:
    """Write dots per inch into the JFIF segment, which OpenCV puts first (JFIF 1.02, page 5)."""
    jpeg[13] = 1
    jpeg[14:18] = np.frombuffer(ppi.to_bytes(2) * 2, np.uint8)
