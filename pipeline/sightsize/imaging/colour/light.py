"""From a picture's own colours to linear light.

Light is relative to white (1.0) with the primaries and white of sRGB, as 32-bit float without
bounds: a colour outside sRGB has a component below 0 or above 1 and loses nothing.

LittleCMS, through libvips, is the authority for every ICC profile. Where it shows that a profile
is a curve for each channel and a matrix, both are read off it once and applied as a table and a
matrix, which is much faster; other profiles pass through LittleCMS pixel by pixel. A curve that
the profile states itself and LittleCMS confirms is taken as it is stated.
"""

from array import array
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import product

import pyvips

from sightsize.base.icc import ColourModel
from sightsize.imaging.colour.profile_curves import Curve, tone_curves
from sightsize.imaging.raster.header_fields import set_blob
from sightsize.imaging.raster.lookup_tables import LAST, table_image

Rows = tuple[tuple[float, ...], ...]

COLOUR: Rows = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
"""Rows that keep red, green and blue; a single row of three weights makes one grey channel."""

_SPACES = {"rgb": "rgb16", "grey": "grey16", "cmyk": "cmyk"}
_CHANNELS = {"rgb": 3, "grey": 1, "cmyk": 4}
_ADDITIVE_WITHIN = 0.1
"""Largest difference in XYZ (white is Y = 100) that still counts as a curve and a matrix."""
_STATED_WITHIN = 0.001
"""Largest difference in light between a curve as stated and as LittleCMS shows it."""
_SAME_WITHIN = 1e-9
_WHITE_WITHIN = 0.0005
"""Largest error of white that comes from the 16 bits in which LittleCMS hands XYZ over."""


def built_in_profile(name: str) -> bytes:
    """Return libvips' own ``srgb`` or ``grey`` profile (both CC0)."""
    vips_name = {"srgb": "srgb", "grey": "sgrey"}[name]
    return bytes(pyvips.Operation.call("profile_load", vips_name))


def to_light(image: pyvips.Image, colour: ColourModel, profile: bytes, rows: Rows) -> pyvips.Image:
    """Return linear light, float, one band for each row of weights over red, green and blue.

    ``image`` is 8 or 16-bit with the channels of ``colour`` and ``profile`` its ICC profile. The
    conversion is relative colorimetric with black point compensation. A grey picture becomes one
    band whatever the rows, since they sum to 1.
    """
    entries = 256 if image.format == "uchar" else LAST + 1
    separable = _separate(profile, colour, entries)
    if separable is None:
        xyz = _import(image, profile)
        return mix(xyz, _times(rows, xyz_to_rgb()))
    if colour == "grey":
        return image.maplut(separable.curves)
    mixed = _times(rows, separable.matrix)
    if len(mixed) == 1:
        # The weights go into the curves: a mean of three bands is quicker than a matrix.
        weighted = separable.curves.linear([3 * weight for weight in mixed[0]], [0, 0, 0])
        return image.maplut(weighted).bandmean()
    return mix(image.maplut(separable.curves), mixed)


def mix(image: pyvips.Image, rows: Rows) -> pyvips.Image:
    """Return one band for each row of weights over red, green and blue; grey stays as it is."""
    if image.bands == 1:
        return image
    if len(rows) == 3 and _difference(rows, COLOUR) < _SAME_WITHIN:
        return image
    return image.recomb(pyvips.Image.new_from_array([list(row) for row in rows]))


def _difference(left: Rows, right: Rows) -> float:
    """The largest difference between two matrices of three rows."""
    return max(
        abs(left[row][column] - right[row][column]) for row in range(3) for column in range(3)
    )


def in_primaries_of(light: pyvips.Image, profile: bytes) -> pyvips.Image:
    """Return linear light with the primaries of an RGB profile of curves and a matrix."""
    separable = _separate(profile, "rgb", LAST + 1)
    assert separable is not None
    return mix(light, _inverse(separable.matrix))


@dataclass(frozen=True)
class _Separable:
    """A profile as a table of curves and a matrix to linear sRGB."""

    curves: pyvips.Image
    matrix: Rows


@lru_cache(maxsize=16)
def _separate(profile: bytes, colour: ColourModel, entries: int) -> _Separable | None:
    """Read curves and matrix off a profile; None when it is not made of them."""
    if colour == "cmyk":
        return None
    try:
        curves = _stated_curves(profile, colour, entries) or _shown_curves(profile, colour, entries)
    except (ArithmeticError, TypeError, ValueError):  # curves that no numbers come from
        return None
    if colour == "grey":
        return _Separable(table_image(curves), ())
    columns = [_ramp(profile, colour, channel, 2)[-1] for channel in range(3)]
    if not _is_additive(profile, curves, columns):
        return None
    to_xyz: Rows = tuple(tuple(column[row] for column in columns) for row in range(3))
    return _Separable(table_image(curves), _keep_white(_times(xyz_to_rgb(), to_xyz)))


def _shown_curves(profile: bytes, colour: ColourModel, entries: int) -> list[list[float]]:
    """The curves as LittleCMS shows them."""
    ramps = [_ramp(profile, colour, channel, entries) for channel in range(_CHANNELS[colour])]
    return [[sum(xyz) / sum(ramp[-1]) for xyz in ramp] for ramp in ramps]


def _stated_curves(profile: bytes, colour: ColourModel, entries: int) -> list[list[float]] | None:
    """The curves as the profile states them, where LittleCMS shows the same."""
    stated = tone_curves(profile, colour)
    if stated is None:
        return None
    stated = [_compensate_black(curve) for curve in stated]
    for curve, shown in zip(stated, _shown_curves(profile, colour, 256), strict=True):
        if any(abs(curve(at / 255) - light) > _STATED_WITHIN for at, light in enumerate(shown)):
            return None
    return [[curve(at / (entries - 1)) for at in range(entries)] for curve in stated]


def _keep_white(matrix: Rows) -> Rows:
    """A matrix that takes white to white exactly, unless the profile means another white."""
    if any(abs(sum(row) - 1) > _WHITE_WITHIN for row in matrix):
        return matrix
    return tuple(tuple(value / sum(row) for value in row) for row in matrix)


def _compensate_black(curve: Curve) -> Curve:
    """A curve from light 0 to 1: black point compensation scales light (ISO 18619)."""
    black, white = curve(0.0), curve(1.0)
    if white <= black:
        return curve
    return lambda value: (curve(value) - black) / (white - black)


def _ramp(profile: bytes, colour: ColourModel, channel: int, entries: int) -> list[Sequence[float]]:
    channels = _CHANNELS[colour]
    step = LAST // (entries - 1)
    values = [
        [index * step if each == channel else 0 for each in range(channels)]
        for index in range(entries)
    ]
    return _xyz_of(profile, colour, values)


def _is_additive(profile: bytes, curves: list[list[float]], columns: list[Sequence[float]]) -> bool:
    steps = (0, 51, 128, 204, 255)
    scale = (len(curves[0]) - 1) // 255
    colours = list(product(steps, repeat=3))
    seen = _xyz_of(profile, "rgb", [[each * 257 for each in rgb] for rgb in colours])
    for rgb, xyz in zip(colours, seen, strict=True):
        for row in range(3):
            parts = (curves[c][rgb[c] * scale] * columns[c][row] for c in range(3))
            if abs(sum(parts) - xyz[row]) > _ADDITIVE_WITHIN:
                return False
    return True


def _xyz_of(profile: bytes, colour: ColourModel, values: list[list[int]]) -> list[Sequence[float]]:
    """XYZ, white at Y = 100, of a list of 16-bit device values."""
    flat = array("H", [number for value in values for number in value])
    image = pyvips.Image.new_from_memory(
        flat.tobytes(), len(values), 1, _CHANNELS[colour], "ushort"
    ).copy(interpretation=_SPACES[colour])
    xyz = array("f", bytes(_import(image, profile).write_to_memory()))
    return [xyz[index : index + 3] for index in range(0, len(xyz), 3)]


def _import(image: pyvips.Image, profile: bytes) -> pyvips.Image:
    """Through LittleCMS to XYZ under D65, white at Y = 100."""
    tagged = image.copy()
    set_blob(tagged, "icc-profile-data", profile)
    return tagged.icc_import(
        embedded=True, intent="relative", black_point_compensation=True, pcs="xyz"
    )


@lru_cache(maxsize=1)
def xyz_to_rgb() -> Rows:
    """From XYZ (D65, white at Y = 100) to linear sRGB, read off the sRGB profile itself."""
    columns = [_ramp(built_in_profile("srgb"), "rgb", channel, 2)[-1] for channel in range(3)]
    return _inverse(tuple(tuple(column[row] for column in columns) for row in range(3)))


@lru_cache(maxsize=1)
def rgb_to_xyz() -> Rows:
    """From linear sRGB to XYZ (D65, white at Y = 100)."""
    return _inverse(xyz_to_rgb())


def _times(left: Rows, right: Rows) -> Rows:
    return tuple(
        tuple(sum(row[k] * right[k][column] for k in range(3)) for column in range(3))
        for row in left
    )


def _inverse(m: Rows) -> Rows:
    """The inverse of a 3 x 3 matrix, by cofactors."""

    def cofactor(row: int, column: int) -> float:
        r0, r1 = (row + 1) % 3, (row + 2) % 3
        c0, c1 = (column + 1) % 3, (column + 2) % 3
        return m[r0][c0] * m[r1][c1] - m[r0][c1] * m[r1][c0]

    determinant = sum(m[0][column] * cofactor(0, column) for column in range(3))
    return tuple(
        tuple(cofactor(column, row) / determinant for column in range(3)) for row in range(3)
    )
