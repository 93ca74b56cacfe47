"""Point functions as tables: exact at 65536 places, faster than arithmetic at every pixel.

Lightness travels between stages as 16-bit steps of 1/655.35 L*, finer than any paper shows, so that
a table can read it as it is and its neighbourhoods are compared in whole numbers.
"""

from array import array
from collections.abc import Callable, Sequence

import pyvips

LAST = 65535
"""Index of white in a 16-bit table."""

STEPS_PER_L = LAST / 100
"""Steps of 16-bit lightness in one unit of L*."""


def table_image(columns: Sequence[Sequence[float]]) -> pyvips.Image:
    """Return a float look-up table with one band for each column of values."""
    flat = array("f", [value for row in zip(*columns, strict=True) for value in row])
    return pyvips.Image.new_from_memory(flat.tobytes(), len(columns[0]), 1, len(columns), "float")


def tabulate(function: Callable[[float], float], low: float, high: float) -> pyvips.Image:
    """Return a 16-bit table of a function of one number from ``low`` to ``high``."""
    step = (high - low) / LAST
    return table_image([[function(low + index * step) for index in range(LAST + 1)]])


def tabulate_bands(
    function: Callable[[float], Sequence[float]], low: float, high: float
) -> pyvips.Image:
    """Return a 16-bit table with one band for each value of a function of one number."""
    step = (high - low) / LAST
    rows = [function(low + index * step) for index in range(LAST + 1)]
    return table_image(list(zip(*rows, strict=True)))


def look_up(image: pyvips.Image, table: pyvips.Image, low: float, high: float) -> pyvips.Image:
    """Return an image through a table made for ``low`` to ``high``; values beyond are cut."""
    scale = LAST / (high - low)
    return image.linear(scale, 0.5 - low * scale).cast("ushort").maplut(table)


def whole_steps(image: pyvips.Image, more: int = 0) -> pyvips.Image:
    """Return an image, and ``more`` steps, rounded to 16 bits; values beyond are cut."""
    return image.linear(1, 0.5 + more).cast("ushort")
