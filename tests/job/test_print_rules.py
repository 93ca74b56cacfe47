"""Rules over merged settings, and faults that one print must not pass on to the others."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from icc_profiles import built_in
from pictures import job, make, picture_of, printed, save
from plans import COX_MEGAPHONE, findings, request
from plans import job as job_of
from sightsize.errors import JobError
from sightsize.imaging import render as chain
from sightsize.imaging.source.open_upright import read_header
from sightsize.model.header import Header

SHEET = '[aperture]\nwidth = "143 mm"\nheight = "198 mm"\n[paper]\nsize = "10x8 in"\n'
PRINT = '[[prints]]\nsource = "cox.jpg"\n'


def refusal(text: str) -> str:
    with pytest.raises(JobError) as caught:
        job_of(text)
    (finding,) = caught.value.findings
    return finding.message


# Toners through the cascade.


def toner(job_table: str, print_table: str) -> Any:
    return request(
        f"{SHEET}[mono]\n[toner]\n{job_table}\n{PRINT}toner = {{ {print_table} }}\n"
    ).look.toner


def test_a_hue_changes_the_toner_of_the_job() -> None:
    found = toner('kind = "sepia"', "hue = 300")
    assert (found.dark.hue_degrees, found.dark.chroma) == (300, 12)


@pytest.mark.parametrize(
    "own", ["hue = 75\nchroma = 12", "dark = { hue = 75, chroma = 12 }", 'kind = "sepia"']
)
def test_a_nearer_kind_takes_the_place_of_all_of_it(own: str) -> None:
    assert not toner(own, 'kind = "none"').is_tinted
    assert toner(own, 'kind = "gold"').dark.hue_degrees == 260


def test_kind_and_hue_in_one_table_go_together() -> None:
    assert toner("", 'kind = "gold", hue = 40').light.hue_degrees == 40


def test_a_hue_without_chroma_is_told() -> None:
    assert "a hue needs chroma" in refusal(f"{SHEET}[mono]\n{PRINT}toner = {{ hue = 40 }}\n")


def test_a_chroma_without_hue_is_told() -> None:
    said = "chroma needs a hue"
    assert said in refusal(f"{SHEET}[mono]\n{PRINT}toner = {{ chroma = 12 }}\n")
    assert said in refusal(f'{SHEET}[mono]\n{PRINT}toner = {{ kind = "none", chroma = 12 }}\n')
    one_end = "{ chroma = 12, dark = { hue = 75, chroma = 9 } }"
    assert said in refusal(f"{SHEET}[mono]\n{PRINT}toner = {one_end}\n")


def test_a_chroma_takes_its_hue_from_the_job_or_from_the_kind() -> None:
    assert toner("hue = 75", "chroma = 12").dark.hue_degrees == 75
    assert toner("", 'kind = "sepia", chroma = 5').dark.hue_degrees == 75
    assert not toner("", "chroma = 0").is_tinted


# Grades through the cascade.


def test_a_pivot_may_turn_the_grades_of_the_job_over() -> None:
    grades = "[tone]\nsplit_grade = { dark = 0, light = 1, from = 45, to = 55 }\n"
    assert job_of(f"{SHEET}{grades}{PRINT}").prints
    assert "reverse the tones" in refusal(f"{SHEET}{grades}{PRINT}tone = {{ pivot = 95 }}\n")


def test_a_ladder_stays_within_the_range_of_exposures() -> None:
    text = f"{SHEET}[tone]\nexposure = 3.5\n{PRINT}ladder = {{ exposure = [0, 1] }}\n"
    assert "goes beyond 4 stops" in refusal(text)


# Profiles.


def test_a_file_that_is_no_profile_is_told_at_its_key(tmp_path: Path) -> None:
    (tmp_path / "lab.icc").write_bytes(b"not a profile at all")
    source = save(tmp_path / "grey.tif", np.full((40, 60, 3), 120, np.uint8))
    with pytest.raises(JobError) as caught:
        job(tmp_path, {"grey": {"source": source.name}}, (60, 40), delivery={"profile": "lab.icc"})
    (finding,) = caught.value.findings
    assert finding.key == "delivery.profile"
    assert "is damaged or not an ICC profile" in finding.message


@pytest.mark.parametrize(
    ("tables", "words"),
    [
        ({}, "holds no colour"),
        (
            {"mono": {"filter": "none"}, "toner": {"kind": "sepia"}},
            "cannot hold the toner's colour",
        ),
    ],
)
def test_a_grey_profile_by_its_path_is_grey_too(
    tmp_path: Path, tables: dict[str, Any], words: str
) -> None:
    (tmp_path / "lab.icc").write_bytes(built_in("sgrey"))
    source = save(tmp_path / "grey.tif", np.full((40, 60, 3), 120, np.uint8))
    facts = {"grey": {"source": source.name}}
    with pytest.raises(JobError, match=words):
        job(tmp_path, facts, (60, 40), delivery={"profile": "lab.icc"}, **tables)


# Density, marks without a picture, cameras.


@pytest.mark.parametrize("resolution", ["118 px/cm", "299.6 ppi"])
def test_a_jpeg_of_a_broken_density_is_delivered(tmp_path: Path, resolution: str) -> None:
    # JFIF 1.02 holds whole numbers; Exif beside it says the same.
    source = save(tmp_path / "grey.tif", np.full((40, 60, 3), 120, np.uint8))
    delivery = {"resolution": resolution, "format": "jpeg"}
    facts = {"grey": {"source": source.name}}
    (outcome,) = make(job(tmp_path, facts, (60, 40), delivery=delivery))
    assert outcome.status == "made", outcome.message


def test_marks_where_a_reveal_leaves_no_picture() -> None:
    text = (
        '[aperture]\nwidth = "50 mm"\nheight = "50 mm"\nreveal = "30 mm"\n[paper]\n'
        'size = "10x8 in"\n[[prints]]\npicture = "cox"\n[pictures.cox]\nsource = "cox.jpg"\n'
        "spotting = [{ at = [0.4, 0.3], radius = 0.002 }]\n"
    )
    assert "image-size" in {each.check for each in findings(text, COX_MEGAPHONE)}


def test_a_mark_below_a_pixel_is_told() -> None:
    text = (
        f'{SHEET}[[prints]]\npicture = "cox"\n[pictures.cox]\nsource = "cox.jpg"\n'
        "spotting = [{ at = [0.4, 0.3], radius = 0.0001 }]\n"
    )
    (found,) = [each for each in findings(text, COX_MEGAPHONE) if each.check == "tiny-mark"]
    assert "clears nothing" in found.message


def test_a_raw_table_of_a_jpeg_is_told() -> None:
    text = (
        f'{SHEET}[[prints]]\npicture = "cox"\n[pictures.cox]\nsource = "cox.jpg"\n'
        "raw = { exposure = 0.5 }\n"
    )
    assert "not-raw" in {each.check for each in findings(text, COX_MEGAPHONE)}


def header_of(folder: Path, name: str, model: str) -> Header:
    pixels = np.full((20, 30, 3), 120, np.uint8)
    image = Image.fromarray(pixels)
    block = Image.Exif()
    block[0x0110] = model
    block.get_ifd(0x8769)[0xA431] = "7031"
    image.save(folder / name, exif=block, icc_profile=built_in("srgb"))
    return read_header(folder / name)


@pytest.mark.parametrize("name", ["a.jpg", "a.tif", "a.png", "a.webp"])
@pytest.mark.parametrize("model", ["LB-2", "Tern 5 (Mark II)", "a (b) (c, ASCII, 2"])
def test_camera_names_of_every_format(tmp_path: Path, name: str, model: str) -> None:
    found = header_of(tmp_path, name, model)
    assert found.camera_model == model
    if name != "a.tif":  # where Pillow writes no Exif directory
        assert found.camera_serial == "7031"


# One print's fault.


def test_a_fault_of_the_program_fails_its_print_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    save(tmp_path / "a.tif", np.full((40, 60, 3), 120, np.uint8))
    save(tmp_path / "b.tif", np.full((40, 60, 3), 60, np.uint8))
    made = job(tmp_path, {"a": {"source": "a.tif"}, "b": {"source": "b.tif"}}, (60, 40))
    whole = chain.sheet_image

    def breaks_on_a(plan: Any) -> Any:
        if plan.request.look.picture.name == "a":
            raise KeyError("pivot")
        return whole(plan)

    monkeypatch.setattr("sightsize.delivery.encode.sheet_image", breaks_on_a)
    first, second = make(made)
    assert (first.status, second.status) == ("failed", "made")
    assert "a fault in sightsize (KeyError: 'pivot')" in first.message
    assert sorted(each.name for each in made.output.iterdir()) == ["b.tif"]


@pytest.mark.parametrize("px", [(1, 1), (1, 40), (40, 1), (3, 3)])
def test_the_smallest_prints_pass_every_stage(tmp_path: Path, px: tuple[int, int]) -> None:
    rng = np.random.default_rng(4)
    source = save(tmp_path / "tiny.tif", rng.integers(0, 255, (60, 60, 3)).astype(np.uint8))
    tables: dict[str, Any] = {
        "local_contrast": {"gain": 0.3},
        "sharpen": {
            "gain": 1.0,
            "noise_floor": "measured",
            "already_sharpened": "measured",
            "skin": 0.5,
        },
        "grain": {"granularity": 0.02},
        "tone": {"edge_burn": {"stops": 0.3}},
    }
    crop = {"crop": {"left": 0.0, "top": 0.0, "width": 1.0, "height": 1.0}}
    for mono in ({}, {"mono": {"filter": "none"}}):
        found = picture_of(printed(tmp_path, source, px, crop, **tables, **mono), px)
        assert found.shape[:2] == (px[1], px[0])


def test_a_wide_panorama_holds_a_zone(tmp_path: Path) -> None:
    source = save(tmp_path / "wide.tif", np.full((60, 600, 3), 100, np.uint8))
    facts = {"zones": [{"at": [0.5, 0.5], "zone": 5.0, "size": 0.4}]}
    found = picture_of(
        printed(tmp_path, source, (300, 30), facts, mono={"filter": "none"}), (300, 30)
    )
    assert found.mean() == pytest.approx(118.9, abs=0.5)  # L* 50 in sRGB
