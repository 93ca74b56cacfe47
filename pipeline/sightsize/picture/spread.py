"""A small map, such as a mask, spread smoothly over the whole print."""

from typing import Any

import numpy as np
import pyvips
from numpy.typing import NDArray

from sightsize.picture.resize import enlarged

_FORMATS = {np.dtype(np.float32): "float", np.dtype(np.uint16): "ushort"}
_ROWS = 4
_TOGETHER = 64
"""Neighbours in a row that are taken as bands of one pixel while the map is made higher."""


def spread(small: NDArray[Any], width_px: int, height_px: int) -> pyvips.Image:
    """Return a map enlarged bilinearly to a size in pixels, its edges on the print's edges.

    ``small`` is rows by columns of float32 or uint16, which the result keeps, and no larger than
    the print. An affine transform costs by the pixel more than by the band: across first, over the
    map's few rows, then down for many columns at once takes a third of the time of both in one.
    """
    rows, columns = small.shape
    values = np.ascontiguousarray(small)
    image = pyvips.Image.new_from_memory(values, columns, rows, 1, _FORMATS[small.dtype])
    groups = -(-width_px // _TOGETHER)
    wide = enlarged(image, width_px / columns, 1, groups * _TOGETHER, rows, "bilinear")
    folded = wide.bandfold(factor=_TOGETHER).linecache(
        tile_height=_ROWS, access="sequential", threaded=True
    )
    high = enlarged(folded, 1, height_px / rows, groups, height_px, "bilinear")
    return high.bandunfold(factor=_TOGETHER).crop(0, 0, width_px, height_px)
