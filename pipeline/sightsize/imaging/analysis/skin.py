"""Where skin is, told by colour alone, so that sharpening may spare it.

The colours of skin lie close together whatever its depth: melanin and blood move it along one
narrow fan of hues. In CIELAB the hue angle is roughly 40 to 75 degrees and the chroma 10 to 30 for
L* 25 to 75 (published measurements, such as Xiao and others, Skin Research and Technology 2017,
from memory). A camera's picture spreads a little further, and the rims below are common practice,
no source. What has skin's colour, as wood and sand may, is taken for skin.
"""

from typing import Any

import numpy as np
import pyvips
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, grey_opening

from sightsize.imaging.raster.pixels import pixels

Light = NDArray[np.float32]

# IEC 61966-2-1: linear sRGB to XYZ under D65, each row divided by white's own sum.
_TO_XYZ = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]], np.float32
)
_TO_XYZ_OF_WHITE = _TO_XYZ / _TO_XYZ.sum(axis=1, keepdims=True)

# Nothing up to the first, all from the second to the third, nothing from the fourth.
_HUE_DEGREES = (20.0, 36.0, 74.0, 88.0)
_COLOURFULNESS = (0.09, 0.16, 0.45, 0.62)
_LIGHTNESS = (8.0, 18.0, 92.0, 98.0)

_LONG_SIDE_PX = 500
"""The size at which skin is looked for: its mask is soft anyway."""
_THINNEST_PX = 3
_SMOOTHED_OVER = 1 / 400


def skin_map(light: pyvips.Image) -> NDArray[np.float32]:
    """Return where the skin is in a small picture, as ``skin_share``, at most 500 px long."""
    width, height = light.width, light.height
    scale = min(_LONG_SIDE_PX / max(width, height), 1)
    across, down = (max(round(side * scale), 1) for side in (width, height))
    return skin_share(pixels(light.reduce(width / across, height / down, kernel="linear")))


def skin_share(light: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return how much each pixel has the colour of skin, 0 to 1, smoothed a little.

    ``light`` is linear, sRGB primaries, rows by columns by 3, about 500 each way. Colourfulness is
    C* over L* + 16, which like the hue does not change with exposure: shaded skin is as much skin
    as lit skin, down to about L* 18.
    Lines thinner than three pixels are left out: where two things meet, their mixed colours may be
    those of skin, and an edge must keep its sharpness.
    """
    lightness, a, b = _lab(light)
    hue = np.degrees(np.arctan2(b, a))
    share = _inside(hue, _HUE_DEGREES)
    share *= _inside(np.hypot(a, b) / (lightness + 16), _COLOURFULNESS)
    share *= _inside(lightness, _LIGHTNESS)
    parts = grey_opening(share, size=(_THINNEST_PX, _THINNEST_PX), mode="nearest")
    sigma_px = max(share.shape) * _SMOOTHED_OVER
    return np.asarray(gaussian_filter(parts, sigma_px, mode="nearest"), np.float32)


def _lab(light: Light) -> tuple[Light, Light, Light]:
    """CIELAB under D65; light outside the primaries or below black is brought to their rim."""
    xyz = np.maximum(light, 0) @ _TO_XYZ_OF_WHITE.T
    x, y, z = np.moveaxis(np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), _near_black(xyz)), -1, 0)
    return 116 * y - 16, 500 * (x - y), 200 * (y - z)


def _near_black(xyz: Light) -> Any:
    return xyz * np.float32(29**2 / (3 * 6**2)) + np.float32(4 / 29)


def _inside(values: NDArray[np.floating[Any]], rims: tuple[float, float, float, float]) -> Light:
    """1 between the inner rims, 0 beyond the outer ones, a smooth passage from rim to rim."""
    outer_low, low, high, outer_high = rims
    rising = np.clip((values - outer_low) / (low - outer_low), 0, 1)
    falling = np.clip((outer_high - values) / (outer_high - high), 0, 1)
    share = np.minimum(rising, falling)
    return np.asarray(share * share * (3 - 2 * share), np.float32)
