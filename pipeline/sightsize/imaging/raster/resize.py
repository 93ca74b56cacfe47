"""Resize to the print's own pixels, once, in linear light."""

import pyvips

_KERNEL = "lanczos2"
_ROWS = 8


def resize_to(image: pyvips.Image, width_px: int, height_px: int) -> pyvips.Image:
    """Return the picture at exactly a size in pixels, its middle staying the middle.

    Shrinking is a Lanczos-2 reduction over all the pixels; enlarging is bicubic (Catmull-Rom). What
    either overshoots at an edge is three times as much of L* on the dark side: Lanczos-3 drew a
    black line there.
    """
    across, down = width_px / image.width, height_px / image.height
    if (across, down) == (1, 1):
        return image
    shrunk = _shrink(image, min(across, 1.0), min(down, 1.0), width_px, height_px)
    across, down = max(across, 1.0), max(down, 1.0)
    if across == down == 1:
        return shrunk
    return enlarge(shrunk, across, down, width_px, height_px, "bicubic")


def _shrink(
    image: pyvips.Image, across: float, down: float, width_px: int, height_px: int
) -> pyvips.Image:
    if across == down == 1:
        return image
    # libvips would average blocks of pixels first, which leaves moire; gap=0 keeps it from that.
    shrunk = image
    if across < 1:
        shrunk = shrunk.reduceh(1 / across, kernel=_KERNEL, gap=0)
    if down < 1:
        # Rows are shortened before they are held: a row of the print takes many of the source.
        shrunk = shrunk.linecache(tile_height=_ROWS, access="sequential", threaded=True)
        shrunk = shrunk.reducev(1 / down, kernel=_KERNEL, gap=0)
    width = width_px if across < 1 else image.width
    height = height_px if down < 1 else image.height
    if (shrunk.width, shrunk.height) == (width, height):
        return shrunk
    return shrunk.gravity("north-west", width, height, extend="copy")


def enlarge(
    image: pyvips.Image,
    across: float,
    down: float,
    width_px: int,
    height_px: int,
    interpolation: str,
) -> pyvips.Image:
    """Return an image enlarged by two factors to a size in pixels, its edges on the new edges."""
    # libvips' own resize would set an enlargement half a pixel to the right and down.
    return image.affine(
        [across, 0, 0, down],
        interpolate=pyvips.Interpolate.new(interpolation),
        odx=(across - 1) / 2,
        ody=(down - 1) / 2,
        oarea=[0, 0, width_px, height_px],
        extend="copy",
        premultiplied=True,  # else the last of many bands would be taken for alpha
    )
