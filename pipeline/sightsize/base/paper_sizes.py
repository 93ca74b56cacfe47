"""Stock paper by name: the self-describing media names of PWG 5101.1, matched on dimensions.

The names were taken from public lists that copy IEEE-ISTO PWG 5101.1 (the IPP media registry);
the standard's own text was not seen. A name says its size, so only the middle word needs a table.
Names are short side first and so have no way up.
"""

import re
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from sightsize.base.units import MOST_CHARACTERS, Written, parse_length_mm, short_text
from sightsize.errors import UnitError

STANDARD_NAMES = (
    "oe_photo-l_3.5x5in",
    "na_index-4x6_4x6in",
    "na_5x7_5x7in",
    "na_govt-letter_8x10in",
    "oe_photo-s8r_8x12in",
    "oe_photo-10r_10x12in",
    "na_10x15_10x15in",
    "na_edp_11x14in",
    "oe_photo-12r_12x15in",
    "oe_12x16_12x16in",
    "na_arch-b_12x18in",
    "oe_photo-14x18_14x18in",
    "oe_photo-16r_16x20in",
    "na_c_17x22in",
    "na_arch-c_18x24in",
    "oe_photo-20r_20x24in",
    "oe_photo-24x30_24x30in",
    "oe_photo-30r_30x40in",
    "na_super-b_13x19in",
    "na_arch-d_24x36in",
    "iso_a2_420x594mm",
    "iso_a3_297x420mm",
    "iso_a4_210x297mm",
    "iso_a5_148x210mm",
    "om_small-photo_100x150mm",
    "om_medium-photo_130x180mm",
    # Public lists spell this one without its unit; both spellings are read.
    "om_large-photo_200x300",
)

_ALIASES = {
    name.split("_")[1].upper(): name for name in STANDARD_NAMES if name.startswith("iso_")
} | {"OM_LARGE-PHOTO_200X300": "om_large-photo_200x300mm"}
_NAME = re.compile(
    r"(?:iso|jis|jpn|prc|om|na|asme|oe|roc|custom)_[a-z0-9.-]+_"
    r"(\d+(?:\.\d+)?)x(\d+(?:\.\d+)?)(in|mm)"
)
_SIZE = re.compile(r"(?P<width>[^_]+?)\s*[x×]\s*(?P<height>[^_]+)", re.IGNORECASE)
_TWO_NUMBERS = re.compile(
    r"(?P<width>[\d.]+) *(?:mm|cm|in)? *(?:by|\*|/|-|,|:) *(?P<height>[\d.]+) *(?P<unit>mm|cm|in)?"
)
_MOST_OF_UNIT = {"in": 60, "cm": 160, "mm": float("inf")}
"""Sides of a sheet are hardly ever longer: common practice."""
_INCHES = ("in", "inch", "inches", '"', "″")
_NOT_OF_A_UNIT = re.compile(r"[\d\s.,/¼½¾⅛⅜⅝⅞]")


@dataclass(frozen=True)
class PaperSize(Written):
    """A sheet: its exact width and height in mm."""

    width_mm: Fraction
    height_mm: Fraction


@lru_cache(maxsize=64)  # a job says the same few sheets for every print
def read_paper_size(text: str) -> PaperSize:
    """Return a sheet as it is written. Raises UnitError as ``parse_size_mm`` does."""
    return PaperSize(text, *parse_size_mm(text))


def parse_size_mm(text: str) -> tuple[Fraction, Fraction]:
    """Return the exact (width, height) in mm of ``12x10 in``, ``304.8 x 254 mm`` or a PWG name.

    A size whose first number has no unit takes the unit of the second.
    Raises UnitError when the text is neither.
    """
    sides = _parse_name(text) or _parse_sides(text)
    if 0 in sides:
        raise UnitError(f"{text!r} has a side of 0; write the sheet's width and height")
    return sides


def _parse_sides(text: str) -> tuple[Fraction, Fraction]:
    is_long = len(text.strip()) > 2 * MOST_CHARACTERS
    match = None if is_long else _SIZE.fullmatch(text.strip())
    if match is None:
        raise UnitError(f"{short_text(text)} is not a paper size; {_meant(text)}")
    width, height = match["width"], match["height"]
    if not _unit(height):
        meant = f"{text.strip()} {_likely_unit(text)}"
        raise UnitError(f"{short_text(text)} has no unit; write, for example, {meant!r}")
    if not _unit(width):
        width = f"{width} {_unit(height)}"
    return parse_length_mm(width), parse_length_mm(height)


def _meant(text: str) -> str:
    """What to write in place of a text that is no size: its two numbers, if it has them."""
    match = _TWO_NUMBERS.fullmatch(text.strip()[: 2 * MOST_CHARACTERS])
    if match:
        unit = match["unit"] or _likely_unit(text)
        return f"write '{match['width']}x{match['height']} {unit}'"
    return (
        "write width x height with a unit, as in '12x10 in', or a standard name such as "
        "'iso_a4_210x297mm'"
    )


def _likely_unit(text: str) -> str:
    """Inches, unless the numbers would then be larger than any sheet."""
    numbers = [float(each) for each in re.findall(r"\d{1,9}", text)] or [0.0]
    return next(unit for unit, most in _MOST_OF_UNIT.items() if max(numbers) <= most)


def _unit(length: str) -> str:
    return _NOT_OF_A_UNIT.split(length)[-1]


def _parse_name(text: str) -> tuple[Fraction, Fraction] | None:
    name = text.strip()
    match = _NAME.fullmatch(_ALIASES.get(name.upper(), name))
    if match is None:
        return None
    return parse_length_mm(f"{match[1]} {match[3]}"), parse_length_mm(f"{match[2]} {match[3]}")


def standard_name(width_mm: Fraction, height_mm: Fraction) -> str:
    """Return the PWG media name of a size, either way round, ``custom_...`` if none is listed."""
    short, long = sorted((width_mm, height_mm))
    listed = _NAMES_BY_SIZE.get((short, long))
    return listed or f"custom_sheet_{float(short):g}x{float(long):g}mm"


def smallest_stock(
    least_mm: tuple[Fraction, Fraction],
    most_mm: tuple[Fraction, Fraction] | None,
    like: str,
) -> str:
    """Return what people call the smallest listed sheet that holds one size and fits another.

    Either may lie any way up. The sheet is one in inches or one in mm, as the size ``like`` is.
    Nothing when no listed sheet will do.
    """
    in_inches = like.rstrip().endswith(_INCHES)
    least = sorted(least_mm)
    most = sorted(most_mm) if most_mm else [Fraction(10**6)] * 2
    sizes = [
        (width * height, size)
        for size, name in _NAMES_BY_SIZE.items()
        for width, height in [size]
        if name.endswith("in") == in_inches
        if least[0] <= width <= most[0] and least[1] <= height <= most[1]
    ]
    return _label(_NAMES_BY_SIZE[min(sizes)[1]]) if sizes else ""


def _label(name: str) -> str:
    """What people call a listed sheet: ``A4``, ``12x10 in``, the longer side first."""
    if name.startswith("iso_"):
        return name.split("_")[1].upper()
    match = _NAME.fullmatch(_ALIASES.get(name.upper(), name))
    return f"{match[2]}x{match[1]} {match[3]}" if match else name


def _by_size() -> dict[tuple[Fraction, Fraction], str]:
    sizes = {name: _parse_name(name) for name in STANDARD_NAMES}
    return {size: name for name, size in sizes.items() if size is not None}


_NAMES_BY_SIZE = _by_size()
