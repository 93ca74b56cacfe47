"""Images to arrays and back, for small pictures; bands weighed, bounded and repeated."""

from collections.abc import Sequence
from typing import Any, cast

import numpy as np
import pyvips
from numpy.typing import NDArray


def pixels(image: pyvips.Image) -> NDArray[np.float32]:
    """Return float pixels as (rows, columns), or (rows, columns, bands) where there are several.

    pyvips itself drops the rows and columns of a single pixel.
    """
    shape = (image.height, image.width) + ((image.bands,) if image.bands > 1 else ())
    return np.asarray(image.cast("float").numpy(), np.float32).reshape(shape)


def weigh(light: NDArray[np.float32], weights: Sequence[float]) -> NDArray[np.float32]:
    """Return one band made of the bands of (rows, columns, bands), one weight for each.

    The bands are added in turn, which comes to the same on every processor.
    """
    total = np.zeros(light.shape[:-1], np.float32)
    for band, weight in enumerate(weights):
        total += light[..., band] * np.float32(weight)
    return total


def image_of(array: NDArray[Any], bands: int, band_format: str) -> pyvips.Image:
    """Return an image of an array whose columns hold ``bands`` values each."""
    height, width = array.shape[0], array[0].size // bands
    data = memoryview(cast(Any, np.ascontiguousarray(array))).cast("B")
    return pyvips.Image.new_from_memory(data, width, height, bands, band_format)


def at_least(image: pyvips.Image, least: float) -> pyvips.Image:
    """Return an image with no value below one."""
    return image.maxpair(cast(Any, least))  # pyvips makes an image of it


def at_most(image: pyvips.Image, most: float) -> pyvips.Image:
    """Return an image with no value above one."""
    return image.minpair(cast(Any, most))


def three_alike(band: pyvips.Image) -> pyvips.Image:
    """Return red, green and blue that are all the one band."""
    others: list[pyvips.Image | int | float] = [band, band]
    return band.bandjoin(others)
