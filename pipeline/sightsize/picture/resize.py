"""Resize to the print's own pixels, once, in linear light."""

import pyvips


def resize_to(image: pyvips.Image, width_px: int, height_px: int) -> pyvips.Image:
    """Return the picture at exactly a size in pixels.

    Shrinking is a Lanczos-3 reduction over all the pixels; libvips would average blocks of them
    first, which leaves moire. Enlarging is bicubic.
    """
    if (image.width, image.height) == (width_px, height_px):
        return image
    resized = image.resize(
        width_px / image.width, vscale=height_px / image.height, kernel="lanczos3", gap=0
    )
    if (resized.width, resized.height) == (width_px, height_px):
        return resized
    return resized.gravity("north-west", width_px, height_px, extend="copy")
