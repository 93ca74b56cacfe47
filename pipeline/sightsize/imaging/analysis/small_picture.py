"""A small picture of the whole source, from which everything slow and soft is worked out.

It is the same for every size a picture is printed at, so masks, local contrast and measured tones
come out alike on all of them.
"""

from functools import cached_property, lru_cache
from math import cos, radians, sin

import numpy as np
import pyvips
from numpy.typing import NDArray

from sightsize.base.deadline import briefly
from sightsize.imaging.colour.light import COLOUR, Rows, mix
from sightsize.imaging.raster.resize import resize_to
from sightsize.imaging.raster.spread import spread
from sightsize.imaging.source.open_upright import open_source
from sightsize.model.header import Header
from sightsize.model.picture import Picture
from sightsize.numbers.tones import RESPONSES
from sightsize.plan.crop import CropPlan
from sightsize.plan.decode import decoder_shrink
from sightsize.plan.picture import PicturePlan

LONG_SIDE_PX = 1000


@lru_cache(maxsize=2)
def small_light(picture: Picture, header: Header, _changed_ns: int) -> pyvips.Image:
    """Return linear light of the whole upright source, its long side at most 1000 px, in memory.

    ``_changed_ns`` is when the file was last written: another value reads it anew.
    """
    across, down = header.upright_px
    scale = min(LONG_SIDE_PX / max(across, down), 1.0)
    shrink = decoder_shrink(header, 1 / scale)
    size = max(round(across * scale), 1), max(round(down * scale), 1)
    with briefly():
        source = open_source(picture, header, streamed=True, shrink=shrink)
        return resize_to(source.light(source.image, COLOUR), *size).copy_memory()


def cut_printed_part(
    small: pyvips.Image, crop: CropPlan, upright_px: tuple[int, int], size_px: tuple[int, int]
) -> pyvips.Image:
    """Return what of a small picture is printed, turned level, in memory, at most ``size_px``."""
    scale = small.width / upright_px[0]
    wide, high = float(crop.exact.width), float(crop.exact.height)
    width = max(min(round(wide * scale), size_px[0]), 1)
    height = max(min(round(high * scale), size_px[1]), 1)
    across, down = width / wide, height / high
    angle = radians(crop.level_degrees)
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


def rows_of(plan: PicturePlan) -> Rows:
    """Return the weights that make a print's one band of light out of red, green and blue."""
    return (plan.mono.weights if plan.mono else RESPONSES["luminance"],)


class SmallPrint:
    """A print in small, each part made when something first asks for it."""

    def __init__(self, plan: PicturePlan, light_map: NDArray[np.float32] | None) -> None:
        """Take the factor of light that dodging and burning come to, if any."""
        self._plan, self._light_map = plan, light_map

    @cached_property
    def whole(self) -> pyvips.Image:
        """Light of the whole source, one band when it is grey."""
        picture = self._plan.look.picture
        return small_light(picture, self._plan.header, picture.source.stat().st_mtime_ns)

    @cached_property
    def printed(self) -> pyvips.Image:
        """Light of what is printed, before dodging and burning."""
        upright, size = self._plan.header.upright_px, self._plan.size.image_px
        return cut_printed_part(self.whole, self._plan.crop, upright, size)

    @cached_property
    def luminance(self) -> pyvips.Image:
        """One band of the light printed, dodged and burned."""
        light = mix(self.printed, rows_of(self._plan))
        if self._light_map is None:
            return light
        return light * spread(self._light_map, light.width, light.height)

    def opening(self, image: pyvips.Image) -> pyvips.Image:
        """Return what the opening shows of a picture of what is printed."""
        box, (width, height) = self._plan.size.opening_px, self._plan.size.image_px
        across, down = image.width / width, image.height / height
        left, top = round(box.left * across), round(box.top * down)
        return image.crop(
            left,
            top,
            max(min(round(box.width * across), image.width - left), 1),
            max(min(round(box.height * down), image.height - top), 1),
        )
