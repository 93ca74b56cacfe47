"""Lengths and resolutions are exact; what could mean two things is refused."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sightsize.base.units import (
    LONGEST_MM,
    MM_PER_INCH,
    MM_PER_UNIT,
    PPI_PER_UNIT,
    inch_text,
    mm_text,
    parse_length_mm,
    parse_resolution_ppi,
    px_to_mm,
    round_half_up,
    to_px,
)
from sightsize.errors import (
    UnitError,
)

WHOLE = st.integers(0, 999)
SIXTEENTHS = st.integers(1, 15)


@pytest.mark.parametrize(
    ("text", "millimetres"),
    [
        ("7 1/4 in", "184.15"),
        ("9 5/8 in", "244.475"),
        ("184.15 mm", "184.15"),
        ("18.4 cm", "184"),
        ("0.61 m", "610"),
        ('7 1/4"', "184.15"),
        ("7¼ in", "184.15"),
        ("7 ¼″", "184.15"),
        ("7 1⁄4 in", "184.15"),
        ("3/8 inch", "9.525"),
        ("13 3/8 inches", "339.725"),
        ("  3mm  ", "3"),
        (".5 in", "12.7"),
        ("5. mm", "5"),
        ("+3 mm", "3"),
        ("0 mm", "0"),
        ("100 m", "100000"),
    ],
)
def test_lengths_are_exact(text: str, millimetres: str) -> None:
    assert parse_length_mm(text) == Fraction(millimetres)


def test_one_third_of_an_inch_stays_a_third() -> None:
    assert parse_length_mm("1/3 in") * 3 == MM_PER_INCH


@pytest.mark.parametrize("glyph", "¼½¾⅛⅜⅝⅞")
def test_vulgar_fractions_are_eighths(glyph: str) -> None:
    eighths = dict(zip("⅛¼⅜½⅝¾⅞", range(1, 8), strict=True))[glyph]
    assert parse_length_mm(f"2{glyph} in") == (2 + Fraction(eighths, 8)) * MM_PER_INCH


@given(WHOLE, SIXTEENTHS, st.sampled_from(sorted(MM_PER_UNIT)))
def test_mixed_fractions_come_back_exactly(whole: int, sixteenths: int, unit: str) -> None:
    mm = (whole + Fraction(sixteenths, 16)) * MM_PER_UNIT[unit]
    text = f"{whole} {sixteenths}/16 {unit}"
    if mm <= LONGEST_MM:
        assert parse_length_mm(text) == mm
    else:
        with pytest.raises(UnitError, match="longer than 100 m"):
            parse_length_mm(text)


@given(st.decimals(0, 3900, places=3), st.sampled_from(["mm", "cm", "in"]))
def test_decimals_come_back_exactly(number: object, unit: str) -> None:
    assert parse_length_mm(f"{number} {unit}") == Fraction(str(number)) * MM_PER_UNIT[unit]


@given(st.integers(0, 16 * 400))
def test_inches_for_people_can_be_read_back(sixteenths: int) -> None:
    mm = Fraction(sixteenths, 16) * MM_PER_INCH
    assert parse_length_mm(f"{inch_text(mm)} in") == mm


@given(st.integers(0, 10**6))
def test_millimetres_for_people_can_be_read_back(tenths: int) -> None:
    mm = Fraction(tenths, 10)
    assert parse_length_mm(f"{mm_text(mm)} mm") == mm


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("184", "'184' has no unit; write, for example, '184 mm'"),
        ("7 1/4", "'7 1/4' has no unit; write, for example, '7 1/4 in'"),
        ("4⅜", "'4⅜' has no unit; write, for example, '4⅜ in'"),
        ("18,4 cm", "'18,4 cm' has a comma; use a decimal point"),
        ("1,200 mm", "no thousands separator"),
        ("-3 mm", "'-3 mm' is negative; write zero or more"),
        ("−3 mm", "is negative"),
        ("7-1/4 in", "'7-1/4 in' has a dash before its fraction; use a space"),
        ("2246 px", "the unit must be mm, cm, m or in, not 'px'"),
        ("1' 3 in", "is not a length"),
        ("7 IN", "the unit must be mm, cm, m or in, not 'IN'"),
        ("7 in 3 mm", "is not a length"),
        ("7 1/0 in", "'7 1/0 in' divides by zero; correct the fraction"),
        ("", "'' does not start with a number; write a number and a unit"),
        ("mm", "'mm' does not start with a number"),
        ("nan mm", "does not start with a number"),
        ("inf mm", "does not start with a number"),
        ("1e3 mm", "the unit must be mm, cm, m or in, not 'e3 mm'"),
        ("100.001 m", "'100.001 m' is longer than 100 m"),
        ("9" * 400 + " mm", "' is longer than 100 m"),
    ],
)
def test_lengths_refused(text: str, sentence: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse_length_mm(text)
    assert sentence in str(caught.value)
    assert len(str(caught.value)) < 200


@given(st.text("0123456789 ./,-−+⁄¼⅞'\"″incmpx²", max_size=12))
def test_any_text_is_a_length_or_a_sentence(text: str) -> None:
    try:
        length = parse_length_mm(text)
    except UnitError:
        return
    assert 0 <= length <= LONGEST_MM


@pytest.mark.parametrize(
    ("text", "ppi"),
    [
        ("300 ppi", "300"),
        ("300ppi", "300"),
        ("300 px/in", "300"),
        ("118 px/cm", "299.72"),
        ("12 px/mm", "304.8"),
        ("254 ppi", "254"),
        ("10 px/mm", "254"),
        ("10000 ppi", "10000"),
    ],
)
def test_resolutions_are_exact(text: str, ppi: str) -> None:
    assert parse_resolution_ppi(text) == Fraction(ppi)


@given(st.integers(1, 300), st.sampled_from(sorted(PPI_PER_UNIT)))
def test_resolutions_come_back_exactly(number: int, unit: str) -> None:
    assert parse_resolution_ppi(f"{number} {unit}") / PPI_PER_UNIT[unit] == number


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (
            "300",
            "'300' is not a resolution; a file is measured in pixels per inch: write '300 ppi'",
        ),
        (
            "300 dpi",
            "'300 dpi' is not a resolution; a file is measured in pixels per inch: write '300 ppi'",
        ),
        ("300 lpi", "the unit must be ppi, px/in, px/cm or px/mm, not 'lpi'"),
        ("high", "'high' does not start with a number"),
        ("0 ppi", "'0 ppi' is out of range"),
        ("-300 ppi", "is negative"),
        ("118,11 px/cm", "has a comma"),
        ("10001 ppi", "is out of range"),
        ("394 px/mm", "is out of range"),
    ],
)
def test_resolutions_refused(text: str, sentence: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse_resolution_ppi(text)
    assert sentence in str(caught.value)


@pytest.mark.parametrize(
    ("value", "nearest"),
    [
        ("0.5", 1),
        ("1.5", 2),
        ("2.5", 3),
        ("2.49", 2),
        ("4012.5", 4013),
        ("3187.5", 3188),
        ("-0.5", 0),
    ],
)
def test_halves_round_up(value: str, nearest: int) -> None:
    assert round_half_up(Fraction(value)) == nearest


@given(st.fractions(-1000, 1000))
def test_rounding_is_to_the_nearest(value: Fraction) -> None:
    assert -Fraction(1, 2) < round_half_up(value) - value <= Fraction(1, 2)


@given(st.integers(0, 20_000), st.sampled_from([240, 254, 300, 360, 400]))
def test_pixels_come_back_from_millimetres(px: int, ppi: int) -> None:
    assert to_px(px_to_mm(px, Fraction(ppi)), Fraction(ppi)) == px


def test_sizes_of_a_worked_example() -> None:
    # Computed by hand: 13 3/8 x 300 = 4012.5 and 10 5/8 x 300 = 3187.5, halves upwards.
    ppi = parse_resolution_ppi("300 ppi")
    assert to_px(parse_length_mm("13 3/8 in"), ppi) == 4013
    assert to_px(parse_length_mm("10 5/8 in"), ppi) == 3188


@pytest.mark.parametrize(
    ("mm", "text"),
    [
        ("184.15", "7 1/4"),
        ("25.4", "1"),
        ("6.35", "1/4"),
        ("0", "0"),
        ("100", "3.94"),
        ("1.5875", "1/16"),
        ("0.79375", "0.03"),
    ],
)
def test_inches_for_people(mm: str, text: str) -> None:
    assert inch_text(Fraction(mm)) == text
