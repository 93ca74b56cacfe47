"""Pixels of small pictures as arrays."""

import numpy as np
import pyvips
from numpy.typing import NDArray


def pixels(image: pyvips.Image) -> NDArray[np.float32]:
    """Return float pixels as (rows, columns), or (rows, columns, bands) where there are several.

    pyvips itself drops the rows and columns of a single pixel.
    """
    shape = (image.height, image.width) + ((image.bands,) if image.bands > 1 else ())
    return np.asarray(image.cast("float").numpy(), np.float32).reshape(shape)
