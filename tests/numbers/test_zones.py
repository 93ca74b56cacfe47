"""Zone placement: the patch comes out where it was put, after grade and curve."""

from dataclasses import replace
from itertools import pairwise
from math import log
from pathlib import Path

import colour
import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from pictures import Pixels, job, make, picture_of, printed, save
from plans import NEUTRAL_TONE
from sightsize.errors import ZoneError
from sightsize.imaging.stages.tone import ToneScale, tone_function
from sightsize.imaging.stages.tone import paper_function as printed_on_paper
from sightsize.numbers.tones import lightness, luminance
from sightsize.numbers.zones import Placement, place, placement_function


def unchanged(value: float) -> float:
    return value


@given(st.floats(5, 98), st.floats(0.5, 9.5))
def test_one_patch_lands_on_its_zone(value: float, zone: float) -> None:
    # Common practice, no source: a zone of a print is ten L*.
    placed = placement_function(place([(luminance(value), zone)], unchanged))
    assert lightness(placed(luminance(value))) == pytest.approx(10 * zone, abs=0.05)


def test_one_patch_moves_the_exposure_alone() -> None:
    # Adams, The Negative, 1981 (from memory): placing one value shifts all others with it.
    found = place([(0.09, 5)], unchanged)
    assert found.power == 1
    assert found.gain == pytest.approx(luminance(50) / 0.09)


@given(st.floats(10, 45), st.floats(55, 95), st.floats(-6, 6), st.floats(-4, 4))
def test_two_patches_land_on_their_zones(
    dark: float, light: float, less: float, more: float
) -> None:
    # Moved by no more than this, two tones so far apart can always be placed.
    low, high = max(dark + less, 5), min(light + more, 95)
    power = log(luminance(high) / luminance(low)) / log(luminance(light) / luminance(dark))
    assume(0.65 < power < 1.75)
    placement = place([(luminance(dark), low / 10), (luminance(light), high / 10)], unchanged)
    assert 0.6 <= placement.power <= 1.8
    placed = placement_function(placement)
    assert lightness(placed(luminance(dark))) == pytest.approx(low, abs=0.05)
    assert lightness(placed(luminance(light))) == pytest.approx(high, abs=0.05)


def test_patches_where_they_are_change_nothing() -> None:
    found = place([(luminance(30), 3), (luminance(80), 8)], unchanged)
    assert (found.gain, found.power) == pytest.approx((1, 1))


@given(st.floats(0.2, 8), st.floats(0.6, 1.8))
def test_the_shoulder_rises_and_ends_at_paper_white(gain: float, power: float) -> None:
    placed = placement_function(Placement(gain, power))
    values = [placed(step / 400) for step in range(401)]
    assert all(low <= high for low, high in pairwise(values))
    assert values[-1] <= 1 + 1e-12
    if gain > 1:
        assert values[-1] == pytest.approx(1)


def test_the_shoulder_leaves_zone_eight_without_a_kink() -> None:
    placed = placement_function(Placement(2.0, 1.0))
    foot = luminance(80) / 2
    below, at, above = (lightness(placed(foot * (1 + step))) for step in (-1e-4, 0, 1e-4))
    assert at == pytest.approx(80, abs=1e-9)
    assert (above - at) / (at - below) == pytest.approx(1, abs=0.01)


@pytest.mark.parametrize(
    ("patches", "words"),
    [
        ([(0.0, 5)], "solid black"),
        ([(1.0, 5)], "blank white"),
        ([(0.2, 3), (0.2, 6)], "same tone"),
        # CIE 15: a luminance of 0.2 has L* 51.8, 0.21 has 52.9, 0.24 has 56.1, 0.5 has 76.1.
        (
            [(0.2, 6), (0.21, 3)],
            r"measure L\* 51\.8 and L\* 52\.9, almost the same tone; choose patches",
        ),
        (
            [(0.2, 1), (0.24, 8)],
            r"measure L\* 51\.8 and L\* 56\.1, and their zones ask for \d+\.\d\d times that",
        ),
        (
            [(0.2, 6), (0.5, 3)],
            r"measure L\* 51\.8 and L\* 76\.1, and the lighter patch has the lower zone; give",
        ),
        ([(0.5, 3), (0.2, 6)], r"L\* 76\.1 and L\* 51\.8, and the lighter patch has the lower"),
    ],
)
def test_patches_that_cannot_be_placed(patches: list[tuple[float, float]], words: str) -> None:
    with pytest.raises(ZoneError, match=words):
        place(patches, unchanged)


@pytest.mark.parametrize(
    ("contrast", "printable"), [(0.59, False), (0.61, True), (1.79, True), (1.81, False)]
)
def test_contrast_that_can_be_printed(contrast: float, printable: bool) -> None:
    # From 0.6 to 1.8 times: common practice, no source. The patches are a stop apart; the zone of
    # the lighter by CIE 15.
    lighter = colour.lightness(100 * luminance(40) * 2**contrast, method="CIE 1976") / 10
    patches = [(0.1, 4.0), (0.2, float(lighter))]
    if printable:
        assert place(patches, unchanged).power == pytest.approx(contrast)
    else:
        with pytest.raises(ZoneError, match=f"ask for {contrast:.2f} times that contrast"):
            place(patches, unchanged)


@pytest.mark.parametrize(
    ("apart", "words"), [(1.9, "almost the same tone"), (2.1, "their zones ask")]
)
def test_two_tones_are_one_below_two_of_lightness(apart: float, words: str) -> None:
    # Common practice, no source.
    with pytest.raises(ZoneError, match=words):
        place([(luminance(50), 3), (luminance(50 + apart), 8)], unchanged)


def test_next_to_black_there_is_nothing_to_place() -> None:
    # Light of 0.00001, an L* of 0.009 (CIE 15: 903.3 Y): common practice, no source.
    with pytest.raises(ZoneError, match="solid black"):
        place([(0.99e-5, 5)], unchanged)
    placed = placement_function(place([(1.01e-5, 5)], unchanged))
    assert lightness(placed(1.01e-5)) == pytest.approx(50, abs=0.05)


def test_a_curve_that_never_prints_the_zone() -> None:
    tone = replace(NEUTRAL_TONE, curve=((0.0, 20.0), (100.0, 90.0)))
    with pytest.raises(ZoneError, match="from L\\* 20 to 90"):
        place([(0.2, 1)], printed_on_paper(tone))


def test_grade_and_curve_are_taken_into_account() -> None:
    tone = replace(NEUTRAL_TONE, grade=4.0, curve=((0.0, 0.0), (50.0, 55.0), (100.0, 100.0)))
    placement = place([(0.1, 6)], printed_on_paper(tone))
    assert tone_function(ToneScale(tone, placement=placement))(0.1) == pytest.approx(60, abs=0.02)


def wall(tones: tuple[int, int]) -> Pixels:
    """Two grey halves, one above the other."""
    pixels = np.empty((200, 160, 3), np.uint8)
    pixels[:100], pixels[100:] = tones
    return pixels


def test_patches_of_a_picture_come_out_on_their_zones(tmp_path: Path) -> None:
    source = save(tmp_path / "wall.tif", wall((60, 190)))
    zones = [{"at": [0.5, 0.25], "zone": 3.0}, {"at": [0.5, 0.75], "zone": 7.5, "size": 0.1}]
    file = printed(
        tmp_path, source, (160, 200), {"zones": zones}, mono={"filter": "none"},
        tone={"grade": 3.0, "exposure": -0.5},
    )  # fmt: skip
    found = picture_of(file, (160, 200))[..., 0].astype(float)
    seen = [lightness(_light(found[rows].mean())) for rows in (slice(20, 80), slice(120, 180))]
    assert seen == pytest.approx([30, 75], abs=0.25)


def test_zones_mean_the_same_at_every_size(tmp_path: Path) -> None:
    source = save(tmp_path / "wall.tif", wall((60, 190)))
    zones = [{"at": [0.5, 0.25], "zone": 4.0}]
    means = [
        picture_of(printed(tmp_path, source, px, {"zones": zones}), px)[..., 0].mean(axis=1)[10]
        for px in ((160, 200), (80, 100), (320, 400))
    ]
    assert max(means) - min(means) < 0.2


def test_a_black_patch_is_refused_in_words(tmp_path: Path) -> None:
    source = save(tmp_path / "wall.tif", wall((0, 190)))
    facts = {"source": source.name, "zones": [{"at": [0.5, 0.2], "zone": 3.0}]}
    (outcome,) = make(job(tmp_path, {"wall": facts}, (160, 200)))
    assert outcome.status == "failed"
    assert outcome.message.startswith("zones of wall: a patch is solid black")
    assert list((tmp_path / "prints").iterdir()) == []


def _light(code: float) -> float:
    value = code / 255
    return value / 12.92 if value <= 0.04045 else float(((value + 0.055) / 1.055) ** 2.4)
