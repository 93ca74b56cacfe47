"""A small map, such as a mask, spread smoothly over the whole print."""

import numpy as np
import pyvips
from numpy.typing import NDArray

from sightsize.imaging.raster.pixels import image_of
from sightsize.imaging.raster.resize import enlarge

_TOGETHER = 64
"""Neighbours in a row that are taken as bands of one pixel while the map is made higher."""

Map = NDArray[np.float32]


def spread(small: Map, width_px: int, height_px: int) -> pyvips.Image:
    """Return a map enlarged bilinearly to a size in pixels, its edges on the print's edges.

    ``small`` is rows by columns, and no larger than the print. An affine transform costs by the
    pixel more than by the band: the map's few rows are made wide as arrays, and then high for many
    columns at once, which takes a quarter of the time of one transform both ways.
    """
    rows = len(small)
    groups = -(-width_px // _TOGETHER)
    wide = _widen(small, width_px, groups * _TOGETHER)
    folded = image_of(wide, _TOGETHER, "float")
    high = enlarge(folded, 1, height_px / rows, groups, height_px, "bilinear")
    return high.bandunfold(factor=_TOGETHER).crop(0, 0, width_px, height_px)


def _widen(small: Map, width_px: int, length_px: int) -> Map:
    """Each row of a map at a width in pixels, and its last value after that to a length."""
    last = small.shape[1] - 1
    places = (np.arange(length_px) + 0.5) * (small.shape[1] / width_px) - 0.5
    places = np.clip(places, 0, last)
    before = np.minimum(places.astype(np.intp), max(last - 1, 0))
    share = (places - before).astype(np.float32)
    left, right = (np.take(small, at, axis=1) for at in (before, np.minimum(before + 1, last)))
    return np.asarray(left + share * (right - left), np.float32)
