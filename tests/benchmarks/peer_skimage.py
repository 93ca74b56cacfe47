"""Float peer with scikit-image and NumPy; imageio, which scikit-image points to, for the files."""

from pathlib import Path

import imageio.v3 as iio
import numpy as np
from brief import MONO_24X16, Brief
from numpy.typing import NDArray
from skimage.filters import gaussian
from skimage.transform import resize
from tone_tables import LIGHTNESS_STEPS, STEPS, curved_lightness, linear_light, srgb_code

FloatImage = NDArray[np.float32]


def make_print(source: Path, target: Path, brief: Brief = MONO_24X16) -> None:
    """Make the black-and-white print of the brief."""
    with iio.imopen(source, "r", plugin="pillow") as file:
        profile = file.metadata()["icc_profile"]
        luminance = _luminance(file.read()[brief.crop.slices], brief)
    sheet = np.full((brief.sheet.height, brief.sheet.width, 3), 255, np.uint8)
    sheet[brief.picture.slices] = _finished(_resized(luminance, brief), brief)[:, :, None]
    iio.imwrite(
        target,
        sheet,
        extension=".jpg",
        quality=brief.quality,
        subsampling="4:4:4",
        optimize=brief.optimised_coding,
        icc_profile=profile,
        dpi=(brief.ppi, brief.ppi),
    )


def _luminance(colour: NDArray[np.uint8], brief: Brief) -> FloatImage:
    return np.asarray(linear_light()[colour] @ np.array(brief.weights, np.float32))


def _resized(luminance: FloatImage, brief: Brief) -> FloatImage:
    shape = brief.picture.height, brief.picture.width
    return np.asarray(resize(luminance, shape, order=3, anti_aliasing=not brief.enlarges))


def _finished(luminance: FloatImage, brief: Brief) -> NDArray[np.uint8]:
    """Curve and sharpen in L*, and encode."""
    lightness = curved_lightness(brief)[_index(luminance, STEPS)]
    blurred = gaussian(lightness, brief.sharpen_sigma_px, preserve_range=True)
    lightness += brief.sharpen_gain * (lightness - blurred)
    return srgb_code()[_index(lightness, LIGHTNESS_STEPS)]


def _index(image: FloatImage, steps: float) -> NDArray[np.uint16]:
    return np.asarray(np.clip(image * np.float32(steps), 0, STEPS), dtype=np.uint16)
