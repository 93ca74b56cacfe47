"""Reports as whole texts: what a photographer reads before and after a run."""

import json
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from plans import (
    COX_MEGAPHONE,
    CREW_1926_PLATE,
    LAUNCH_ROOM,
    LOBBY_OAK,
    TROPHY_CABINET,
    file_of,
    header,
    job,
    planned_print,
)
from sightsize.base.findings import Finding
from sightsize.checks.run import check_ids
from sightsize.job.load import load_job
from sightsize.plan.arrange import arrange
from sightsize.report import dry_run
from sightsize.report import text as report
from sightsize.report.data import as_json, outcomes_data, prints_data
from sightsize.report.junit import junit_xml
from sightsize.report.text import finding_lines
from sightsize.run.planned_print import PlannedPrint
from sightsize.run.planner import plan_prints
from sightsize.run.worker import Outcome, failed

JOB = '[job]\nreference = "TQ-026"\n'

LOBBY_PRINT = f"""{JOB}{LOBBY_OAK}
[recipes.silver]
mono = {{ response = "panchromatic_film", filter = "orange" }}
tone = {{ exposure = 0.1, grade = 2.6, curve = [[0, 0], [4, 1], [50, 53], [100, 100]] }}
[pictures.cox-megaphone]
source = "pictures/cox-megaphone.jpg"
centre_on = [0.42, 0.38]
keep_clear = [{{ box = [0.30, 0.20, 0.20, 0.25], label = "face" }}]
[[prints]]
picture = "cox-megaphone"
frame = "lobby-oak"
recipe = "silver"
copies = 2
"""

LOBBY_TEXT = """\
print 1: cox-megaphone for lobby-oak, 2 copies
  source      cox-megaphone.jpg: 6000 x 4000 px JPEG, 8-bit rgb, sRGB, orientation 6 \
(upright 4000 x 6000)
  crop        4000 x 5269 px at (0, 0), loses 12.2%
  scale       magnification 0.561, effective 534 ppi, sharp from 163 mm, viewed from 300 mm
  clear       face 54 mm inside the opening's edge
  aperture    184.15 x 244.475 mm (7 1/4 x 9 5/8 in), overlap 3 mm
  image       190.15 x 250.475 mm (7.49 x 9.86 in), 2246 x 2958 px
  sheet       8x12 in (203.2 x 304.8 mm), 2400 x 3600 px at 300 ppi, lustre; oe_photo-s8r_8x12in
  offset      left 77, top 321 px = 6.5, 27.2 mm
  margins     top 321, right 77, bottom 321, left 77 px = 27.2, 6.5, 27.2, 6.5 mm
  off centre  0 mm across, 0 mm down
  rebate      305 x 406 mm (12.01 x 15.98 in), free: top 50.6, right 50.9, bottom 50.6, left 50.9 mm
  tone        mono panchromatic_film behind orange (filter factor 0.8 stops) = r g b \
0.570 0.385 0.046, exposure +0.1 stops, grade 2.6, 4 curve points
  sharpen     radius 0.1 mm = 1.18 px, gain 0.8, noise floor 0.8 L*
  output      prints/TQ-026-cox-megaphone-lobby-oak-12x8in.jpg, about 2.2 MB
  frame       moulding: 1598 mm of stick (62.91 in) makes this frame; keep hands clear of the \
mitre saw
  frame       print: hinge it, put no tape on it; where no mat keeps it off the glass, fit a spacer
  frame       glass: wear gloves, use no plate with a chipped edge; check that hook and wall bear \
the weight; local rules and the tools' instructions come first
  job.toml:6:14: note [crop-loss] frames.lobby-oak.aperture.width: the crop loses 12.2% of the \
picture."""


def texts(toml: str, picture: Any = None) -> str:
    return dry_run.plan_text(planned_print(toml, picture), job(toml))


def rows(toml: str, picture: Any = None) -> dict[str, str]:
    """The labelled rows of a print's account."""
    lines = texts(toml, picture).splitlines()[1:]
    return {line[2:14].strip(): line[14:] for line in lines}


# The dry run.


def test_a_dry_run_tells_every_number() -> None:
    assert texts(LOBBY_PRINT, COX_MEGAPHONE) == LOBBY_TEXT


def test_a_turned_colour_picture_with_uneven_edges_and_an_odd_pixel() -> None:
    toml = TROPHY_CABINET.replace(
        "[paper]",
        'reveal = { top = "6 mm", right = "6 mm", bottom = "8.125 mm", left = "6 mm" }\n[paper]',
    )
    picture = "level = -0.7\nkeep_clear = [{ box = [0, 0.5, 0.1, 0.1], label = 'rope' }]\n"
    table = f'[pictures.plate]\nsource = "plate.tif"\n{picture}[[prints]]\npicture = "plate"\n'
    found = rows(toml + table, header(2480, 3508, profile="", says_srgb=True))
    assert found["source"] == (
        "plate.tif: 2480 x 3508 px JPEG, 8-bit rgb, sRGB (stated by the file), orientation 1"
    )
    assert ", turned -0.7 degrees, loses " in found["crop"]
    assert found["clear"].startswith("rope ")
    assert found["clear"].endswith(" mm beyond the picture's edge")
    assert found["aperture"] == (
        "143 x 198 mm (5.63 x 7.80 in), reveal top 6, right 6, bottom 8.125, left 6 mm"
    )
    # 198 - 14.125 = 183.875 mm is 2171.8 px; 3000 - 2172 = 828 is even, 2400 - 1547 = 853 is odd.
    assert found["image"] == "131 x 183.875 mm (5.16 x 7.24 in), 1547 x 2172 px"
    assert found["off centre"] == "0.04 mm across, 0 mm down"
    assert found["tone"] == "colour, exposure +0 stops, grade 2, 2 curve points"


SHEET_LABELS = ("aperture", "image", "sheet", "offset", "margins", "off centre", "rebate")


def sheet_lines(text: str) -> list[str]:
    return [line for line in text.splitlines() if line[2:14].strip() in SHEET_LABELS]


def test_a_print_whose_picture_is_not_opened_is_told_by_its_sheet_and_its_findings() -> None:
    title, *known = texts(LOBBY_PRINT).splitlines()
    assert title == "print 1: cox-megaphone for lobby-oak, 2 copies"
    assert len(known) == len(SHEET_LABELS)
    assert known == sheet_lines(LOBBY_TEXT)
    narrow = LOBBY_PRINT.replace("12x8 in", "10x8 in")
    title, *known = texts(narrow).splitlines()
    assert title == "print 1: cox-megaphone for lobby-oak, 2 copies  REFUSED"
    assert [line.split()[1:3] for line in known[len(SHEET_LABELS) :]] == [
        ["refuse", "[sheet-margin]"],
    ]


def test_a_picture_that_a_reveal_leaves_nothing_of_is_refused_without_numbers() -> None:
    toml = TROPHY_CABINET.replace("[paper]", 'reveal = "80 mm"\n[paper]')
    assert texts(toml, COX_MEGAPHONE) == (
        "print 1: catch-four  REFUSED\n"
        "  aperture    143 x 198 mm (5.63 x 7.80 in), reveal 80 mm\n"
        "  sheet       8x10 in (203.2 x 254 mm), 2400 x 3000 px at 300 ppi, lustre; "
        "na_govt-letter_8x10in\n"
        "  job.toml:4:1: refuse [image-size] aperture.width: no picture is left in the opening. "
        "Reduce the reveal, or correct the opening."
    )


def test_a_refused_print_says_so_first() -> None:
    refused = texts(LAUNCH_ROOM + TROPHY_CABINET.replace("10x8", "8x6"), COX_MEGAPHONE)
    assert refused.startswith("print 1: catch-four  REFUSED\n")
    assert "refuse [off-sheet] paper.size: the picture runs off the sheet by " in refused


def test_mono_by_own_weights_without_a_filter() -> None:
    found = rows(TROPHY_CABINET + "[mono]\nresponse = [2, 5, 3]\n", COX_MEGAPHONE)
    assert found["tone"].startswith("mono own response = r g b 0.200 0.500 0.300, exposure")


SOURCE_STOP = Finding(level="refuse", check="source", message="there is no such file.")


def unreadable() -> PlannedPrint:
    return PlannedPrint(file_of(LOBBY_PRINT), None, (SOURCE_STOP,))


def test_an_unreadable_picture_is_told_in_full_and_in_a_line() -> None:
    assert dry_run.plan_text(unreadable(), job(LOBBY_PRINT)) == (
        "\n".join(
            ["print 1: cox-megaphone for lobby-oak, 2 copies  REFUSED", *sheet_lines(LOBBY_TEXT)]
        )
        + "\n  refuse [source] there is no such file."
    )
    assert dry_run.plan_line(unreadable()) == (
        "    1 TQ-026-cox-megaphone-lobby-oak-12x8in.jpg  the picture cannot be opened  1 refuse"
    )


def test_an_opening_without_a_picture_is_not_called_unreadable() -> None:
    toml = TROPHY_CABINET.replace("[paper]", 'reveal = "80 mm"\n[paper]')
    line = dry_run.plan_line(planned_print(toml, COX_MEGAPHONE))
    assert line == "    1 catch-four-10x8in.jpg  no picture left in the opening  1 refuse"


@pytest.mark.parametrize(
    ("size", "row", "total"),
    [
        # PWG 5101.1 lists 8x12 in and A4; no sheet of 250 x 330 mm or of 11 1/2 x 9 in is listed.
        ("12x8 in", "8x12 in (203.2 x 304.8 mm)", "8x12 in lustre (oe_photo-s8r_8x12in)"),
        ("304.8 x 203.2 mm", "8x12 in (203.2 x 304.8 mm)", "8x12 in lustre (oe_photo-s8r_8x12in)"),
        ("A4", "210x297 mm (8.27 x 11.69 in)", "210x297 mm lustre (iso_a4_210x297mm)"),
        ("250 x 330 mm", "250x330 mm (9.84 x 12.99 in)", "250x330 mm lustre"),
        ("11 1/2 x 9 in", "9 x 11 1/2 in (228.6 x 292.1 mm)", "9 x 11 1/2 in lustre"),
    ],
)
def test_a_sheet_is_told_by_its_size_and_then_by_a_standard_name(
    size: str, row: str, total: str
) -> None:
    toml = TROPHY_CABINET.replace("10x8 in", size)
    sheet = rows(toml, COX_MEGAPHONE)["sheet"]
    assert sheet.startswith(f"{row}, ")
    name = total.partition("(")[2].rstrip(")")
    assert sheet.endswith(f", lustre; {name}" if name else ", lustre")
    totals = dry_run.totals_text([planned_print(toml, COX_MEGAPHONE)])
    assert totals.splitlines()[1:] == [f"  1 x {total}"]
    wide = toml.replace("[paper]", '[paper]\norientation = "landscape"')
    wide = wide.replace('"143 mm"', '"100 mm"').replace('"198 mm"', '"100 mm"')
    turned = dry_run.totals_text([planned_print(wide, COX_MEGAPHONE)])
    assert turned.splitlines()[1:] == [f"  1 x {total}"]


def test_one_line_for_a_print() -> None:
    name = "TQ-026-cox-megaphone-lobby-oak-12x8in.jpg"
    sheet = "2246x2958 at (77,321) on 2400x3600"
    with_picture = dry_run.plan_line(planned_print(LOBBY_PRINT, COX_MEGAPHONE))
    assert with_picture == f"    1 {name}  {sheet}  loses 12.2%, 534 ppi  1 note"


def test_totals_count_what_will_be_made() -> None:
    good = planned_print(LOBBY_PRINT, COX_MEGAPHONE)
    cabinet = planned_print(TROPHY_CABINET, CREW_1926_PLATE)
    refused = planned_print(TROPHY_CABINET.replace("10x8", "8x6"), CREW_1926_PLATE)
    assert refused.refused
    assert dry_run.totals_text([good, cabinet, refused, unreadable()]) == (
        "2 files, 3 sheets, about 4.4 MB; 2 refused\n"
        "  1 x 8x10 in lustre (na_govt-letter_8x10in)\n"
        "  2 x 8x12 in lustre (oe_photo-s8r_8x12in)"
    )
    assert dry_run.totals_text([cabinet]).startswith("1 file, 1 sheet, about ")


# Plain data.


def test_data_hold_the_numbers_of_the_text() -> None:
    planned = planned_print(LOBBY_PRINT, COX_MEGAPHONE)
    (data,) = json.loads(as_json(prints_data([planned])))
    assert data["output"] == "TQ-026-cox-megaphone-lobby-oak-12x8in.jpg"
    (picture,) = data["pictures"]
    assert (picture["picture"], picture["frame"], picture["recipe"]) == (
        "cox-megaphone",
        "lobby-oak",
        "silver",
    )
    assert (data["number"], data["copies"], data["refused"]) == (1, 2, False)
    assert [each["check"] for each in data["findings"]] == ["crop-loss"]
    source, crop = picture["source"], picture["crop"]
    sheet, size, place = data["sheet"], picture["size"], picture["place"]
    assert (source["width_px"], source["height_px"], source["orientation"]) == (6000, 4000, 6)
    assert crop["box"] == {"left": 0, "top": 0, "width": 4000, "height": 5269}
    assert crop["exact"]["height"] == pytest.approx(4000 * 250.475 / 190.15, abs=1e-6)
    assert crop["crop_loss"] == pytest.approx(1 - 4 / 6 * 250.475 / 190.15, abs=1e-6)
    assert round(crop["magnification"], 3) == 0.561
    assert round(crop["effective_ppi"]) == 534
    assert round(crop["enough_from_mm"]) == 163
    assert crop["clearances"][0]["label"] == "face"
    assert round(crop["clearances"][0]["distance_mm"]) == 54
    assert picture["aperture"]["viewing_distance_mm"] == 300
    assert picture["aperture"]["overlap_mm"] == dict.fromkeys(("top", "right", "bottom", "left"), 3)
    assert picture["paper"]["surface"] == "lustre"
    assert size["opening_mm"] == [184.15, 244.475]
    assert (size["image_mm"], size["image_px"]) == ([190.15, 250.475], [2246, 2958])
    assert (sheet["size_mm"], sheet["size_px"]) == ([203.2, 304.8], [2400, 3600])
    assert (sheet["ppi"], sheet["media_name"]) == (300, "oe_photo-s8r_8x12in")
    assert place["box"] == {"left": 77, "top": 321, "width": 2246, "height": 2958}
    assert place["margins_px"] == {"top": 321, "right": 77, "bottom": 321, "left": 77}
    assert place["margins_mm"] == {"top": 27.1625, "right": 6.525, "bottom": 27.1625, "left": 6.525}
    assert place["residual_mm"] == [0, 0]
    assert picture["rebate_free_mm"] == {"top": 50.6, "right": 50.9, "bottom": 50.6, "left": 50.9}
    assert picture["tone"]["grade"] == 2.6
    assert round(picture["mono"]["filter_factor_stops"], 1) == 0.8
    assert round(picture["sharpen"]["sigma_px"], 2) == 1.18
    assert data["estimated_bytes"] == pytest.approx(2.2e6, abs=5e4)


def test_data_without_a_picture_or_a_plan() -> None:
    whole, unopened, refused = json.loads(
        as_json(
            prints_data(
                [
                    planned_print(LOBBY_PRINT, COX_MEGAPHONE),
                    planned_print(LOBBY_PRINT, None),
                    unreadable(),
                ]
            )
        )
    )
    assert unopened["refused"] is False
    assert refused["refused"] is True
    for data in (unopened, refused):
        (picture,), (opened,) = data["pictures"], whole["pictures"]
        assert picture.keys().isdisjoint({"source", "crop", "tone", "sharpen"})
        assert picture == {key: opened[key] for key in picture}
        assert data["sheet"] == whole["sheet"]
        assert data["estimated_bytes"] == whole["estimated_bytes"]


def test_data_name_a_profile_without_its_folder() -> None:
    planned = planned_print(LOBBY_PRINT, COX_MEGAPHONE)
    assert planned.plan is not None
    delivery = replace(planned.file.delivery, profile="/profiles/of/the/lab/lustre.icc")
    plan = replace(planned.plan, delivery=delivery)
    file = replace(planned.file, delivery=delivery)
    (data,) = prints_data([PlannedPrint(file, plan, ())])
    assert data["delivery"]["profile"] == "lustre.icc"


# After a run.


def test_outcomes_in_lines_and_in_data() -> None:
    planned = planned_print(LOBBY_PRINT, COX_MEGAPHONE)
    name = planned.name
    outcomes = [
        Outcome(planned=planned, status="made", bytes=2_345_678, seconds=1.234),
        Outcome(planned=planned, status="kept", bytes=2_345_678),
        Outcome(
            planned=planned,
            status="refused",
            findings=(
                Finding(
                    level="refuse",
                    check="crop-loss",
                    message="the crop loses 49.4% of the picture.",
                ),
            ),
        ),
        failed(planned, "no space left on device"),
        failed(planned, f"{name} was changed after it was made; move it away"),
    ]
    assert [report.outcome_line(each) for each in outcomes] == [
        f"made     {name}  2.3 MB in 1.2 s",
        f"kept     {name}  unchanged, left alone",
        f"refused  {name}  see [crop-loss] above",
        f"failed   {name}  no space left on device",
        f"failed   {name}  was changed after it was made; move it away",
    ]
    assert report.outcomes_text(outcomes) == "1 made, 1 kept, 1 refused, 2 failed"
    made, *_ = json.loads(as_json(outcomes_data(outcomes)))
    assert (made["status"], made["bytes"], made["seconds"]) == ("made", 2_345_678, 1.234)
    assert made["sheet"]["size_px"] == [2400, 3600]


def test_junit_has_a_suite_for_a_job_and_a_case_for_a_print() -> None:
    warn = Finding(level="warn", check="alpha", message="it has transparency.")
    text = junit_xml({"a.toml": [("one.jpg", [warn]), ("two.jpg", [SOURCE_STOP, warn])]})
    (suite,) = ET.fromstring(text)
    assert suite.attrib == {"name": "a.toml", "tests": "2", "failures": "1"}
    one, two = suite
    assert (one.get("name"), len(one)) == ("one.jpg", 0)
    (failure,) = two
    assert failure.get("message") == "there is no such file."
    assert failure.text == "refuse [source] there is no such file."


def album(folder: Path, tables: list[str], checks: str = "") -> list[PlannedPrint]:
    """Prints of ``cox-1.jpg`` and on, each with a table, of an opening with a thin overlap."""
    toml = 'sightsize = 1\n[aperture]\nwidth = "143 mm"\nheight = "198 mm"\noverlap = "1.5 mm"\n'
    toml += f'[paper]\nsize = "10x8 in"\n[checks]\n{checks}\n[delivery]\nname = "{{picture}}"\n'
    for number, table in enumerate(tables, start=1):
        (folder / f"cox-{number}.jpg").touch()
        toml += f'[[prints]]\nsource = "cox-{number}.jpg"\n{table}\n'
    path = folder / "wall.toml"
    path.write_text(toml, encoding="utf-8")
    loaded = load_job(path, check_ids())
    return plan_prints(loaded, arrange(loaded), pictures=False)


THICK = 'aperture = { overlap = "3 mm" }'
"""An overlap that nothing is said of."""


@pytest.mark.parametrize(
    ("tables", "which"),
    [
        ([""], ""),
        (["", ""], " (both prints)"),
        (["", THICK], " (print 1, cox-1.jpg)"),
        (["", THICK, ""], " (prints 1 and 3: cox-1.jpg, cox-3.jpg)"),
        ([""] * 6, " (all 6 prints)"),
        (
            ["", "", THICK, "", "", ""],
            " (prints 1, 2 and 4 to 6: cox-1.jpg, cox-2.jpg, cox-4.jpg and 2 more)",
        ),
        ([THICK, *[""] * 4], " (prints 2 to 5: cox-2.jpg, cox-3.jpg, cox-4.jpg, cox-5.jpg)"),
        ([THICK, *[""] * 39], " (prints 2 to 40: cox-2.jpg, cox-3.jpg, cox-4.jpg and 36 more)"),
        (
            ["", THICK] * 20,
            " (20 of 40 prints: cox-1.jpg, cox-3.jpg, cox-5.jpg and 17 more; --json names all)",
        ),
    ],
    ids=["1", "2", "1 of 2", "2 of 3", "6", "5 of 6", "4 of 5", "39 of 40", "20 of 40"],
)
def test_a_finding_of_several_prints_is_told_once_with_their_numbers_and_files(
    tmp_path: Path, tables: list[str], which: str
) -> None:
    (line,) = finding_lines(album(tmp_path, tables))
    assert line.endswith(f"behind the mat at each edge. 3 mm is usual.{which}")
    (accepted,) = finding_lines(album(tmp_path, tables, 'accept = ["overlap"]'))
    assert accepted == f"{tmp_path / 'wall.toml'}: note: accepted overlap{which}"


def test_of_800_prints_all_are_named_to_programs_only(tmp_path: Path) -> None:
    prints = album(tmp_path, ["", THICK] * 400)
    (line,) = finding_lines(prints)
    assert len(line) < len(str(tmp_path)) + 230
    named = [each["output"] for each in prints_data(prints) if each["findings"]]
    assert named == [f"cox-{number}.jpg" for number in range(1, 800, 2)]


def test_what_a_job_accepts_is_one_line_however_much_it_is(tmp_path: Path) -> None:
    low = 'delivery = { resolution = "20 ppi" }'
    accept = 'accept = ["overlap", "file-resolution"]'
    assert finding_lines(album(tmp_path, ["", low, ""], accept)) == [
        f"{tmp_path / 'wall.toml'}: note: accepted overlap (all 3 prints), "
        "file-resolution (print 2, cox-2.jpg)"
    ]


def test_what_a_finished_print_shows_and_its_job_accepts_is_one_line() -> None:
    planned = planned_print(LOBBY_PRINT, COX_MEGAPHONE)
    shown = Finding(level="accepted", check="clipping", message="2% of the opening is blank white.")
    made = Outcome(planned=planned, status="made", bytes=2_345_678, seconds=1.2, findings=(shown,))
    assert report.outcome_line(made) == f"made     {planned.name}  2.3 MB in 1.2 s"
    assert report.accepted_when_made([made]) == ["note: accepted clipping"]
