"""Tone tools on colour prints: lightness moves, hue stays; what no output shows is counted."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import colour
import numpy as np
import pytest
import pyvips
from numpy.typing import NDArray

from icc_profiles import built_in, oprgb
from pictures import job, make, patch_means, patches, picture_of, printed, save, save_16
from plans import request
from sightsize.checks.run import all_checks, check_ids
from sightsize.imaging.colour.gamut import missed_share

D65 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]

OPENING = '[aperture]\nwidth = "143 mm"\nheight = "198 mm"\n[paper]\nsize = "10x8 in"\n'


def colour_checker() -> NDArray[np.uint8]:
    """The 24 patches of the ColorChecker as colour-science ships them, inside sRGB, 8 bits."""
    chart = colour.CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"]
    xyz = colour.xyY_to_XYZ(np.array(list(chart.data.values())))
    rgb = colour.XYZ_to_sRGB(xyz, chart.illuminant, "Bradford")
    return np.asarray((rgb.clip(0.02, 0.98) * 255).round().astype(np.uint8))


def hue_and_chroma(codes: NDArray[Any]) -> tuple[NDArray[Any], NDArray[Any]]:
    lab = colour.XYZ_to_Lab(colour.sRGB_to_XYZ(np.asarray(codes, float) / 255), D65)
    return np.degrees(np.arctan2(lab[:, 2], lab[:, 1])), np.hypot(lab[:, 1], lab[:, 2])


TONES: dict[str, dict[str, Any]] = {
    "lighter": {"tone": {"exposure": 0.7}},
    "darker": {"tone": {"exposure": -0.7}},
    "hard": {"tone": {"grade": 4.0}},
    "soft": {"tone": {"grade": 0.5}},
    "split": {"tone": {"split_grade": {"dark": 3.5, "light": 1.0}}},
    "ends": {"tone": {"black_point": 6, "white_point": 92}},
    "zone": {"pictures": {}},
}


@pytest.mark.parametrize("name", TONES)
def test_no_hue_turns(tmp_path: Path, name: str) -> None:
    # CIELAB hue angles of the ColorChecker, before and after, by colour-science.
    chart = colour_checker()
    source = save(tmp_path / "chart.tif", patches(chart, 6, 32))
    px = (192, 128)
    facts = {"zones": [{"at": [0.08, 0.12], "zone": 6.0}]} if name == "zone" else {}
    tables = {} if name == "zone" else TONES[name]
    found = patch_means(picture_of(printed(tmp_path, source, px, facts, **tables), px), 32)
    before, chroma = hue_and_chroma(chart)
    after, left = hue_and_chroma(found)
    coloured = (chroma > 8) & (left > 8)
    assert coloured.sum() >= 15
    turn = np.abs((after - before + 180) % 360 - 180)[coloured]
    assert turn.max() < 2


def test_brightening_a_strong_colour_does_not_cut_a_channel(tmp_path: Path) -> None:
    # Cut at 255 the red of an orange stays while its green rises: its hue would turn to yellow.
    orange = np.array([[250, 120, 20]], np.uint8)
    source = save(tmp_path / "orange.tif", patches(orange, 1, 64))
    file = printed(tmp_path, source, (64, 64), tone={"exposure": 1.0})
    (found,) = patch_means(picture_of(file, (64, 64)), 64)
    (before,), _ = hue_and_chroma(orange)
    (after,), _ = hue_and_chroma(found[None])
    assert abs(after - before) < 2
    linear = colour.sRGB_to_XYZ(orange[0] / 255.0)[1]
    assert colour.sRGB_to_XYZ(found / 255.0)[1] == pytest.approx(2 * linear, rel=0.02)


# The gamut report.


def share_missed(light: list[list[float]]) -> float:
    pixels = np.array(light, np.float32)[None]
    return missed_share(pyvips.Image.new_from_array(pixels), request(OPENING).delivery)


def test_what_srgb_holds_is_not_missed() -> None:
    assert share_missed([[0, 0, 0], [1, 1, 1], [1, 0, 0], [0.2, 0.5, 0.1]]) == 0


def test_what_lies_outside_counts_from_three_de00_up() -> None:
    # CIEDE2000 by colour-science of the colour against what sRGB leaves of it.
    wanted = np.array([[-0.4, 1.0, -0.05], [0.5, 0.5, -0.004], [1.02, 0.9, 0.8], [1.6, 0.2, 0.1]])

    def lab(rgb: NDArray[np.float64]) -> Any:
        matrix = colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ
        return colour.XYZ_to_Lab(rgb @ matrix.T, D65)

    off = colour.delta_E(lab(wanted), lab(wanted.clip(0, 1)), method="CIE 2000")
    assert np.abs(off - 3).min() > 0.3  # none so near that rounding decides
    assert share_missed(wanted.tolist()) == pytest.approx((off > 3).mean())


@pytest.mark.parametrize(
    ("inside", "outside"),
    [
        ([0.0, 0.5, 0.0], [-0.5, 0.6, -0.05]),
        ([0.9, 0.8, 0.5], [1.6, 0.8, 0.5]),
        ([0.3, 0.0, 0.2], [0.3, -0.2, 0.2]),
        ([0.1, 0.1, 0.9], [0.1, 0.1, 2.0]),
    ],
)
def test_three_de00_is_the_limit(inside: list[float], outside: list[float]) -> None:
    # Colours on a line out of sRGB that colour-science puts just below and just above the limit.
    def on_the_line(difference: float) -> list[float]:
        near, far = 0.0, 1.0
        for _ in range(50):
            middle = (near + far) / 2
            less = clipped_by(mixed(inside, outside, middle)) < difference
            near, far = (middle, far) if less else (near, middle)
        return list(mixed(inside, outside, near))

    assert clipped_by(np.array(outside)) > 3.1
    assert share_missed([on_the_line(2.97)]) == 0
    assert share_missed([on_the_line(3.03)]) == 1


def mixed(one: list[float], other: list[float], share: float) -> NDArray[np.float64]:
    return np.array(one) * (1 - share) + np.array(other) * share


def clipped_by(light: NDArray[np.float64]) -> float:
    """CIEDE2000 between linear sRGB and what is left of it from 0 to 1, by colour-science."""
    matrix = colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ
    one, other = (colour.XYZ_to_Lab(each @ matrix.T, D65) for each in (light, light.clip(0, 1)))
    return float(colour.delta_E(one, other, method="CIE 2000"))


def test_a_profile_is_asked_through_itself(tmp_path: Path) -> None:
    profile = tmp_path / "oprgb.icc"
    profile.write_bytes(oprgb())
    wide = replace(request(OPENING).delivery, profile=str(profile))
    green = pyvips.Image.new_from_array(np.array([[[-0.3, 0.98, -0.03]]], np.float32))
    assert missed_share(green, request(OPENING).delivery) == 1
    assert missed_share(green, wide) == 0


def test_a_print_says_how_much_it_misses(tmp_path: Path) -> None:
    # Half of the opening is the full green of opRGB (IEC 61966-2-5), which sRGB does not have.
    pixels = np.full((100, 200, 3), 30000, np.uint16)
    pixels[:, :100] = (0, 65535, 0)
    source = save_16(tmp_path / "wide.tif", pixels, oprgb())
    checks = {"accept": sorted(check_ids() - {"gamut"})}
    (outcome,) = make(job(tmp_path, {"wide": {"source": source.name}}, (200, 100), checks=checks))
    assert outcome.status == "made"
    (note,) = outcome.findings
    said = note.sentence()
    assert said.startswith("warn [gamut]")
    assert "50.0% of the opening" in said
    assert "perceptual" not in said  # libvips' own sRGB profile knows one way only


def test_nothing_is_said_of_what_fits(tmp_path: Path) -> None:
    source = save(tmp_path / "chart.tif", patches(colour_checker(), 6, 16))
    (outcome,) = make(job(tmp_path, {"chart": {"source": source.name}}, (96, 64)))
    assert outcome.findings == ()


# The clipping report.


@pytest.mark.parametrize(("code", "word"), [(255, "blank white"), (0, "solid black")])
@pytest.mark.parametrize("format_name", ["tiff", "jpeg"])
def test_clipped_areas_of_the_opening_are_reported(
    tmp_path: Path, code: int, word: str, format_name: str
) -> None:
    pixels = np.full((256, 256, 3), 120, np.uint8)
    pixels[64:192, 64:192] = code
    source = save(tmp_path / "window.tif", pixels)
    facts = {"window": {"source": source.name}}
    delivery = {"format": format_name, "quality": 95}
    checks = {"accept": sorted(check_ids() - {"clipping"})}
    made = job(tmp_path, facts, (256, 256), delivery=delivery, checks=checks)
    (outcome,) = make(made)
    (note,) = outcome.findings
    said = note.sentence()
    assert said.startswith("warn [clipping]")
    assert word in said
    share = float(said.split("%")[0].rpartition(" ")[2])
    assert share == pytest.approx(25, abs=3)


def test_specks_and_what_the_mat_hides_are_not_clipped(tmp_path: Path) -> None:
    pixels = np.full((256, 256, 3), 120, np.uint8)
    pixels[:40] = 255  # behind the mat
    pixels[100:104, ::20] = 255  # glints
    source = save(tmp_path / "glints.tif", pixels)
    aperture = {"width": "25.6 mm", "height": "17.6 mm", "overlap": {
        "top": "4 mm", "bottom": "4 mm", "left": "0 mm", "right": "0 mm"}}  # fmt: skip
    made = job(tmp_path, {"glints": {"source": source.name}}, (256, 256), aperture=aperture)
    (outcome,) = make(made)
    assert outcome.status == "made", outcome.message
    assert outcome.findings == ()


def test_the_threshold_is_a_key(tmp_path: Path) -> None:
    pixels = np.full((256, 256, 3), 255, np.uint8)
    source = save(tmp_path / "white.tif", pixels)
    facts = {"white": {"source": source.name}}
    (outcome,) = make(
        job(tmp_path, facts, (256, 256), checks={"clipping_warn": 1.0, "clipping_refuse": 1.0})
    )
    assert outcome.findings == ()


# A toner through the whole chain.


def test_a_toned_print_keeps_the_lightness_of_the_neutral_one(tmp_path: Path) -> None:
    greys = np.repeat(np.arange(5, 250, 5, dtype=np.uint8)[:, None], 3, axis=1)
    source = save(tmp_path / "greys.tif", patches(greys, 7, 32))
    px = (224, 224)
    neutral, toned = (
        picture_of(printed(tmp_path, source, px, mono={"filter": "none"}, toner=toner), px)
        for toner in ({}, {"kind": "sepia"})
    )
    assert (neutral[..., 0] == neutral[..., 1]).all()
    lab = [
        colour.XYZ_to_Lab(colour.sRGB_to_XYZ(patch_means(each, 32) / 255), D65)
        for each in (neutral, toned)
    ]
    assert np.abs(lab[1][:, 0] - lab[0][:, 0]).max() < 0.3
    hue = np.degrees(np.arctan2(lab[1][20:30, 2], lab[1][20:30, 1]))
    assert hue == pytest.approx(75, abs=2)


def test_a_profile_file_tones_alike(tmp_path: Path) -> None:
    profile = tmp_path / "srgb.icc"
    profile.write_bytes(built_in("srgb"))
    source = save(tmp_path / "grey.tif", np.full((64, 64, 3), 120, np.uint8))
    means = [
        picture_of(
            printed(
                tmp_path, source, (64, 64), mono={"filter": "none"}, toner={"kind": "sepia"},
                delivery={"profile": name},
            ),
            (64, 64),
        ).mean(axis=(0, 1))
        for name in ("srgb", profile.name)
    ]  # fmt: skip
    assert means[1] == pytest.approx(means[0], abs=0.3)


def test_strict_refuses_what_is_clipped_and_accept_lets_it_pass(tmp_path: Path) -> None:
    pixels = np.full((256, 256, 3), 255, np.uint8)
    source = save(tmp_path / "white.tif", pixels)
    facts = {"white": {"source": source.name}}
    others = check_ids() - {"clipping", "no-profile"}
    for accept, status in ((others, "failed"), (others | {"clipping"}, "made")):
        checks = {"strict": True, "accept": sorted(accept)}
        made = job(tmp_path, facts, (256, 256), checks=checks)
        (outcome,) = make(made, replace="altered too")
        assert outcome.status == status, outcome.message
        if status == "failed":
            assert "[clipping]" in outcome.message
            assert list(made.output.iterdir()) == []


@pytest.mark.parametrize(("code", "word"), [(255, "blank white"), (0, "solid black")])
def test_a_sheet_of_a_single_end_is_refused_unless_it_is_meant(
    tmp_path: Path, code: int, word: str
) -> None:
    pixels = np.full((256, 256, 3), code, np.uint8)
    pixels[:10] = 120
    facts = {"night": {"source": save(tmp_path / "night.tif", pixels).name}}
    for checks, status in (
        ({}, "failed"),
        ({"accept": sorted(check_ids())}, "made"),
        ({"clipping_refuse": 0.99}, "kept"),  # another threshold asks for no other print
    ):
        others = sorted(check_ids() - {"clipping"})
        made = job(tmp_path, facts, (256, 256), checks={"accept": others, **checks})
        (outcome,) = make(made, replace="altered too")
        assert outcome.status == status, outcome.message
        assert status == "kept" or any(
            word in each for each in (outcome.message, *(f.sentence() for f in outcome.findings))
        )
        if status == "failed":
            assert 'add "clipping" to checks.accept' in outcome.message
            assert list(made.output.iterdir()) == []


def test_the_reports_are_checks_with_help() -> None:
    assert {"clipping", "gamut"} <= check_ids()
    assert all_checks()["clipping"].guards_against
    assert all_checks()["gamut"].guards_against
