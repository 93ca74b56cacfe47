"""Point functions as tables of 65536 places, faster than arithmetic at every pixel.

Lightness travels between stages as 16-bit steps of 1/655.35 L*, finer than any paper shows, so that
a table can read it as it is and its neighbourhoods are compared in whole numbers.
"""

from collections.abc import Callable, Iterable, Sequence
from functools import cache
from itertools import pairwise
from typing import TYPE_CHECKING

import pyvips

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

LAST = 65535
"""Index of white in a 16-bit table."""

STEPS_PER_L = LAST / 100
"""Steps of 16-bit lightness in one unit of L*."""

_APART = 128
"""Places from one that a function is always asked at to the next."""
_STRAIGHT_WITHIN = 1e-6


def table_image(columns: "Sequence[ArrayLike]") -> pyvips.Image:
    """Return a float look-up table with one band for each column of values."""
    import numpy as np  # here, so that a check of a job, which opens pictures, does without it

    table = np.array(columns, np.float32).T
    return pyvips.Image.new_from_memory(table.tobytes(), len(table), 1, len(columns), "float")


def tabulate(
    function: Callable[[float], float], low: float, high: float, bends: Iterable[float] = ()
) -> pyvips.Image:
    """Return a 16-bit table of a function of one number from ``low`` to ``high``.

    ``bends`` are where the function changes its course.
    """
    return tabulate_bands(lambda each: (function(each),), low, high, bends)


def tabulate_bands(
    function: Callable[[float], Sequence[float]],
    low: float,
    high: float,
    bends: Iterable[float] = (),
) -> pyvips.Image:
    """Return a 16-bit table with one band for each value of a function of one number.

    The function is asked beside its bends, and between them only as often as straight lines
    between its values leave them, which takes a tenth of the time of asking it everywhere. Between
    two bends it must be smooth: as a cubic is, which a line that it meets halfway and at a quarter
    is equal to. The table is then right to a few millionths of its range.
    """
    import numpy as np

    step = (high - low) / LAST

    @cache
    def row(place: int) -> Sequence[float]:
        return function(low + place * step)

    places = {*range(0, LAST, _APART), LAST}
    for bend in bends:
        place = int((bend - low) / step)
        places |= {min(max(each, 0), LAST) for each in (place, place + 1)}
    asked = sorted(places)
    reach = max(max(each) - min(each) for each in zip(*map(row, asked), strict=True))
    known = [0]
    for first, last in pairwise(asked):
        known += _ask_between(row, first, last, _STRAIGHT_WITHIN * reach)
    columns = zip(*map(row, known), strict=True)
    return table_image([np.interp(np.arange(LAST + 1), known, each) for each in columns])


def _ask_between(
    row: Callable[[int], Sequence[float]], first: int, last: int, within: float
) -> list[int]:
    """The places from after the first to the last between which a function is straight."""
    middle, quarter = (first + last) // 2, (3 * first + last) // 4
    if last - first == 1:
        return [last]
    if max(_off(row, first, each, last) for each in (middle, quarter)) <= within:
        return [middle, last]
    return [
        *_ask_between(row, first, middle, within),
        *_ask_between(row, middle, last, within),
    ]


def _off(row: Callable[[int], Sequence[float]], first: int, place: int, last: int) -> float:
    """How far a place's values are from the line between two others'."""
    share = (place - first) / (last - first)
    return max(
        abs(here - one - share * (other - one))
        for here, one, other in zip(row(place), row(first), row(last), strict=True)
    )


def look_up(image: pyvips.Image, table: pyvips.Image, low: float, high: float) -> pyvips.Image:
    """Return an image through a table made for ``low`` to ``high``; values beyond are cut."""
    scale = LAST / (high - low)
    return image.linear([scale], [0.5 - low * scale]).cast("ushort").maplut(table)


def whole_steps(image: pyvips.Image, more: int = 0) -> pyvips.Image:
    """Return an image, and ``more`` steps, rounded to 16 bits; values beyond are cut."""
    return image.linear([1], [0.5 + more]).cast("ushort")
