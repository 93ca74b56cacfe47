"""Colours beyond the gamut: those that tone tools make are held in, the rest are counted.

A colour that brightening would push beyond the gamut keeps its lightness and its hue and loses
chroma: its a* and b* shrink alike (CIELAB, CIE 15) until no channel is beyond white. What was
beyond it before stays as far beyond, for the output profile to deal with.
"""

from functools import cache

import numpy as np
import pyvips
from numpy.typing import NDArray

from sightsize.imaging.colour.light import rgb_to_xyz, xyz_to_rgb
from sightsize.imaging.colour.output import light_of, show_through_profile
from sightsize.imaging.raster.lookup_tables import look_up, tabulate
from sightsize.imaging.raster.pixels import at_least
from sightsize.model.settings import Delivery
from sightsize.numbers import tones

_MOST_LIGHT = 16.0
"""Largest X, Y or Z, white being 1, of which the cube root is tabulated."""
_MOST_ROOT = 2.6
_SLACK = 1.005
_LINES = 3
"""Lines on the way to the gamut's rim; with two, colours of harsh pictures were 2 % beyond it."""
_FEW = 1e-4
"""Share of a small picture's pixels below which none is worth the work."""


def missed_share(light: pyvips.Image, delivery: Delivery) -> float:
    """Return the share of a small picture's area that the output misses by more than dE00 3.

    ``light`` is the finished picture as linear light, three bands, before its output profile.
    """
    wanted, shown = _as_lab(light), _as_lab(show_through_profile(light, delivery))
    missed: NDArray[np.float32] = wanted.dE00(shown).numpy()
    return float((missed > tones.VISIBLE_DE00).mean())


def _as_lab(light: pyvips.Image) -> pyvips.Image:
    return light.copy(interpretation="scrgb").colourspace("lab")


def leaves_gamut(before: pyvips.Image, after: pyvips.Image) -> bool:
    """Return whether a tone pushes colours of a small picture beyond the gamut."""
    beyond = _highest(after) > _limit(before) * _SLACK
    return bool(beyond.avg() / 255 > _FEW)


def hold_in_gamut(
    before: pyvips.Image, after: pyvips.Image, lightness: pyvips.Image
) -> pyvips.Image:
    """Return ``after`` with no colour further beyond white than it was in ``before``.

    Both are linear RGB, ``lightness`` is that of ``after`` in 16 bits.
    """
    wanted, limit = light_of(lightness), _limit(before)
    room, highest = limit - wanted, _highest(after)
    root = lightness.maplut(_roots_of_lightness())
    chroma = look_up(_recombine(after, _to_white()), _roots(), 0, _MOST_LIGHT) - root

    def reduced(share: pyvips.Image) -> pyvips.Image:
        cubes = look_up(chroma * share + root, _cubes(), 0, _MOST_ROOT)
        return _recombine(cubes, _from_white())

    # The highest channel rises with the chroma: a straight line to it, and from there another.
    share = room / (highest - wanted).maxpair(room)
    for _ in range(_LINES - 1):
        share = share * (room / (_highest(reduced(share)) - wanted).maxpair(room))
    return (highest > limit * _SLACK).ifthenelse(reduced(share), after)


def _highest(light: pyvips.Image) -> pyvips.Image:
    """The highest band of each pixel."""
    return light[0].maxpair(light[1]).maxpair(light[2])


def _limit(before: pyvips.Image) -> pyvips.Image:
    return at_least(_highest(before), 1)


def _recombine(image: pyvips.Image, rows: list[list[float]]) -> pyvips.Image:
    return image.recomb(pyvips.Image.new_from_array(rows))


def _to_white() -> list[list[float]]:
    """From linear RGB to X, Y and Z, each 1 at white."""
    return [[value / sum(row) for value in row] for row in rgb_to_xyz()]


def _from_white() -> list[list[float]]:
    whites = [sum(row) for row in rgb_to_xyz()]
    return [
        [value * white for value, white in zip(row, whites, strict=True)] for row in xyz_to_rgb()
    ]


def _root(light: float) -> float:
    """CIE's f: the cube root, straight next to black."""
    return (tones.lightness(light) + 16) / 116


@cache
def _roots_of_lightness() -> pyvips.Image:
    return tabulate(lambda each: (each + 16) / 116, 0, 100)


@cache
def _roots() -> pyvips.Image:
    return tabulate(_root, 0, _MOST_LIGHT)


@cache
def _cubes() -> pyvips.Image:
    return tabulate(lambda root: tones.luminance(116 * root - 16), 0, _MOST_ROOT)
