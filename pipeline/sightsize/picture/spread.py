"""A small map, such as a mask, spread smoothly over the whole print."""

from typing import Any

import numpy as np
import pyvips
from numpy.typing import NDArray

from sightsize.picture.resize import enlarged

_FORMATS = {np.dtype(np.float32): "float", np.dtype(np.uint16): "ushort"}
_TOGETHER = 64
"""Neighbours in a row that are taken as bands of one pixel."""


def spread(small: NDArray[Any], width_px: int, height_px: int) -> pyvips.Image:
    """Return a map enlarged bilinearly to a size in pixels, its edges on the print's edges.

    ``small`` is rows by columns of float32 or uint16, which the result keeps, and no larger than
    the print. It is made wide in memory, lying on its side, and higher while rows are asked for.
    """
    wide = _higher(small.T, width_px).crop(0, 0, len(small), width_px).numpy()
    return _higher(wide.reshape(width_px, len(small)).T, height_px).crop(0, 0, width_px, height_px)


def _higher(values: NDArray[Any], height_px: int) -> pyvips.Image:
    """A map made higher, with some columns more than it has.

    An affine transform costs by the pixel more than by the band: many columns at once take a
    fraction of the time.
    """
    rows, columns = values.shape
    groups = -(-columns // _TOGETHER)
    padded = np.zeros((rows, groups * _TOGETHER), values.dtype)
    padded[:, :columns] = values
    image = pyvips.Image.new_from_memory(padded, groups, rows, _TOGETHER, _FORMATS[values.dtype])
    high = enlarged(image, 1, height_px / rows, groups, height_px, "bilinear")
    return high.bandunfold(factor=_TOGETHER)
