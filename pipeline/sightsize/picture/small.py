"""A small picture of the whole source, from which everything slow and soft is worked out.

It is the same for every size a picture is printed at, so masks, local contrast and measured tones
come out alike on all of them.
"""

from functools import lru_cache
from math import cos, radians, sin

import pyvips

from sightsize.header import Header
from sightsize.job import Picture
from sightsize.picture.light import COLOUR
from sightsize.picture.resize import resize_to
from sightsize.picture.upright import decoder_shrink, open_source
from sightsize.plan import CropPlan

LONG_SIDE_PX = 1000


@lru_cache(maxsize=2)
def small_light(picture: Picture, header: Header, _changed_ns: int) -> pyvips.Image:
    """Return linear light of the whole upright source, its long side at most 1000 px, in memory.

    ``_changed_ns`` is when the file was last written: another value reads it anew.
    """
    across, down = header.upright_px
    scale = min(LONG_SIDE_PX / max(across, down), 1.0)
    shrink = decoder_shrink(header, 1 / scale)
    source = open_source(picture, header, streamed=True, shrink=shrink)
    light = source.light(source.image, COLOUR)
    return resize_to(
        light, max(round(across * scale), 1), max(round(down * scale), 1)
    ).copy_memory()


def printed_part(
    small: pyvips.Image, crop: CropPlan, upright_px: tuple[int, int], size_px: tuple[int, int]
) -> pyvips.Image:
    """Return what of a small picture is printed, turned level, in memory, at most ``size_px``."""
    scale = small.width / upright_px[0]
    wide, high = float(crop.exact.width), float(crop.exact.height)
    width = max(min(round(wide * scale), size_px[0]), 1)
    height = max(min(round(high * scale), size_px[1]), 1)
    across, down = width / wide, height / high
    angle = radians(crop.straighten_degrees)
    cosine, sine = cos(angle), sin(angle)
    # Positions are those of pixel middles; the middle of the upright picture stays in its place.
    return small.affine(
        [cosine * across / scale, -sine * across / scale,
         sine * down / scale, cosine * down / scale],
        interpolate=pyvips.Interpolate.new("bilinear"),
        idx=-(small.width - 1) / 2,
        idy=-(small.height - 1) / 2,
        odx=(upright_px[0] / 2 - float(crop.exact.left)) * across - 0.5,
        ody=(upright_px[1] / 2 - float(crop.exact.top)) * down - 0.5,
        oarea=[0, 0, width, height],
        extend="copy",
    ).copy_memory()  # fmt: skip
