"""Float peer with Pillow: decoding, resizing (mode F) and encoding; NumPy for the rest."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from spec import MONO_24X16, Spec
from tone_tables import LIGHTNESS_STEPS, STEPS, curved_lightness, linear_light, srgb_code

FloatImage = NDArray[np.float32]


def make_print(source: Path, target: Path, spec: Spec = MONO_24X16) -> None:
    """Make the black-and-white print of the spec."""
    crop, picture = spec.crop, spec.picture
    with Image.open(source) as opened:
        profile = opened.info["icc_profile"]
        edges = (crop.left, crop.top, crop.left + crop.width, crop.top + crop.height)
        luminance = _luminance(opened.crop(edges), spec)
    resized = Image.fromarray(luminance).resize(picture[2:], Image.Resampling.LANCZOS)
    sheet = Image.new("L", spec.sheet, 255)
    sheet.paste(Image.fromarray(_finished(np.asarray(resized), spec)), picture[:2])
    sheet.convert("RGB").save(
        target,
        "JPEG",
        quality=spec.quality,
        subsampling="4:4:4",
        optimize=spec.optimised_coding,
        icc_profile=profile,
        dpi=(spec.ppi, spec.ppi),
    )


def _luminance(colour: Image.Image, spec: Spec) -> FloatImage:
    luminance = np.zeros((colour.height, colour.width), np.float32)
    for band, weight in zip(colour.split(), spec.weights, strict=True):
        luminance += (linear_light() * np.float32(weight))[np.asarray(band)]
    return luminance


def _finished(luminance: FloatImage, spec: Spec) -> NDArray[np.uint8]:
    """Curve and sharpen in L*, and encode."""
    lightness = curved_lightness(spec)[_index(luminance, STEPS)]
    detail = lightness - _blurred(lightness, spec.sharpen_sigma_px)
    detail *= np.float32(spec.sharpen_gain)
    lightness += detail
    return srgb_code()[_index(lightness, LIGHTNESS_STEPS)]


def _index(image: FloatImage, steps: float) -> NDArray[np.uint16]:
    scaled = image * np.float32(steps)
    return np.clip(scaled, 0, STEPS, out=scaled).astype(np.uint16)


def _blurred(image: FloatImage, sigma: float) -> FloatImage:
    """Gaussian blur down, then across; the edge pixels go on for ever."""
    reach = round(4 * sigma)
    taps = np.exp(-(np.arange(reach + 1) ** 2) / (2 * sigma**2)).astype(np.float32)
    taps /= 2 * taps.sum() - taps[0]
    padded = np.pad(image, reach, mode="edge")
    down = _weighted(padded, taps)
    return _weighted(down.T, taps).T


def _weighted(padded: FloatImage, taps: FloatImage) -> FloatImage:
    """Symmetric weighted sum of neighbouring rows; the padding rows fall away."""
    reach, rows = len(taps) - 1, len(padded) - 2 * (len(taps) - 1)
    total: FloatImage = padded[reach : reach + rows] * taps[0]
    pair = np.empty_like(total)
    for distance in range(1, reach + 1):
        above, below = reach - distance, reach + distance
        np.add(padded[above : above + rows], padded[below : below + rows], out=pair)
        pair *= taps[distance]
        total += pair
    return total
