"""Toning against colour-science, scikit-image and the formulas of the CIE and the IEC."""

from functools import cache
from itertools import product

import colour
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from skimage.color import lab2rgb

from icc_profiles import Floats
from sightsize.model.settings import Tint, Toner
from sightsize.numbers.tones import luminance, srgb_encode
from sightsize.numbers.toning import TINTS, toned_lab, toned_light

LIGHTNESSES = [step / 4 for step in range(401)]
SRGB = colour.RGB_COLOURSPACES["sRGB"]
"""Its matrix is the one of IEC 61966-2-1, with four decimals."""

WHITE = SRGB.matrix_RGB_to_XYZ @ np.ones(3)
GREY = Tint(0, 0)


def toner(dark: Tint, light: Tint | None = None, split: float = 50, crossover: float = 30) -> Toner:
    return Toner(dark=dark, light=light or dark, split=split, crossover=crossover)


def lights(of: Toner) -> Floats:
    return np.array([toned_light(each, of) for each in LIGHTNESSES])


def codes(of: Toner, places: list[float]) -> Floats:
    """8-bit sRGB codes before they are rounded."""
    return np.array(
        [[255 * srgb_encode(each) for each in toned_light(place, of)] for place in places]
    )


def lab_of_light(light: Floats) -> Floats:
    """By colour-science, relative to the white of the matrix."""
    xyz = light @ SRGB.matrix_RGB_to_XYZ.T
    return np.asarray(colour.XYZ_to_Lab(xyz, colour.XYZ_to_xy(WHITE)))


def lab_of_codes(rounded: Floats) -> Floats:
    return lab_of_light(np.asarray(colour.models.eotf_sRGB(rounded / 255)))


@cache
def own_tints() -> list[Tint]:
    return [Tint(hue, chroma) for hue in range(0, 360, 15) for chroma in (6, 18, 30)]


hues = st.floats(0, 360)
tints = st.builds(Tint, hues, st.floats(0, 30))
toners = st.builds(
    Toner, dark=tints, light=tints, split=st.floats(0, 100), crossover=st.floats(5, 100)
)
lightnesses = st.floats(0, 100)


def test_the_darkrooms_tints() -> None:
    """Hue angles and chroma at L* 50: common practice, no source."""
    found = {name: (each.hue_degrees, each.chroma) for name, each in TINTS.items()}
    wanted = {"selenium": (330, 3), "sepia": (75, 12), "gold": (260, 5), "warm_paper": (85, 3)}
    assert found == {"none": (0, 0), **wanted}


@pytest.mark.parametrize("name", TINTS)
def test_light_against_colour_science(name: str) -> None:
    of = toner(TINTS[name])
    lab = np.array([toned_lab(each, of) for each in LIGHTNESSES])
    xyz = colour.Lab_to_XYZ(lab, colour.XYZ_to_xy(WHITE))
    wanted = xyz @ np.linalg.inv(SRGB.matrix_RGB_to_XYZ).T
    assert np.abs(lights(of) - wanted).max() < 1e-12


@pytest.mark.parametrize("name", TINTS)
def test_codes_against_scikit_image(name: str) -> None:
    """Its white and matrix have other last decimals, a tenth of an 8-bit code."""
    of = toner(TINTS[name])
    lab = np.array([[toned_lab(each, of) for each in LIGHTNESSES]])
    wanted = 255 * lab2rgb(lab, illuminant="D65")[0]
    assert np.abs(codes(of, LIGHTNESSES) - wanted).max() < 0.1


def test_a_sepia_print_in_numbers() -> None:
    """L* 50, a* 12 cos 75, b* 12 sin 75: worked out by colour-science 0.4.7."""
    lab = toned_lab(50, toner(TINTS["sepia"]))
    assert lab == pytest.approx((50, 3.105829, 11.591110), abs=1e-6)
    assert codes(toner(TINTS["sepia"]), [50])[0] == pytest.approx(
        [131.944, 116.504, 99.499], abs=1e-3
    )


@given(toners, lightnesses)
def test_luminance_is_that_of_the_lightness(of: Toner, lightness: float) -> None:
    """The row of Y of IEC 61966-2-1."""
    red, green, blue = toned_light(lightness, of)
    found = 0.2126 * red + 0.7152 * green + 0.0722 * blue
    assert found == pytest.approx(luminance(lightness), abs=1e-9)


@given(toners, lightnesses)
def test_every_tint_is_inside_srgb(of: Toner, lightness: float) -> None:
    light = toned_light(lightness, of)
    assert min(light) >= 0
    assert max(light) <= 1 + 1e-12


@pytest.mark.parametrize("of", [*TINTS.values(), *own_tints()], ids=str)
def test_printed_lightness_of_8_bit_codes(of: Tint) -> None:
    """|dL*| < 0.3 after rounding to whole codes, read by colour-science."""
    printed = lab_of_codes(np.rint(codes(toner(of), LIGHTNESSES)))
    assert np.abs(printed[:, 0] - LIGHTNESSES).max() < 0.3


@pytest.mark.parametrize(("dark", "light"), list(product(TINTS, repeat=2)))
def test_printed_lightness_of_split_toning(dark: str, light: str) -> None:
    of = toner(TINTS[dark], TINTS[light], split=40, crossover=20)
    printed = lab_of_codes(np.rint(codes(of, LIGHTNESSES)))
    assert np.abs(printed[:, 0] - LIGHTNESSES).max() < 0.3


@given(lightnesses, hues, hues)
def test_no_chroma_is_exactly_neutral(lightness: float, dark: float, light: float) -> None:
    red, green, blue = toned_light(lightness, toner(Tint(dark, 0), Tint(light, 0)))
    assert red == green == blue == luminance(lightness)


@given(toners)
def test_black_and_white_stay(of: Toner) -> None:
    assert toned_light(0, of) == (0, 0, 0)
    assert toned_light(100, of) == (1, 1, 1)


@given(hues, st.floats(1, 24), st.floats(30, 70))
def test_hue_and_chroma_of_the_middle_tones(hue: float, chroma: float, lightness: float) -> None:
    """As asked: within a degree, and the chroma at its share 4 t (1 - t)."""
    light = np.array(toned_light(lightness, toner(Tint(hue, chroma))))
    _, a, b = lab_of_light(light)
    off = (np.degrees(np.arctan2(b, a)) - hue + 180) % 360 - 180
    assert abs(off) < 0.01
    share = 4 * lightness / 100 * (1 - lightness / 100)
    assert np.hypot(a, b) == pytest.approx(share * chroma, abs=1e-6)


@pytest.mark.parametrize("hue", range(0, 360, 15))
def test_beyond_the_gamut_only_chroma_gives_way(hue: int) -> None:
    """sRGB holds a chroma of 24 in every hue, and 30 but for dark greens and blues."""
    for asked in (24, 30):
        of = toner(Tint(hue, asked))
        found = lab_of_light(lights(of))
        wanted = np.array([toned_lab(each, of) for each in LIGHTNESSES])
        assert np.abs(found[:, 0] - wanted[:, 0]).max() < 1e-9
        chroma, full = np.hypot(*found[:, 1:].T), np.hypot(*wanted[:, 1:].T)
        held = asked == 24 or hue <= 165 or hue >= 255
        assert (full - chroma).max() < 1e-6 if held else 0.5 < (full - chroma).max() < 6
        cross = wanted[:, 1] * found[:, 2] - wanted[:, 2] * found[:, 1]
        assert np.abs(cross).max() < 1e-6


def test_what_gives_way_is_no_more_than_needed() -> None:
    """With a little more chroma than it keeps, red would be below black."""
    of = toner(Tint(215, 30))
    for lightness in (15, 27, 40):
        kept = lab_of_light(np.array(toned_light(lightness, of)))
        more = kept * [1, 1.001, 1.001]
        xyz = colour.Lab_to_XYZ(more, colour.XYZ_to_xy(WHITE))
        assert (np.linalg.inv(SRGB.matrix_RGB_to_XYZ) @ xyz).min() < 0


def test_split_and_crossover() -> None:
    """Half of each at the split, one alone from half a crossover away, 5/32 at a quarter."""
    dark, light = Tint(0, 8), Tint(90, 8)
    of = toner(dark, light, split=60, crossover=40)
    for lightness, mix in {30: 0, 40: 0, 50: 5 / 32, 60: 0.5, 70: 27 / 32, 80: 1, 90: 1}.items():
        _, a, b = toned_lab(lightness, of)
        full = 8 * 4 * lightness / 100 * (1 - lightness / 100)
        assert (a, b) == pytest.approx((full * (1 - mix), full * mix), abs=1e-12)


def test_opposite_tints_meet_in_grey() -> None:
    _, a, b = toned_lab(50, toner(Tint(40, 10), Tint(220, 10)))
    assert (a, b) == pytest.approx((0, 0), abs=1e-12)


@pytest.mark.parametrize(("dark", "light"), list(product(TINTS, repeat=2)))
def test_curves_rise_without_a_step(dark: str, light: str) -> None:
    """Every code curve rises, by less than one 8-bit code for 1/10 L*, even at crossover 10."""
    of = toner(TINTS[dark], TINTS[light], crossover=30)
    places = [step / 10 for step in range(1001)]
    steps = np.diff(codes(of, places), axis=0)
    assert steps.min() > 0
    assert steps.max() < 0.5
    narrow = toner(TINTS[dark], TINTS[light], crossover=10)
    assert np.abs(np.diff(codes(narrow, places), axis=0)).max() < 1


@pytest.mark.parametrize("of", own_tints(), ids=str)
def test_curves_of_own_tints_have_no_step(of: Tint) -> None:
    """Not even where the gamut begins to hold back the chroma, at codes of red next to 0."""
    steps = np.diff(codes(toner(of), [step / 10 for step in range(1001)]), axis=0)
    assert np.abs(steps).max() < (1.1 if of.chroma == 30 else 0.6)
