"""The numbers of toning: a neutral tone to a tinted one of the same lightness. No pictures.

Lab is CIE 1976 relative to the white of the working light, the D65 of sRGB, so that a tint of no
chroma is a neutral grey. Light is linear, with the primaries of sRGB.
"""

from cmath import rect
from math import radians

from sightsize.model.settings import Tint, Toner
from sightsize.numbers.tones import luminance, smoothstep

Vector = tuple[float, float, float]

TINTS: dict[str, Tint] = {
    # Working approximations of toned prints: common practice, no source.
    "none": Tint(0.0, 0.0),
    "selenium": Tint(330.0, 3.0),
    "sepia": Tint(75.0, 12.0),
    "gold": Tint(260.0, 5.0),
    "warm_paper": Tint(85.0, 3.0),
}
"""The darkroom's toners; the chroma is that of L* 50."""

_TO_X: Vector = (0.4124, 0.3576, 0.1805)
_TO_Y: Vector = (0.2126, 0.7152, 0.0722)
_TO_Z: Vector = (0.0193, 0.1192, 0.9505)
"""Rows of IEC 61966-2-1, from linear red, green and blue to X, Y and Z."""

_HALVINGS = 12
"""Steps in the search for the chroma that the gamut holds: to 1/4096 of what was asked."""


def toned_lab(lightness: float, toner: Toner) -> Vector:
    """Return L*, a* and b* of a neutral L* after toning.

    The dark tint gives way to the light one along a smoothstep of the width ``crossover``, which
    must be above 0, about ``split``; the two mix as vectors. Chroma is all there at L* 50 and
    falls to none at black and at white, as 4 t (1 - t) of the share t of lightness.
    """
    share = lightness / 100
    mix = smoothstep((lightness - toner.split) / toner.crossover + 0.5)
    tint = 4 * share * (1 - share) * ((1 - mix) * _vector(toner.dark) + mix * _vector(toner.light))
    return lightness, tint.real, tint.imag


def toned_light(lightness: float, toner: Toner) -> Vector:
    """Return linear red, green and blue, 0 to 1, of a neutral L* after toning.

    Its luminance is that of the L*. A tint that sRGB cannot show so dark or so light, which needs
    a chroma above 24, keeps its L* and hue and gets the largest chroma that sRGB holds.
    """
    _, a, b = toned_lab(lightness, toner)
    light = _light(lightness, a, b)
    return light if _in_gamut(light) else _within_gamut(lightness, a, b)


def _vector(tint: Tint) -> complex:
    """A tint as a* + i b*."""
    return rect(tint.chroma, radians(tint.hue_degrees))


def _light(lightness: float, a: float, b: float) -> Vector:
    """Linear light of a Lab colour: grey, and what X and Z differ from it.

    X/Xn is the luminance that L* + 116/500 a* would have, Z/Zn that of L* - 116/200 b*: both
    hold in either branch of the CIE's function.
    """
    grey = luminance(lightness)
    x = luminance(lightness + 0.232 * a) - grey
    z = luminance(lightness - 0.58 * b) - grey
    return (
        grey + x * _BY_X[0] + z * _BY_Z[0],
        grey + x * _BY_X[1] + z * _BY_Z[1],
        grey + x * _BY_X[2] + z * _BY_Z[2],
    )


def _in_gamut(light: Vector) -> bool:
    return min(light) >= 0 and max(light) <= 1


def _within_gamut(lightness: float, a: float, b: float) -> Vector:
    """The same L* and hue with the largest chroma inside the gamut, by halving; grey is inside."""
    inside, outside = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = (inside + outside) / 2
        if _in_gamut(_light(lightness, middle * a, middle * b)):
            inside = middle
        else:
            outside = middle
    return _light(lightness, inside * a, inside * b)


def _moving(row: Vector, still: Vector, also_still: Vector) -> Vector:
    """The light that adds to one of X, Y and Z as much as white has, and nothing to the others."""
    (a, b, c), (d, e, f) = still, also_still
    cross = (b * f - c * e, c * d - a * f, a * e - b * d)
    scale = sum(row) / sum(each * part for each, part in zip(row, cross, strict=True))
    return cross[0] * scale, cross[1] * scale, cross[2] * scale


_BY_X = _moving(_TO_X, _TO_Y, _TO_Z)
_BY_Z = _moving(_TO_Z, _TO_X, _TO_Y)
