"""Cleared pieces of the source, laid on the picture while it streams past.

A patch holds every pixel of its box as it is in the end, so the order in which patches are laid
does not matter.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import pyvips

_FEW = 5
_TILE_PX, _TILE_ROWS = (512, 16), 8
"""Size of the tiles in which patches are laid, and how many rows of them are remembered."""


@dataclass(frozen=True)
class Patch:
    """Linear light, float, that takes the place of the source's from its left and top onwards."""

    left: int
    top: int
    light: pyvips.Image


def lay_patches(light: pyvips.Image, patches: Sequence[Patch], left: int, top: int) -> pyvips.Image:
    """Return a picture, cut from the upright source at (left, top), with the patches laid on it.

    A patch keeps a buffer as large as what is asked of it: fifty patches took 250 MB. Where there
    are more than a few, tiles that are asked one by one keep these buffers small.
    """
    met = [
        (patch.light, patch.left - left, patch.top - top)
        for patch in patches
        if -patch.light.width < patch.left - left < light.width
        and -patch.light.height < patch.top - top < light.height
    ]
    for patch, x, y in met:
        light = light.insert(patch, x, y)
    if len(met) <= _FEW:
        return light
    width, height = _TILE_PX
    tiles = -(-light.width // width) * _TILE_ROWS
    return light.tilecache(
        tile_width=width, tile_height=height, max_tiles=tiles, access="sequential", threaded=True
    )
