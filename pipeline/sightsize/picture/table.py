"""Point functions as tables of 65536 places, faster than arithmetic at every pixel.

Lightness travels between stages as 16-bit steps of 1/655.35 L*, finer than any paper shows, so that
a table can read it as it is and its neighbourhoods are compared in whole numbers.
"""

from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np
import pyvips
from numpy.typing import ArrayLike

LAST = 65535
"""Index of white in a 16-bit table."""

STEPS_PER_L = LAST / 100
"""Steps of 16-bit lightness in one unit of L*."""

_APART = 128
"""Places from one that a function is always asked at to the next."""
_STRAIGHT_WITHIN = 1e-6


def table_image(columns: Sequence[ArrayLike]) -> pyvips.Image:
    """Return a float look-up table with one band for each column of values."""
    table = np.array(columns, np.float32).T
    return pyvips.Image.new_from_memory(table.tobytes(), len(table), 1, len(columns), "float")


def tabulate(function: Callable[[float], float], low: float, high: float) -> pyvips.Image:
    """Return a 16-bit table of a function of one number from ``low`` to ``high``."""
    return tabulate_bands(lambda each: (function(each),), low, high)


def tabulate_bands(
    function: Callable[[float], Sequence[float]], low: float, high: float
) -> pyvips.Image:
    """Return a 16-bit table with one band for each value of a function of one number.

    The function is asked only as often as straight lines between its values leave them by less
    than a millionth of their range, which takes a twentieth of the time of asking it everywhere.
    """
    step = (high - low) / LAST

    def row(index: int) -> Sequence[float]:
        return function(low + index * step)

    known = {index: row(index) for index in (*range(0, LAST, _APART), LAST)}
    reach = max(max(each) - min(each) for each in zip(*known.values(), strict=True))
    for first, last in pairwise(tuple(known)):
        _bend(row, known, first, last, _STRAIGHT_WITHIN * reach)
    places = sorted(known)
    columns = zip(*(known[place] for place in places), strict=True)
    return table_image([np.interp(np.arange(LAST + 1), places, each) for each in columns])


def _bend(
    row: Callable[[int], Sequence[float]],
    known: dict[int, Sequence[float]],
    first: int,
    last: int,
    within: float,
) -> None:
    """Add to the known places what is needed between two of them."""
    if last - first == 1:
        return
    middle = (first + last) // 2
    known[middle] = row(middle)
    share = (middle - first) / (last - first)
    ends = zip(known[middle], known[first], known[last], strict=True)
    if max(abs(here - one - share * (other - one)) for here, one, other in ends) > within:
        _bend(row, known, first, middle, within)
        _bend(row, known, middle, last, within)


def look_up(image: pyvips.Image, table: pyvips.Image, low: float, high: float) -> pyvips.Image:
    """Return an image through a table made for ``low`` to ``high``; values beyond are cut."""
    scale = LAST / (high - low)
    return image.linear(scale, 0.5 - low * scale).cast("ushort").maplut(table)


def whole_steps(image: pyvips.Image, more: int = 0) -> pyvips.Image:
    """Return an image, and ``more`` steps, rounded to 16 bits; values beyond are cut."""
    return image.linear(1, 0.5 + more).cast("ushort")
