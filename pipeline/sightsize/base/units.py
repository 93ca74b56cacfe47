"""Exact lengths and resolutions: text with a unit in, rational millimetres out, pixels at the end.

>>> parse_length_mm("7 1/4 in")
Fraction(3683, 20)
>>> to_px(parse_length_mm("13 3/8 in"), parse_resolution_ppi("300 ppi"))
4013
"""

import re
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from math import floor

from sightsize.errors import UnitError

MM_PER_INCH = Fraction(254, 10)
"""Exact by the international yard and pound agreement of 1959 (from memory)."""

MM_PER_UNIT = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
    "in": MM_PER_INCH,
    "inch": MM_PER_INCH,
    "inches": MM_PER_INCH,
    '"': MM_PER_INCH,
    "″": MM_PER_INCH,
}

PPI_PER_UNIT = {
    "ppi": Fraction(1),
    "px/in": Fraction(1),
    "px/cm": Fraction(254, 100),
    "px/mm": MM_PER_INCH,
}

_VULGAR = {"¼": "1/4", "½": "1/2", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}

LONGEST_MM = 100_000
FINEST_PPI = 10_000

MOST_CHARACTERS = 500
"""Of a quantity as it is written; what is longer is none, and costs more than it is worth."""

_NUMBER = (
    r"(?:(?P<whole>\d+)\s+)?(?P<top>\d+)\s*/\s*(?P<bottom>\d+)|(?P<decimal>\d+(?:\.\d*)?|\.\d+)"
)
_QUANTITY = re.compile(rf"(?P<sign>[-+−]?)\s*(?:{_NUMBER})\s*(?P<unit>[^\d\s].*)?")


@dataclass(frozen=True)
class Written:
    """A value that remembers the text it was read from."""

    text: str

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True)
class Length(Written):
    """A length: its exact millimetres."""

    mm: Fraction


@dataclass(frozen=True)
class Resolution(Written):
    """A resolution: its exact pixels per inch."""

    ppi: Fraction


@lru_cache(maxsize=1024)  # a job says the same few lengths for every print
def read_length(text: str) -> Length:
    """Return a length as it is written. Raises UnitError as ``parse_length_mm`` does."""
    return Length(text, parse_length_mm(text))


@lru_cache(maxsize=64)
def read_resolution(text: str) -> Resolution:
    """Return a resolution as it is written. Raises UnitError as ``parse_resolution_ppi`` does."""
    return Resolution(text, parse_resolution_ppi(text))


def parse_length_mm(text: str) -> Fraction:
    """Return the exact millimetres of a positive or zero length such as ``7 1/4 in``.

    Raises UnitError for a missing or unknown unit, a comma, a negative size, no number, or a length
    above 100 m.
    """
    value, unit = _parse_quantity(text)
    if unit is None:
        meant = "in" if _is_fraction(text) else "mm"
        written = f"{text.strip()} {meant}"
        raise UnitError(
            f"{short_text(text)} has no unit; write, for example, {short_text(written)}"
        )
    if unit not in MM_PER_UNIT:
        known = unit.strip(" .").casefold()
        hint = f"; write {known!r}" if known in MM_PER_UNIT else ""
        raise UnitError(
            f"{short_text(text)} is not a length: the unit must be mm, cm, m or in, not "
            f"{short_text(unit)}{hint}"
        )
    if value * MM_PER_UNIT[unit] > LONGEST_MM:
        raise UnitError(f"{short_text(text)} is longer than 100 m; correct the number or the unit")
    return value * MM_PER_UNIT[unit]


def parse_resolution_ppi(text: str) -> Fraction:
    """Return the exact pixels per inch of a resolution such as ``300 ppi`` or ``118 px/cm``.

    Raises UnitError for a missing or unknown unit or a resolution that is not above zero and at
    most 10000 ppi.
    """
    value, unit = _parse_quantity(text)
    if unit is None or unit not in PPI_PER_UNIT:
        number = text.split()[0] if text.split() else "300"
        raise UnitError(
            f"{text!r} is not a resolution; a file is measured in pixels per inch: write "
            f"{number + ' ppi'!r}"
            if unit in ("dpi", None)
            else f"{text!r} is not a resolution: the unit must be ppi, px/in, px/cm or px/mm, "
            f"not {unit!r}"
        )
    if not 0 < value * PPI_PER_UNIT[unit] <= FINEST_PPI:
        raise UnitError(
            f"{short_text(text)} is out of range; write a resolution above 0 and at most 10000 ppi"
        )
    return value * PPI_PER_UNIT[unit]


def _is_fraction(text: str) -> bool:
    """Whether a number is written as a fraction, which people do of inches alone."""
    return any(each in text for each in ("/", "⁄", *_VULGAR))


def short_text(text: str) -> str:
    """Return a text in quotes, the end of a long one left out."""
    return repr(text if len(text) <= 40 else f"{text[:40]}...")


def _parse_quantity(text: str) -> tuple[Fraction, str | None]:
    text = text.strip()
    if len(text) > MOST_CHARACTERS:
        raise UnitError(
            f"{short_text(text)} is too long; write a number and a unit, as in '184.5 mm'"
        )
    for glyph, fraction in _VULGAR.items():
        text = text.replace(glyph, f" {fraction}")
    match = _QUANTITY.fullmatch(text.strip().replace("⁄", "/"))
    if match is None:
        raise UnitError(
            f"{short_text(text)} does not start with a number; write a number and a unit"
        )
    if match["sign"] in ("-", "−"):
        raise UnitError(f"{short_text(text)} is negative; write zero or more")
    unit = match["unit"]
    if unit is not None and unit.startswith(","):
        raise UnitError(
            f"{short_text(text)} has a comma; use a decimal point, as in 18.4 cm, and no thousands "
            "separator"
        )
    if unit is not None and re.match(r"[-–]\d+/\d", unit):
        raise UnitError(
            f"{short_text(text)} has a dash before its fraction; use a space, as in 7 1/4 in"
        )
    return _number(match), unit


def _number(match: re.Match[str]) -> Fraction:
    if match["decimal"] is not None:
        return Fraction(match["decimal"])
    if int(match["bottom"]) == 0:
        raise UnitError(f"{match[0].strip()!r} divides by zero; correct the fraction")
    return int(match["whole"] or 0) + Fraction(int(match["top"]), int(match["bottom"]))


def round_half_up(value: Fraction) -> int:
    """Return the nearest whole number, halves upwards: the rounding of every pixel size."""
    return floor(value + Fraction(1, 2))


def to_px(length_mm: Fraction, ppi: Fraction) -> int:
    """Return a length in whole pixels at a resolution."""
    return round_half_up(length_mm / MM_PER_INCH * ppi)


def px_to_mm(px: int | Fraction, ppi: Fraction) -> Fraction:
    """Return the exact length in mm of pixels at a resolution."""
    return px * MM_PER_INCH / ppi


def mm_text(length_mm: Fraction, places: int = 1) -> str:
    """Return millimetres for people, trailing zeros dropped: ``190.15``, ``305``."""
    text = f"{float(length_mm):.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def inch_text(length_mm: Fraction) -> str:
    """Return inches for people: as a fraction to sixteenths where exact, else to a hundredth."""
    inches = length_mm / MM_PER_INCH
    if (inches * 16).denominator == 1:
        whole, rest = divmod(inches, 1)
        return " ".join(str(part) for part in (whole, rest) if part) or "0"
    return f"{float(inches):.2f}"


def bytes_text(count: int) -> str:
    """Return a limit in bytes for people, in the binary units of IEC 80000-13: ``16 MiB``."""
    for power, unit in ((30, "GiB"), (20, "MiB"), (10, "KiB")):
        if count >= 1 << power:
            return f"{count / (1 << power):.4g} {unit}"
    return f"{count} bytes"
