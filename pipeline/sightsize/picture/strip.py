"""Keep tiles of a picture that several later operations read, so that they are made once."""

import pyvips

_TILE_WIDTH_PX = 1024
_TILE_HEIGHT_PX = 16
_ROWS_KEPT_PX = 256


def keep_strips(image: pyvips.Image) -> pyvips.Image:
    """Return the same picture with the rows last computed remembered while it streams past.

    libvips would otherwise compute the picture again for every operation that reads it. The tile
    size was chosen by measurement: wide tiles keep convolutions cheap, several abreast keep every
    core at work.
    """
    across = -(-image.width // _TILE_WIDTH_PX) + 1
    return image.tilecache(
        tile_width=_TILE_WIDTH_PX,
        tile_height=_TILE_HEIGHT_PX,
        max_tiles=across * _ROWS_KEPT_PX // _TILE_HEIGHT_PX,
        access="sequential",
        threaded=True,
    )
