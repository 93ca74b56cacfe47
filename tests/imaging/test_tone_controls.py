"""Pivot, split grade, end points and ladders: numbers, and the prints they make."""

import tomllib
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomli_w
from hypothesis import given
from hypothesis import strategies as st

from pictures import job, make, picture_of, printed, save
from plans import NEUTRAL_TONE
from plans import job as job_of
from sightsize.checks.run import check_ids
from sightsize.imaging.stages.tone import ToneScale, tone_function
from sightsize.job.load import load_job
from sightsize.model.settings import SplitGrade
from sightsize.numbers.tones import (
    end_points_function,
    grade_function,
    lightness,
    luminance,
    smoothstep,
    split_grade_function,
    split_grade_rises,
)
from sightsize.plan.arrange import arrange

# The pivot.


@given(st.floats(0, 5), st.floats(5, 95))
def test_a_grade_leaves_its_pivot_alone(grade: float, pivot: float) -> None:
    assert grade_function(grade, pivot)(pivot) == pytest.approx(pivot, abs=0.45)


@given(st.floats(0, 5), st.floats(35, 80))
def test_a_pivot_on_skin_stays_within_a_fifth(grade: float, pivot: float) -> None:
    assert grade_function(grade, pivot)(pivot) == pytest.approx(pivot, abs=0.2)


@given(st.floats(0, 5), st.floats(5, 95))
def test_a_grade_rises_and_keeps_its_ends(grade: float, pivot: float) -> None:
    paper = grade_function(grade, pivot)
    values = [paper(float(each)) for each in range(101)]
    assert all(low < high for low, high in pairwise(values))
    assert (values[0], values[-1]) == pytest.approx((0, 100), abs=1e-9)


# Split grade.


@given(st.floats(0, 5), st.floats(5, 95))
def test_one_grade_twice_is_that_grade(grade: float, pivot: float) -> None:
    both = split_grade_function(SplitGrade(dark=grade, light=grade, start=30, end=70), pivot)
    single = grade_function(grade, pivot)
    assert [both(each) for each in (5, 40, 60, 93)] == pytest.approx(
        [single(each) for each in (5, 40, 60, 93)]
    )


def test_each_grade_has_its_own_end() -> None:
    both = split_grade_function(SplitGrade(dark=4, light=1, start=30, end=70))
    hard, soft = grade_function(4), grade_function(1)
    for each in (0, 10, 25, 30):
        assert both(each) == pytest.approx(hard(each))
    for each in (70, 85, 100):
        assert both(each) == pytest.approx(soft(each))
    assert both(50) == pytest.approx((hard(50) + soft(50)) / 2)
    # A quarter of the way, 3 x 1/16 - 2 x 1/64 = 0.15625 of the light grade: a smooth passage.
    assert both(40) == pytest.approx(0.84375 * hard(40) + 0.15625 * soft(40))


@given(st.floats(0, 5), st.floats(0, 5), st.floats(0, 90), st.floats(1, 60), st.floats(5, 95))
def test_what_is_let_through_keeps_the_order_of_tones(
    dark: float, light: float, start: float, width: float, pivot: float
) -> None:
    grades = SplitGrade(dark=dark, light=light, start=start, end=start + width)
    if split_grade_rises(grades, pivot):
        both = split_grade_function(grades, pivot)
        fine = [both(step / 40) for step in range(4001)]
        assert min(high - low for low, high in pairwise(fine)) > -1e-3


def test_grades_that_would_turn_tones_over_are_found() -> None:
    assert split_grade_rises(SplitGrade(dark=5, light=0, start=20, end=80))
    assert not split_grade_rises(SplitGrade(dark=5, light=0, start=70, end=75))


def test_smoothstep() -> None:
    # 3 t^2 - 2 t^3, the cubic Hermite between two level ends.
    assert [smoothstep(each) for each in (-1, 0, 0.25, 0.5, 1, 2)] == [0, 0, 0.15625, 0.5, 1, 1]


# Black and white point.


@given(st.floats(0, 40), st.floats(60, 100))
def test_end_points_are_exact_and_straight(black: float, white: float) -> None:
    ends = end_points_function(black, white)
    assert (ends(black), ends(white)) == pytest.approx((0, 100), abs=1e-9)
    assert ends((black + white) / 2) == pytest.approx(50)
    assert (ends(0), ends(100)) == pytest.approx((0, 100), abs=1e-9)


def test_end_points_come_after_the_exposure() -> None:
    tone = replace(NEUTRAL_TONE, exposure_stops=1.0)
    scale = ToneScale(tone, black=10.0, white=90.0)
    assert tone_function(scale)(0.09) == pytest.approx(100 * (lightness(0.18) - 10) / 80, abs=1e-9)


def ramp(width: int = 400, height: int = 200) -> Any:
    """A ramp of L* 10 to 90 across; below and above it bands that no opening shows."""
    codes = [round(255 * _encoded(luminance(10 + 80 * (x + 0.5) / width))) for x in range(width)]
    pixels = np.tile(np.array(codes, np.uint8)[None, :, None], (height, 1, 3))
    pixels[:20] = 0
    pixels[-20:] = 255
    return pixels


def _encoded(light: float) -> float:
    return 12.92 * light if light <= 0.0031308 else float(1.055 * light ** (1 / 2.4) - 0.055)


def test_shares_are_those_of_the_opening_alone(tmp_path: Path) -> None:
    # The bands at top and bottom, wholly black and white, lie behind the mat.
    source = save(tmp_path / "ramp.tif", ramp())
    tone = {"black_point": {"share": 0.10}, "white_point": {"share": 0.05}}
    aperture = {"width": "40 mm", "height": "15 mm", "overlap": {
        "top": "2.5 mm", "bottom": "2.5 mm", "left": "0 mm", "right": "0 mm"}}  # fmt: skip
    file = printed(tmp_path, source, (400, 200), tone=tone, aperture=aperture)
    inside = picture_of(file, (400, 200))[30:-30, :, 0]
    assert (inside == 0).mean() == pytest.approx(0.10, abs=0.01)
    assert (inside == 255).mean() == pytest.approx(0.05, abs=0.01)


def test_a_single_tone_has_no_shares(tmp_path: Path) -> None:
    source = save(tmp_path / "grey.tif", np.full((100, 100, 3), 118, np.uint8))
    tables = {"tone": {"black_point": {"share": 0.1}, "white_point": {"share": 0.1}}}
    (outcome,) = make(job(tmp_path, {"grey": {"source": source.name}}, (100, 100), **tables))
    assert outcome.status == "failed"
    assert outcome.message.startswith("the opening has only one tone")


# Ladders.


LADDER = """
[aperture]
width = "143 mm"
height = "198 mm"
[paper]
size = "10x8 in"
[tone]
exposure = 0.5
split_grade = { dark = 3, light = 1 }
[delivery]
name = "cox"
[[prints]]
source = "cox.jpg"
"""


def test_a_ladder_is_every_combination() -> None:
    made = job_of(LADDER + "ladder = { exposure = [-0.25, 0, 0.25], grade = [2, 3.5] }\n")
    assert [each.name for each in arrange(made)] == [
        f"cox-{exposure}-{grade}.jpg"
        for exposure in ("minus0.25", "plus0", "plus0.25")
        for grade in ("grade2", "grade3.5")
    ]
    assert [each.number for each in made.prints] == list(range(1, 7))
    assert [each.look.tone.exposure_stops for each in made.prints] == [0.25] * 2 + [0.5] * 2 + [
        0.75
    ] * 2
    assert [each.look.tone.grade for each in made.prints] == [2, 3.5] * 3
    assert {each.look.tone.split_grade for each in made.prints} == {None}


def test_a_ladder_of_filters() -> None:
    made = job_of(LADDER + 'mono = true\nladder = { filter = ["none", "yellow_green", "red"] }\n')
    assert [each.step for each in made.prints] == ["nofilter", "yellowgreen", "red"]
    assert [each.look.mono.filter for each in made.prints if each.look.mono] == [
        "none",
        "yellow_green",
        "red",
    ]
    assert made.prints[0].look.tone.split_grade == SplitGrade(dark=3, light=1, start=30, end=70)


def test_the_step_stands_where_the_name_wants_it() -> None:
    text = LADDER.replace('"cox"', '"{step}-{picture}"')
    made = job_of(text + "ladder = { grade = [1] }\n")
    assert [each.name for each in arrange(made)] == ["grade1-cox.jpg"]


def test_a_print_without_a_ladder_has_no_step() -> None:
    (only,) = arrange(job_of(LADDER))
    assert (only.name, only.request.step) == ("cox.jpg", "")


def test_a_ladder_of_exposures_gets_lighter(tmp_path: Path) -> None:
    source = save(tmp_path / "grey.tif", np.full((64, 64, 3), 100, np.uint8))
    facts = {"grey": {"source": source.name}}
    made = job(tmp_path, facts, (64, 64))
    values = tomllib.loads(made.path.read_text(encoding="utf-8"))
    values["prints"][0]["ladder"] = {"exposure": [-0.5, 0, 0.5]}
    made.path.write_text(tomli_w.dumps(values), encoding="utf-8")
    outcomes = make(load_job(made.path, check_ids()))
    assert [each.status for each in outcomes] == ["made"] * 3
    files = [made.output / each.planned.name for each in outcomes]
    means = [picture_of(file, (64, 64)).mean() for file in files]
    assert means[0] < means[1] == pytest.approx(100, abs=0.1)
    assert means[1] < means[2]
