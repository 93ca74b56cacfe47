"""A small map, such as a mask, spread smoothly over the whole print."""

import pyvips

from sightsize.picture.resize import enlarged

_ROWS = 4
_TOGETHER = 64
"""Neighbours in a row that are taken as bands of one pixel while the map is made higher."""


def spread(small: pyvips.Image, width_px: int, height_px: int) -> pyvips.Image:
    """Return a map enlarged bilinearly to a size in pixels, its edges on the print's edges.

    The format stays. The map must be no larger than the print, and is read again and again: keep
    it in memory. An affine transform costs by the pixel more than by the band: across first, over
    the map's few rows, then down for many columns at once takes a third of the time of both in one.
    """
    across, down = width_px / small.width, height_px / small.height
    groups = -(-width_px // _TOGETHER)
    wide = enlarged(small, across, 1, groups * _TOGETHER, small.height, "bilinear")
    folded = wide.bandfold(factor=_TOGETHER).linecache(
        tile_height=_ROWS, access="sequential", threaded=True
    )
    high = enlarged(folded, 1, down, groups, height_px, "bilinear")
    return high.bandunfold(factor=_TOGETHER).crop(0, 0, width_px, height_px)
