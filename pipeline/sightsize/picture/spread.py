"""A small map, such as a mask, spread smoothly over the whole print."""

from typing import Any

import numpy as np
import pyvips
from numpy.typing import NDArray

from sightsize.picture.resize import enlarged

_FORMATS = {np.dtype(np.float32): "float", np.dtype(np.uint16): "ushort"}
_TOGETHER = 64
"""Neighbours in a row that are taken as bands of one pixel while the map is made higher."""


def spread(small: NDArray[Any], width_px: int, height_px: int) -> pyvips.Image:
    """Return a map enlarged bilinearly to a size in pixels, its edges on the print's edges.

    ``small`` is rows by columns of float32 or uint16, which the result keeps, and no larger than
    the print. It is made wide in memory and higher while rows are asked for: an affine transform
    costs by the pixel more than by the band, so many columns at once take a fraction of the time.
    """
    rows = len(small)
    groups = -(-width_px // _TOGETHER)
    wide = _widened(small, width_px, groups * _TOGETHER)
    folded = pyvips.Image.new_from_memory(wide, groups, rows, _TOGETHER, _FORMATS[small.dtype])
    high = enlarged(folded, 1, height_px / rows, groups, height_px, "bilinear")
    return high.bandunfold(factor=_TOGETHER).crop(0, 0, width_px, height_px)


def _widened(small: NDArray[Any], width_px: int, columns: int) -> NDArray[Any]:
    """Rows enlarged to a width, the last value going on to a number of columns."""
    last = small.shape[1] - 1
    at = np.clip((np.arange(columns) + 0.5) * ((last + 1) / width_px) - 0.5, 0, last)
    left = np.minimum(at.astype(np.intp), max(last - 1, 0))
    share = (at - left).astype(np.float32)[:, None]
    upright = np.ascontiguousarray(small.T, np.float32)  # whose rows are quickly picked
    wide = upright[left]
    wide += share * (upright[np.minimum(left + 1, last)] - wide)
    whole = np.issubdtype(small.dtype, np.integer)
    return np.ascontiguousarray((np.rint(wide) if whole else wide).T.astype(small.dtype))
