"""Stock paper sizes against ISO 216 and the PWG media names."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sightsize.base.paper_sizes import STANDARD_NAMES, parse_size_mm, standard_name
from sightsize.base.units import MM_PER_INCH
from sightsize.errors import UnitError

# PWG 5101.1 media names as listed in public code lists; the standard's own text was not seen.
PWG_INCHES = {
    "oe_photo-l_3.5x5in": ("3.5", "5"),
    "na_index-4x6_4x6in": ("4", "6"),
    "na_5x7_5x7in": ("5", "7"),
    "na_govt-letter_8x10in": ("8", "10"),
    "oe_photo-s8r_8x12in": ("8", "12"),
    "oe_photo-10r_10x12in": ("10", "12"),
    "na_10x15_10x15in": ("10", "15"),
    "na_edp_11x14in": ("11", "14"),
    "oe_photo-12r_12x15in": ("12", "15"),
    "oe_12x16_12x16in": ("12", "16"),
    "na_arch-b_12x18in": ("12", "18"),
    "oe_photo-14x18_14x18in": ("14", "18"),
    "oe_photo-16r_16x20in": ("16", "20"),
    "na_c_17x22in": ("17", "22"),
    "na_arch-c_18x24in": ("18", "24"),
    "oe_photo-20r_20x24in": ("20", "24"),
    "oe_photo-24x30_24x30in": ("24", "30"),
    "oe_photo-30r_30x40in": ("30", "40"),
    "na_super-b_13x19in": ("13", "19"),
    "na_arch-d_24x36in": ("24", "36"),
}
PWG_MILLIMETRES = {
    "iso_a2_420x594mm": ("420", "594"),
    "iso_a3_297x420mm": ("297", "420"),
    "iso_a4_210x297mm": ("210", "297"),
    "iso_a5_148x210mm": ("148", "210"),
    "om_small-photo_100x150mm": ("100", "150"),
    "om_medium-photo_130x180mm": ("130", "180"),
    "om_large-photo_200x300": ("200", "300"),
}
SIZES = {
    **{
        name: (Fraction(short) * MM_PER_INCH, Fraction(long) * MM_PER_INCH)
        for name, (short, long) in PWG_INCHES.items()
    },
    **{name: (Fraction(short), Fraction(long)) for name, (short, long) in PWG_MILLIMETRES.items()},
}


def iso_a_mm(number: int) -> tuple[Fraction, Fraction]:
    """ISO 216: A0 has 1 m2 in the ratio 1 to the square root of 2; each next size halves it."""
    short, long = round(1000 * 2**-0.25), round(1000 * 2**0.25)
    for _ in range(number):
        short, long = long // 2, short
    return Fraction(short), Fraction(long)


@pytest.mark.parametrize(("name", "size"), SIZES.items())
def test_every_listed_name_has_its_size_and_is_found_by_it(
    name: str, size: tuple[Fraction, Fraction]
) -> None:
    assert parse_size_mm(name) == size
    assert standard_name(*size) == name
    assert standard_name(*reversed(size)) == name


def test_the_list_is_complete() -> None:
    assert set(STANDARD_NAMES) == set(SIZES)


@pytest.mark.parametrize("number", [2, 3, 4, 5])
def test_a_sizes_follow_iso_216(number: int) -> None:
    assert parse_size_mm(f"A{number}") == iso_a_mm(number)
    exact = 1000 * 2 ** (-0.25 - number / 2), 1000 * 2 ** (0.25 - number / 2)
    for side, formula in zip(parse_size_mm(f"a{number}"), exact, strict=True):
        assert abs(float(side) - formula) < 1


def test_the_erratum_of_the_public_lists_is_read_both_ways() -> None:
    assert parse_size_mm("om_large-photo_200x300mm") == parse_size_mm("om_large-photo_200x300")


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("12x10 in", ("304.8", "254")),
        ("12 X 10 in", ("304.8", "254")),
        ("304.8 x 254 mm", ("304.8", "254")),
        ('12" x 10"', ("304.8", "254")),
        ("12in × 40 cm", ("304.8", "400")),
        ("8 1/2x11in", ("215.9", "279.4")),
        ("8½ x 11 in", ("215.9", "279.4")),
        ("custom_roll_254x700mm", ("254", "700")),
    ],
)
def test_sizes_with_a_unit(text: str, mm: tuple[str, str]) -> None:
    assert parse_size_mm(text) == (Fraction(mm[0]), Fraction(mm[1]))


@given(st.integers(1, 3900), st.integers(1, 3900), st.sampled_from(["mm", "cm", "in"]))
def test_a_size_keeps_its_order(width: int, height: int, unit: str) -> None:
    first, second = parse_size_mm(f"{width}x{height} {unit}")
    assert first * height == second * width
    assert (first, second) == parse_size_mm(f"{width} {unit} x {height} {unit}")


def test_an_unlisted_size_is_custom() -> None:
    name = standard_name(Fraction(700), Fraction(254))
    assert name == "custom_sheet_254x700mm"
    assert parse_size_mm(name) == (Fraction(254), Fraction(700))


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("12x10", "'12x10' has no unit; write, for example, '12x10 in'"),
        ("letter", "'letter' is not a paper size"),
        ("A44", "'A44' is not a paper size"),
        ("", "'' is not a paper size"),
        ("30,5 x 20,3 cm", "'30,5 cm' has a comma"),
        ("30 x 20,3 cm", "'20,3 cm' has a comma"),
        ("30 x 20 centimetres", "the unit must be mm, cm, m or in, not 'centimetres'"),
        ("0x10 in", "has a side of 0"),
        ("custom_nothing_0x10mm", "has a side of 0"),
        ("-12x10 in", "is negative"),
        ("na_5x7_5x7", "'na_5x7_5x7' is not a paper size"),
        ("iso_a4_210x297cm", "'iso_a4_210x297cm' is not a paper size"),
    ],
)
def test_sizes_refused(text: str, sentence: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse_size_mm(text)
    assert sentence in str(caught.value)


@given(st.text('0123456789 ./,-x×_isoajbncum¼"″', max_size=16))
def test_any_text_is_a_size_or_a_sentence(text: str) -> None:
    try:
        sides = parse_size_mm(text)
    except UnitError:
        return
    assert min(sides) > 0
