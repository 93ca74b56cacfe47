"""Dodging and burning: more or less light for parts of the picture, as one small map.

The map is drawn only as finely as its softest detail needs and spread over the print.
"""

from collections.abc import Sequence
from math import hypot

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from sightsize.imaging.raster.spread import spread
from sightsize.plan.places import EdgeBurnPlan, ShadePlan

Map = NDArray[np.float64]

_FINEST = 1500
"""Most pixels of the map's long side."""
_PER_SOFTNESS = 12
"""Pixels of the map across the distance in which an effect fades."""
_SIGMAS_IN_SOFTNESS = 2.563
"""A Gaussian's edge rises from 10 to 90 % over this many sigma (tables of the normal curve)."""


def light_map(
    shades: Sequence[ShadePlan], burn: EdgeBurnPlan | None, size_px: tuple[int, int]
) -> NDArray[np.float32] | None:
    """Return the factor of light for a print of ``size_px``, small, or None when there is none."""
    maps = [shade.stops * _share(shade, size_px) for shade in shades]
    if burn is not None:
        maps.append(-burn.stops * _edge_share(burn, size_px))
    if not maps:
        return None
    height, width = (max(each.shape[axis] for each in maps) for axis in (0, 1))
    stops = sum(_spread_over(each, width, height) for each in maps)
    return np.asarray(np.exp2(stops), np.float32)


def _map_size(softness_px: float, size_px: tuple[int, int]) -> tuple[int, int]:
    """Width and height of a map in which an effect fades over so many pixels of the print."""
    pixel = max(softness_px / _PER_SOFTNESS, max(size_px) / _FINEST, 1.0)
    width, height = (max(round(length / pixel), 2) for length in size_px)
    return width, height


def _spread_over(stops: Map, width: int, height: int) -> Map:
    return np.asarray(spread(stops.astype(np.float32), width, height).numpy(), np.float64)


def _share(shade: ShadePlan, size_px: tuple[int, int]) -> Map:
    """How much of a shade each pixel of its map gets, 0 to 1."""
    softness = min(shade.softness_px, hypot(*size_px))
    size = _map_size(softness, size_px)
    scale = size[0] / size_px[0], size[1] / size_px[1]
    sigma = softness * min(scale) / _SIGMAS_IN_SOFTNESS
    room = int(4 * sigma) + 2  # so that what lies beyond the picture blurs into it
    down, across = np.mgrid[-room : size[1] + room, -room : size[0] + room] + 0.5
    x, y = across / scale[0], down / scale[1]
    drawn = {"ellipse": _in_ellipse, "polygon": _in_polygon, "edge": _beyond_edge}[shade.shape]
    share: Map = gaussian_filter(drawn(x, y, shade.points).astype(float), sigma, mode="nearest")
    return share[room:-room, room:-room]


Points = tuple[tuple[float, float], ...]


def _in_ellipse(x: Map, y: Map, corners: Points) -> NDArray[np.bool_]:
    """Inside the ellipse that fills a box given by its corners, in turn."""
    (x0, y0), (x1, y1), (x2, y2), (x3, y3) = corners
    dx, dy = x - (x0 + x2) / 2, y - (y0 + y2) / 2
    across, down = (x1 - x0, y1 - y0), (x3 - x0, y3 - y0)
    u = (dx * across[0] + dy * across[1]) / (across[0] ** 2 + across[1] ** 2)
    v = (dx * down[0] + dy * down[1]) / (down[0] ** 2 + down[1] ** 2)
    return np.asarray(u * u + v * v <= 0.25)


def _in_polygon(x: Map, y: Map, corners: Points) -> NDArray[np.bool_]:
    """Inside by the even-odd rule."""
    inside = np.zeros(x.shape, dtype=bool)
    for (x0, y0), (x1, y1) in zip(corners, corners[1:] + corners[:1], strict=True):
        if y0 == y1:
            continue
        spans = (y0 > y) != (y1 > y)
        inside ^= spans & (x < x0 + (y - y0) * (x1 - x0) / (y1 - y0))
    return inside


def _beyond_edge(x: Map, y: Map, points: Points) -> NDArray[np.bool_]:
    """On the second point's side of the line through the first, straight across from it."""
    (x0, y0), (x1, y1) = points
    return np.asarray((x - x0) * (x1 - x0) + (y - y0) * (y1 - y0) > 0)


def _edge_share(burn: EdgeBurnPlan, size_px: tuple[int, int]) -> Map:
    """1 at the opening's edge and behind the mat, 0 from ``width_px`` inside it."""
    box = burn.opening
    size = _map_size(burn.width_px, size_px)
    scale = size[0] / size_px[0], size[1] / size_px[1]

    def rise(count: int, scale: float, start: int, length: int) -> Map:
        at = (np.arange(count) + 0.5) / scale - start
        near = np.clip(np.minimum(at, length - at) / burn.width_px, 0.0, 1.0)
        return np.asarray(near * near * (3 - 2 * near))

    across = rise(size[0], scale[0], box.left, box.width)
    down = rise(size[1], scale[1], box.top, box.height)
    return 1 - down[:, None] * across[None, :]
