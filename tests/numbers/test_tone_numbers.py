"""Numbers of light, lightness, black-and-white, paper grade and tone curve."""

from itertools import pairwise, product

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator
from scipy.special import expit, logit

from sightsize.numbers.tones import (
    FILTERS,
    RESPONSES,
    MonotoneCurve,
    grade_contrast,
    grade_function,
    lightness,
    luminance,
    mono_weights,
    srgb_encode,
)


def srgb_decode(value: float) -> float:
    """IEC 61966-2-1, from the encoded value to linear light."""
    return value / 12.92 if value <= 0.04045 else float(((value + 0.055) / 1.055) ** 2.4)


# Light and lightness.


@pytest.mark.parametrize(
    ("code", "light", "light_places"),
    [
        (1, 0.000304, 6),
        (10, 0.003035, 6),
        (11, 0.003347, 6),
        (64, 0.051269, 6),
        (118, 0.181164, 6),
        (119, 0.184475, 6),
        (127.5, 0.214041, 6),
        (128, 0.215861, 6),
        (188, 0.502886, 6),
        (117.646, 0.18, 5),
        (187.516, 0.5, 5),
    ],
)
def test_srgb_values(code: float, light: float, light_places: int) -> None:
    """Worked out from the formulas of IEC 61966-2-1:1999, as public summaries give them."""
    assert round(srgb_decode(code / 255), light_places) == light
    assert srgb_encode(srgb_decode(code / 255)) * 255 == pytest.approx(code, abs=1e-4)


def test_srgb_ends_and_limits() -> None:
    assert srgb_encode(0) == 0
    assert srgb_encode(1) == pytest.approx(1, abs=1e-15)
    assert srgb_encode(-0.2) == 0
    assert srgb_encode(1.7) == srgb_encode(1)


def test_every_srgb_code_comes_back() -> None:
    codes = [round(srgb_encode(srgb_decode(code / 255)) * 255, 4) for code in range(256)]
    assert codes == list(range(256))


@pytest.mark.parametrize(
    ("light", "expected"),
    [(0.000304, 0.274), (0.181164, 49.637), (0.184475, 50.034), (0.215861, 53.585)],
)
def test_lightness_values(light: float, expected: float) -> None:
    """CIE 15: L* of the sRGB codes 1, 118, 119 and 128."""
    assert lightness(light) == pytest.approx(expected, abs=1e-3)


@pytest.mark.parametrize(
    ("value", "light", "code"),
    [
        (8, 0.008856, 23.51),
        (10, 0.011260, 27.46),
        (20, 0.029891, 48.29),
        (50, 0.184187, 118.91),
        (90, 0.763034, 226.33),
        (95, 0.876183, 240.58),
        (98, 0.949163, 249.22),
    ],
)
def test_luminance_values(value: float, light: float, code: float) -> None:
    """CIE 15 (ISO/CIE 11664-4), then IEC 61966-2-1 in 8 bits."""
    assert luminance(value) == pytest.approx(light, abs=6e-7)
    assert srgb_encode(luminance(value)) * 255 == pytest.approx(code, abs=0.006)


@pytest.mark.parametrize(("density", "expected"), [(2.2, 5.7), (2.0, 9.0), (1.6, 18.0)])
def test_blackest_black_of_papers(density: float, expected: float) -> None:
    """L* of a reflectance 10^-D, by CIE 15: glossy, lustre and cotton."""
    assert round(lightness(10**-density), 1) == expected


def test_both_branches_of_lightness_meet() -> None:
    """CIE 15: L* = 903.3 Y up to Y = (6/29)^3, where L* is 8."""
    joint = (6 / 29) ** 3
    assert lightness(joint) == pytest.approx(8, abs=1e-12)
    assert lightness(joint * (1 + 1e-12)) == pytest.approx(8, abs=1e-9)
    assert lightness(1e-3) == pytest.approx(0.9032963, abs=1e-7)
    assert (lightness(0), lightness(1)) == (0, 100)


@example(7.5)
@example(8.5)
@given(st.floats(0, 100))
def test_luminance_is_the_inverse_of_lightness(value: float) -> None:
    assert lightness(luminance(value)) == pytest.approx(value, abs=1e-11)


# Black-and-white.


def test_pure_primaries_through_the_panchromatic_response() -> None:
    """Luminance in linear light, encoded: 8-bit 127.10, 219.93, 75.96; L* 53.23, 87.74, 32.30.

    Worked out from IEC 61966-2-1 and CIE 15. Weights on encoded values would give 54, 182 and 18.
    """
    weights, stops = mono_weights("luminance", "none", 1)
    codes = [srgb_encode(weight) * 255 for weight in weights]
    assert codes == pytest.approx([127.10, 219.93, 75.96], abs=0.005)
    assert [lightness(each) for each in weights] == pytest.approx(
        [53.233, 87.737, 32.303], abs=5e-4
    )
    assert stops == pytest.approx(0, abs=1e-12)


strengths = st.floats(0, 2)
own_responses = st.tuples(*[st.floats(0, 1000)] * 3).filter(lambda each: sum(each) > 1e-3)


@given(
    st.sampled_from(sorted(RESPONSES)) | own_responses,
    st.sampled_from(sorted(FILTERS)),
    strengths,
)
def test_greys_do_not_move(
    response: str | tuple[float, float, float], filter_name: str, strength: float
) -> None:
    weights, _ = mono_weights(response, filter_name, strength)
    assert sum(weights) == pytest.approx(1, abs=1e-12)
    assert min(weights) >= 0


@pytest.mark.parametrize(("response", "filter_name"), list(product(RESPONSES, FILTERS)))
def test_every_grey_for_every_response_and_filter(response: str, filter_name: str) -> None:
    for strength in (0, 0.5, 1, 2):
        red, green, blue = mono_weights(response, filter_name, strength)[0]
        for code in range(0, 256, 5):
            light = srgb_decode(code / 255)
            printed = srgb_encode(red * light + green * light + blue * light) * 255
            assert printed == pytest.approx(code, abs=1e-4)


@pytest.mark.parametrize("response", RESPONSES)
def test_a_filter_of_no_thickness_is_no_filter(response: str) -> None:
    bare = mono_weights(response, "none", 1)
    assert bare[0] == pytest.approx(SEEN_BY[response])
    for name in FILTERS:
        weights, stops = mono_weights(response, name, 0)
        assert weights == pytest.approx(bare[0])
        assert stops == pytest.approx(0, abs=1e-12)


SEEN_BY = {
    # The luminance row of the sRGB primaries, IEC 61966-2-1.
    "luminance": (0.2126, 0.7152, 0.0722),
    # Emulsions, and light that contrast filters let through: common practice, no source.
    "panchromatic_film": (0.32, 0.36, 0.32),
    "red_extended": (0.55, 0.27, 0.18),
    "orthochromatic": (0.02, 0.50, 0.48),
    "blue_sensitive": (0.00, 0.06, 0.94),
}
PASSED_BY = {
    "none": (1.0, 1.0, 1.0),
    "yellow": (1.0, 0.95, 0.25),
    "yellow_green": (0.75, 1.0, 0.25),
    "orange": (1.0, 0.60, 0.08),
    "red": (1.0, 0.12, 0.02),
    "green": (0.25, 1.0, 0.30),
    "blue": (0.10, 0.25, 1.0),
}


def test_responses_are_those_of_the_table() -> None:
    assert sorted(RESPONSES) == sorted(SEEN_BY)
    for name, wanted in SEEN_BY.items():
        assert mono_weights(name, "none", 1)[0] == pytest.approx(wanted, abs=1e-12)


def test_filters_pass_what_the_table_says() -> None:
    # Behind an equal response of a third each the weights are the transmissions over their sum.
    assert sorted(FILTERS) == sorted(PASSED_BY)
    for name, passed in PASSED_BY.items():
        weights, stops = mono_weights((1, 1, 1), name, 1)
        assert weights == pytest.approx([each / sum(passed) for each in passed], abs=1e-12)
        assert 2**-stops == pytest.approx(sum(passed) / 3, abs=1e-12)


@pytest.mark.parametrize(
    ("response", "filter_name", "wanted", "through"),
    [
        # (0.2126, 0.7152 x 0.95 = 0.67944, 0.0722 x 0.25 = 0.01805), sum 0.91009.
        ("luminance", "yellow", (0.233603, 0.746564, 0.019833), 0.91009),
        # (0.02, 0.50 x 0.95 = 0.475, 0.48 x 0.25 = 0.12), sum 0.615.
        ("orthochromatic", "yellow", (0.032520, 0.772358, 0.195122), 0.615),
        # (0.02 x 0.25 = 0.005, 0.50, 0.48 x 0.30 = 0.144), sum 0.649.
        ("orthochromatic", "green", (0.007704, 0.770416, 0.221880), 0.649),
    ],
)
def test_filters_in_numbers(
    response: str, filter_name: str, wanted: tuple[float, ...], through: float
) -> None:
    weights, stops = mono_weights(response, filter_name, 1)
    assert weights == pytest.approx(wanted, abs=1e-6)
    assert 2**-stops == pytest.approx(through, abs=1e-9)


def test_a_red_filter_in_numbers() -> None:
    """0.2126 x 1 + 0.7152 x 0.12 + 0.0722 x 0.02 = 0.299868 of white light comes through."""
    weights, stops = mono_weights("luminance", "red", 1)
    assert weights == pytest.approx((0.708979, 0.286206, 0.004815), abs=1e-6)
    # -log2 0.299868.
    assert stops == pytest.approx(1.737600, abs=1e-6)
    assert 2**-stops == pytest.approx(0.299868, abs=1e-9)


def test_thickness_multiplies() -> None:
    """Bouguer and Lambert: two filters one behind the other are one of double thickness."""
    once, _ = mono_weights("panchromatic_film", "orange", 1)
    twice, _ = mono_weights(once, "orange", 1)
    assert mono_weights("panchromatic_film", "orange", 2)[0] == pytest.approx(twice)


@given(st.sampled_from(sorted(RESPONSES)), st.sampled_from(sorted(FILTERS)), strengths, strengths)
def test_a_thicker_filter_costs_more_light(
    response: str, filter_name: str, thin: float, thick: float
) -> None:
    thin, thick = sorted((thin, thick))
    stops = [mono_weights(response, filter_name, each)[1] for each in (thin, thick)]
    assert -1e-12 <= stops[0] <= stops[1] + 1e-12


def test_own_weights_are_scaled_to_one() -> None:
    assert mono_weights((2, 5, 3), "none", 1)[0] == pytest.approx((0.2, 0.5, 0.3))


def test_filters_lighten_their_own_colour() -> None:
    """What a contrast filter is for: it lightens its own colour and darkens its complement."""
    bare = mono_weights("luminance", "none", 1)[0]
    own = {"red": 0, "green": 1, "blue": 2}
    for name, channel in own.items():
        weights = mono_weights("luminance", name, 1)[0]
        assert weights[channel] > bare[channel]
    for name in ("yellow", "yellow_green", "orange", "red"):
        assert mono_weights("luminance", name, 1)[0][2] < bare[2]


# Paper grade.

grades = st.floats(0, 5)


@pytest.mark.parametrize(
    ("grade", "contrast"),
    [
        (0, 105 / 150),
        (1, 105 / 130),
        (2, 1),
        (2.5, 105 / 95),
        (3, 105 / 85),
        (4, 105 / 65),
        (5, 105 / 50),
    ],
)
def test_grade_contrast(grade: float, contrast: float) -> None:
    """Ranges R 150, 130, 105, 85, 65, 50 in the manner of ISO 6846: common practice, no source."""
    assert grade_contrast(grade) == pytest.approx(contrast, abs=1e-15)


@given(st.floats(0, 100))
def test_grade_two_changes_nothing(value: float) -> None:
    assert grade_function(2)(value) == value


@given(st.floats(0, 100), st.floats(-1e-6, 1e-6))
def test_grades_next_to_two_change_next_to_nothing(value: float, away: float) -> None:
    assert grade_function(2 + away)(value) == pytest.approx(value, abs=1e-5)


@given(grades)
def test_black_white_and_the_middle_stay(grade: float) -> None:
    paper = grade_function(grade)
    assert paper(0) == 0
    assert paper(100) == 100
    assert paper(50) == pytest.approx(50, abs=1e-9)


@given(grades, st.floats(0, 100), st.floats(0, 100))
def test_every_grade_rises_everywhere(grade: float, one: float, other: float) -> None:
    dark, light = sorted((one, other))
    paper = grade_function(grade)
    assert 0 <= paper(dark) <= paper(light) <= 100
    if light - dark > 1e-3:
        assert paper(dark) < paper(light)


@given(grades, st.floats(0, 100))
def test_shadows_and_highlights_mirror_each_other(grade: float, value: float) -> None:
    paper = grade_function(grade)
    assert paper(value) + paper(100 - value) == pytest.approx(100, abs=1e-9)


@pytest.mark.parametrize("value", [10, 25, 40])
def test_a_harder_grade_darkens_shadows(value: float) -> None:
    printed = [grade_function(grade / 2)(value) for grade in range(11)]
    assert all(harder < softer for softer, harder in pairwise(printed))


@pytest.mark.parametrize(
    ("grade", "contrast"), [(0, 0.7), (1, 0.8077), (3, 1.2353), (4, 1.6154), (5, 2.1)]
)
def test_contrast_in_the_middle_is_the_grades(grade: float, contrast: float) -> None:
    """The logistic's slope at its middle is c = 105 / R; the scaling for exact ends adds < 2 %."""
    paper = grade_function(grade)
    slope = (paper(50.01) - paper(49.99)) / 0.02
    assert slope == pytest.approx(contrast, rel=0.02)


@pytest.mark.parametrize("pivot", [30, 50, 65])
@pytest.mark.parametrize(("grade", "contrast"), [(0, 0.7), (3, 105 / 85), (5, 2.1)])
def test_a_grade_is_a_logistic_curve_of_its_contrast(
    grade: float, contrast: float, pivot: float
) -> None:
    """The outermost thousandths left out, by scipy's logistic and its inverse."""
    shares = 0.001 + 0.998 * np.linspace(0, 1, 41)
    middle = logit(0.001 + 0.998 * pivot / 100)
    curve = expit(contrast * (logit(shares) - middle) + middle)
    wanted = 100 * (curve - curve[0]) / (curve[-1] - curve[0])
    found = [grade_function(grade, pivot)(value) for value in np.linspace(0, 100, 41)]
    assert found == pytest.approx(wanted, abs=1e-9)


# Tone curve.

RPN_14 = (
    (7.99, 0.0),
    (8.09, 2.76429e-5),
    (8.19, 4.37498e-2),
    (8.7, 0.169183),
    (9.2, 0.469428),
    (10.0, 0.943740),
    (12.0, 0.998636),
    (15.0, 0.999919),
    (20.0, 0.999994),
)
"""Radiochemical data of Fritsch and Carlson, SIAM J. Numer. Anal. 17(2), 1980."""


@pytest.mark.parametrize(
    ("x", "y"),
    [
        (8.04, 6.9151e-6),
        (8.5, 0.116633),
        (9, 0.337534),
        (9.5, 0.685218),
        (11, 0.986043),
        (13, 0.999362),
    ],
)
def test_published_data_set(x: float, y: float) -> None:
    """Values by scipy 1.17.1; a natural spline gives 1.099 at 11 and -0.0044 at 8.04."""
    assert MonotoneCurve(RPN_14)(x) == pytest.approx(y, rel=1e-5)


def difference_from_scipy(points: list[tuple[float, float]]) -> float:
    x, y = zip(*points, strict=True)
    places = np.linspace(x[0], x[-1], 301)
    ours = [MonotoneCurve(points)(place) for place in places]
    return float(np.max(np.abs(PchipInterpolator(x, y)(places) - ours)))


def test_published_data_set_against_scipy() -> None:
    assert difference_from_scipy(list(RPN_14)) < 1e-9


@st.composite
def curves(draw: st.DrawFn) -> list[tuple[float, float]]:
    """Points of a tone curve: L* in rises by at least 0.1, L* out never falls."""
    count = draw(st.integers(2, 12))
    x = draw(st.lists(st.integers(0, 1000), min_size=count, max_size=count, unique=True))
    y = draw(st.lists(st.integers(0, 1000), min_size=count, max_size=count))
    return [(a / 10, b / 10) for a, b in zip(sorted(x), sorted(y), strict=True)]


@given(curves())
def test_curves_against_scipy(points: list[tuple[float, float]]) -> None:
    assert difference_from_scipy(points) < 1e-9


@given(curves(), st.floats(0, 100), st.floats(0, 100))
def test_a_curve_never_falls_and_never_overshoots(
    points: list[tuple[float, float]], one: float, other: float
) -> None:
    curve = MonotoneCurve(points)
    dark, light = sorted((one, other))
    assert curve(dark) <= curve(light) + 1e-9
    for (x0, y0), (x1, y1) in pairwise(points):
        if x0 <= dark <= x1:
            assert y0 - 1e-9 <= curve(dark) <= y1 + 1e-9


@given(curves())
def test_a_curve_goes_through_its_points_and_is_level_beyond(
    points: list[tuple[float, float]],
) -> None:
    curve = MonotoneCurve(points)
    assert [curve(x) for x, _ in points] == [y for _, y in points]
    assert curve(points[0][0] - 1) == points[0][1]
    assert curve(points[-1][0] + 1) == points[-1][1]


@given(st.floats(0, 100))
def test_two_points_make_a_straight_line(value: float) -> None:
    assert MonotoneCurve([(0, 0), (100, 100)])(value) == pytest.approx(value, abs=1e-12)
    assert MonotoneCurve([(0, 10), (100, 60)])(value) == pytest.approx(10 + value / 2, abs=1e-12)


def test_a_level_stretch_stays_level() -> None:
    curve = MonotoneCurve([(0, 0), (20, 30), (60, 30), (100, 100)])
    assert {curve(20 + step) for step in range(41)} == {30}


@pytest.mark.parametrize(
    "points",
    [
        [],
        [(0, 0)],
        [(0, 0), (0, 100)],
        [(50, 0), (0, 100)],
        [(0, 100), (100, 0)],
    ],
)
def test_points_that_make_no_curve(points: list[tuple[float, float]]) -> None:
    with pytest.raises(ValueError, match="curve points must rise"):
        MonotoneCurve(points)
