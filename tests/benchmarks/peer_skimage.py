"""Float peer with scikit-image and NumPy; imageio, which scikit-image points to, for the files."""

from pathlib import Path

import imageio.v3 as iio
import numpy as np
from numpy.typing import NDArray
from skimage.filters import gaussian
from skimage.transform import resize
from spec import MONO_24X16, Spec
from tone_tables import LIGHTNESS_STEPS, STEPS, curved_lightness, linear_light, srgb_code

FloatImage = NDArray[np.float32]


def make_print(source: Path, target: Path, spec: Spec = MONO_24X16) -> None:
    """Make the black-and-white print of the spec."""
    with iio.imopen(source, "r", plugin="pillow") as file:
        profile = file.metadata()["icc_profile"]
        luminance = _luminance(file.read()[spec.crop.slices], spec)
    sheet = np.full((spec.sheet.height, spec.sheet.width, 3), 255, np.uint8)
    sheet[spec.picture.slices] = _finished(_resized(luminance, spec), spec)[:, :, None]
    iio.imwrite(
        target,
        sheet,
        extension=".jpg",
        quality=spec.quality,
        subsampling="4:4:4",
        optimize=spec.optimised_coding,
        icc_profile=profile,
        dpi=(spec.ppi, spec.ppi),
    )


def _luminance(colour: NDArray[np.uint8], spec: Spec) -> FloatImage:
    return np.asarray(linear_light()[colour] @ np.array(spec.weights, np.float32))


def _resized(luminance: FloatImage, spec: Spec) -> FloatImage:
    shape = spec.picture.height, spec.picture.width
    return np.asarray(resize(luminance, shape, order=3, anti_aliasing=not spec.enlarges))


def _finished(luminance: FloatImage, spec: Spec) -> NDArray[np.uint8]:
    """Curve and sharpen in L*, and encode."""
    lightness = curved_lightness(spec)[_index(luminance, STEPS)]
    blurred = gaussian(lightness, spec.sharpen_sigma_px, preserve_range=True)
    lightness += spec.sharpen_gain * (lightness - blurred)
    return srgb_code()[_index(lightness, LIGHTNESS_STEPS)]


def _index(image: FloatImage, steps: float) -> NDArray[np.uint16]:
    return np.asarray(np.clip(image * np.float32(steps), 0, STEPS), dtype=np.uint16)
