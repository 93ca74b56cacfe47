"""The light a raw picture was taken in: pure numbers, no pictures.

A light is described as lamp makers do (ANSI C78.377): by the correlated colour temperature in
kelvin, and by Duv, its distance from the Planckian locus in CIE 1960 uv, positive above the locus,
on the green side. Both say what light shone: a picture whose light is stated warmer than it was
comes out cooler, and one whose light is stated greener comes out more magenta.
"""

from collections.abc import Sequence
from math import hypot

Point = tuple[float, float]

LEAST_KELVIN = 2000
MOST_KELVIN = 25000

_COARSE_STEPS = 48
_REFINEMENTS = 48
_SPAN = 0.01


def white_xy(kelvin: float, duv: float) -> Point:
    """Return the CIE 1931 chromaticity of a light. Raises ValueError beyond 2000 to 25000 K."""
    if not LEAST_KELVIN <= kelvin <= MOST_KELVIN:
        raise ValueError(f"{kelvin:g} K is outside {LEAST_KELVIN} to {MOST_KELVIN} K")
    (u, v), (across_u, across_v) = _locus_uv(kelvin), _across_locus(kelvin)
    return _xy(u + duv * across_u, v + duv * across_v)


def tinted_xy(xy: Point, duv: float) -> Point:
    """Return a light moved across the locus by ``duv``, its colour temperature kept."""
    kelvin, _ = kelvin_and_duv(xy)
    (u, v), (across_u, across_v) = _uv(xy), _across_locus(kelvin)
    return _xy(u + duv * across_u, v + duv * across_v)


def kelvin_and_duv(xy: Point) -> tuple[float, float]:
    """Return the nearest colour temperature from 2000 to 25000 K, and Duv from there."""
    u, v = _uv(xy)

    def distance(mired: float) -> float:
        at_u, at_v = _locus_uv(1e6 / mired)
        return hypot(u - at_u, v - at_v)

    least, most = 1e6 / MOST_KELVIN, 1e6 / LEAST_KELVIN
    step = (most - least) / _COARSE_STEPS
    near = min((least + at * step for at in range(_COARSE_STEPS + 1)), key=distance)
    low, high = max(near - step, least), min(near + step, most)
    for _ in range(_REFINEMENTS):
        third = (high - low) / 3
        if distance(low + third) < distance(high - third):
            high -= third
        else:
            low += third
    kelvin = 2e6 / (low + high)
    (at_u, at_v), (across_u, across_v) = _locus_uv(kelvin), _across_locus(kelvin)
    return kelvin, (u - at_u) * across_u + (v - at_v) * across_v


def camera_multipliers(
    xyz_to_camera: Sequence[Sequence[float]], xy: Point
) -> tuple[float, float, float]:
    """Return what a camera's red, green and blue are multiplied by to make a light neutral.

    ``xyz_to_camera`` is what DNG calls a ColorMatrix. Green stays as it is. Raises ValueError for
    a light in which the camera, by this matrix, sees nothing in a channel.
    """
    x, y = xy
    xyz = (x / y, 1.0, (1 - x - y) / y)
    red, green, blue = (
        sum(weight * each for weight, each in zip(row, xyz, strict=True)) for row in xyz_to_camera
    )
    if min(red, green, blue) <= 0:
        raise ValueError("the camera's colour data does not reach this light")
    return green / red, 1.0, green / blue


def _locus_uv(kelvin: float) -> Point:
    """The Planckian locus by the cubics of Kang, Moon, Hong, Lee, Cho and Kim (2002).

    They hold from 1667 to 25000 K: within 0.0001 across the locus, 0.0004 along it.
    """
    t = 1000 / kelvin
    if kelvin <= 4000:
        x = ((-0.2661239 * t - 0.2343589) * t + 0.8776956) * t + 0.179910
    else:
        x = ((-3.0258469 * t + 2.1070379) * t + 0.2226347) * t + 0.240390
    if kelvin <= 2222:
        y = ((-1.1063814 * x - 1.34811020) * x + 2.18555832) * x - 0.20219683
    elif kelvin <= 4000:
        y = ((-0.9549476 * x - 1.37418593) * x + 2.09137015) * x - 0.16748867
    else:
        y = ((3.0817580 * x - 5.87338670) * x + 3.75112997) * x - 0.37001483
    return _uv((x, y))


def _across_locus(kelvin: float) -> Point:
    """The direction of positive Duv, of length 1.

    The chord spans a hundredth of the temperature to either side, which hides the small steps
    between the cubics.
    """
    warm, cool = _locus_uv(kelvin * (1 - _SPAN)), _locus_uv(kelvin * (1 + _SPAN))
    along_u, along_v = warm[0] - cool[0], warm[1] - cool[1]
    length = hypot(along_u, along_v)
    return -along_v / length, along_u / length


def _uv(xy: Point) -> Point:
    """CIE 1960 from CIE 1931 chromaticity."""
    x, y = xy
    below = -2 * x + 12 * y + 3
    return 4 * x / below, 6 * y / below


def _xy(u: float, v: float) -> Point:
    """CIE 1931 from CIE 1960 chromaticity."""
    below = 2 * u - 8 * v + 4
    return 3 * u / below, 2 * v / below
