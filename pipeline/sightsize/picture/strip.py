"""Keep strips of a picture that several later operations read, so that they are made once."""

import pyvips

_STRIP_PX = 64
_STRIPS = 5


def keep_strips(image: pyvips.Image) -> pyvips.Image:
    """Return the same picture with its last few strips remembered while it streams past.

    libvips would otherwise compute the picture again for every operation that reads it.
    """
    return image.tilecache(
        tile_width=image.width,
        tile_height=_STRIP_PX,
        max_tiles=_STRIPS,
        access="sequential",
        threaded=True,
    )
