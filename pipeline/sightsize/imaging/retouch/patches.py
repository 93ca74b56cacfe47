"""Cleared pieces of the source, laid on the picture while it streams past.

A patch holds every pixel of its box as it is in the end, so the order in which patches are laid
does not matter.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyvips
from numpy.typing import NDArray

from sightsize.imaging.colour.light import Rows
from sightsize.imaging.raster.pixels import weigh

_FEW = 5
_TILE_PX, _TILE_ROWS = (512, 16), 8
"""Size of the tiles in which patches are laid, and how many rows of them are remembered."""


@dataclass(frozen=True)
class Patch:
    """Linear light that takes the place of the source's from its left and top onwards."""

    left: int
    top: int
    light: NDArray[np.float32]
    """Rows, columns, bands."""


def lay_patches(
    light: pyvips.Image, patches: Sequence[Patch], rows: Rows, left: int, top: int
) -> pyvips.Image:
    """Return a picture, cut from the upright source at (left, top), with the patches laid on it.

    ``rows`` are the weights by which the picture was made of the source's red, green and blue.

    A patch keeps a buffer as large as what is asked of it: fifty patches took 250 MB. Where there
    are more than a few, tiles that are asked one by one keep these buffers small.
    """
    met = [
        patch
        for patch in patches
        if -patch.light.shape[1] < patch.left - left < light.width
        and -patch.light.shape[0] < patch.top - top < light.height
    ]
    for patch in met:
        light = light.insert(_image(patch.light, rows), patch.left - left, patch.top - top)
    if len(met) <= _FEW:
        return light
    width, height = _TILE_PX
    tiles = -(-light.width // width) * _TILE_ROWS
    return light.tilecache(
        tile_width=width, tile_height=height, max_tiles=tiles, access="sequential", threaded=True
    )


def _image(light: NDArray[np.float32], rows: Rows) -> pyvips.Image:
    """Light in other bands, grey as it is, in memory that is libvips' own.

    What keeps other memory alive pyvips hands on from operation to operation, and looks through
    all of it each time: fifty patches took a tenth of a second.
    """
    if light.shape[2] > 1:
        light = np.stack([weigh(light, row) for row in rows], axis=-1)
    return pyvips.Image.new_from_array(light).copy().copy_memory()
