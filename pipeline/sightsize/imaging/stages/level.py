"""Straighten and crop: the box of the plan, cut from the upright picture."""

from math import cos, radians, sin

import pyvips

from sightsize.model.geometry import Box


def level_and_crop(image: pyvips.Image, box: Box, degrees: float) -> pyvips.Image:
    """Return the plan's box of a picture turned clockwise by ``degrees`` about its middle.

    The picture should be linear light, so that turned edges keep their brightness. Level pictures
    are cut, not resampled.
    """
    if degrees == 0:
        return image.crop(box.left, box.top, box.width, box.height)
    cosine, sine = cos(radians(degrees)), sin(radians(degrees))
    # libvips counts from pixel middles, so the picture's middle is half a pixel less than W/2.
    middle_x, middle_y = (image.width - 1) / 2, (image.height - 1) / 2
    return image.affine(
        [cosine, -sine, sine, cosine],
        interpolate=pyvips.Interpolate.new("bicubic"),
        idx=-middle_x,
        idy=-middle_y,
        odx=middle_x,
        ody=middle_y,
        oarea=[box.left, box.top, box.width, box.height],
        extend="copy",
    )
