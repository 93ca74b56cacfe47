"""Pixels of small pictures as arrays."""

from collections.abc import Sequence

import numpy as np
import pyvips
from numpy.typing import NDArray


def pixels(image: pyvips.Image) -> NDArray[np.float32]:
    """Return float pixels as (rows, columns), or (rows, columns, bands) where there are several.

    pyvips itself drops the rows and columns of a single pixel.
    """
    shape = (image.height, image.width) + ((image.bands,) if image.bands > 1 else ())
    return np.asarray(image.cast("float").numpy(), np.float32).reshape(shape)


def weighted(light: NDArray[np.float32], weights: Sequence[float]) -> NDArray[np.float32]:
    """Return one band made of the bands of (rows, columns, bands), one weight for each.

    The bands are added in turn, which comes to the same on every processor.
    """
    total = np.zeros(light.shape[:-1], np.float32)
    for band, weight in enumerate(weights):
        total += light[..., band] * np.float32(weight)
    return total
