"""Serial numbers of cameras: kept out of a docket unless asked for, and still matched."""

import json
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomli_w
from PIL import Image

from icc_profiles import built_in
from pictures import job
from sightsize.archive.reprint import reprint_docket
from sightsize.docket.store import Docket
from sightsize.model.job import Job
from sightsize.plan.arrange import arrange
from sightsize.run.batch import make_prints
from sightsize.run.planner import plan_prints

SERIAL = "TQ-70315"
DUST = [{"at": [0.5, 0.5], "radius": 0.01}]
BODY = {"launch-body": {"serial": SERIAL, "dust": DUST}}
OTHER = {"other-body": {"serial": "TQ-1", "dust": DUST}}


def job_of(folder: Path, cameras: dict[str, Any] | None = None, **tables: Any) -> Job:
    """A job of a picture that a camera with a serial number took."""
    source = folder / "cox.jpg"
    if not source.exists():
        pixels = np.random.default_rng(1).integers(90, 110, (128, 192, 3)).astype(np.uint8)
        block = Image.Exif()
        block[0x0110] = "LB-2"
        block.get_ifd(0x8769)[0xA431] = SERIAL
        Image.fromarray(pixels).save(source, exif=block, icc_profile=built_in("srgb"))
    more = {"cameras": cameras} if cameras else {}
    return job(folder, {"cox": {"source": "cox.jpg"}}, (96, 64), **more, **tables)


def run(made: Job) -> str:
    made.output.mkdir(exist_ok=True)
    with Docket(made.output / "docket.toml") as docket:
        prints = plan_prints(made, arrange(made), docket=docket)
        (outcome,) = make_prints(made, prints, replace="nothing", workers=1, docket=docket)
    return outcome.status


def dust_of(made: Job) -> str:
    docket = Docket(made.output / "docket.toml")
    (planned,) = plan_prints(made, arrange(made), docket=docket)
    assert planned.plan is not None
    return planned.plan.pictures[0].picture.dust_of


def kept_files(made: Job) -> str:
    files = [made.output / "docket.toml", made.output / ".docket.json"]
    return "".join(each.read_text(encoding="utf-8") for each in files)


@pytest.mark.parametrize("cameras", [{}, BODY, {**OTHER, **BODY}])
def test_no_serial_number_is_kept_unasked(tmp_path: Path, cameras: dict[str, Any]) -> None:
    made = job_of(tmp_path, cameras)
    assert run(made) == "made"
    assert SERIAL not in kept_files(made)
    assert "TQ-1" not in kept_files(made)


def test_a_serial_number_is_not_even_noted(tmp_path: Path) -> None:
    made = job_of(tmp_path, BODY)
    made.output.mkdir()
    docket = Docket(made.output / "docket.toml")
    prints = plan_prints(made, arrange(made), docket=docket)
    make_prints(made, prints, replace="nothing", workers=1, docket=docket)
    assert SERIAL not in (made.output / ".docket.json").read_text(encoding="utf-8")


def test_a_serial_number_that_is_asked_for_is_kept(tmp_path: Path) -> None:
    made = job_of(tmp_path, delivery={"serial_numbers": True})
    run(made)
    (record,) = Docket(made.output / "docket.toml").records.values()
    assert record["sources"][0]["header"]["camera_serial"] == SERIAL
    assert kept_files(made).count(SERIAL) == 2


def test_a_rerun_matches_cameras_by_serial_number(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = job_of(tmp_path, {**OTHER, **BODY})
    run(made)
    assert dust_of(made) == "launch-body"
    assert run(made) == "kept"
    changed = job_of(tmp_path, OTHER)
    assert dust_of(changed) == ""

    def opened(*_: object, **__: object) -> None:
        raise AssertionError("a picture was opened")

    monkeypatch.setattr("pyvips.Image.new_from_file", opened)
    assert dust_of(job_of(tmp_path)) == ""  # where nothing asks for the number, no file is opened
    by_model = {"launch-body": {"model": "LB-2", "dust": DUST}}
    assert dust_of(job_of(tmp_path, by_model)) == "launch-body"


def test_a_picture_that_has_no_serial_number_is_not_asked_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pixels = np.full((128, 192, 3), 100, np.uint8)
    Image.fromarray(pixels).save(tmp_path / "cox.jpg", icc_profile=built_in("srgb"))
    made = job_of(tmp_path, BODY)
    run(made)

    def opened(*_: object, **__: object) -> None:
        raise AssertionError("a picture was opened")

    monkeypatch.setattr("pyvips.Image.new_from_file", opened)
    assert dust_of(made) == ""


def test_a_reprint_clears_the_same_dust_without_the_number(tmp_path: Path) -> None:
    made = job_of(tmp_path, {**OTHER, **BODY})
    run(made)
    docket = Docket(made.output / "docket.toml")
    (record,) = docket.records.values()
    assert record["job"]["cameras"] == {"launch-body": {"dust": DUST}}
    assert record["job"]["pictures"]["cox"]["camera"] == "launch-body"
    (again,) = reprint_docket(docket, [], [], tmp_path / "again")
    assert again.state == "identical", again


def test_a_serial_number_in_an_old_docket_is_read_and_dropped(tmp_path: Path) -> None:
    made = job_of(tmp_path, BODY)
    run(made)
    path = made.output / "docket.toml"
    values = tomllib.loads(path.read_text(encoding="utf-8"))
    values["prints"][0]["sources"][0]["header"]["camera_serial"] = SERIAL
    path.write_text(tomli_w.dumps(values), encoding="utf-8")
    (record,) = Docket(path).records.values()
    assert record["sources"][0]["header"]["camera_serial"] == SERIAL
    assert dust_of(made) == "launch-body"
    assert run(made) == "kept"
    assert SERIAL not in kept_files(made)
    assert [*Docket(path).records] == ["cox.tif"]
    assert json.loads((made.output / ".docket.json").read_text().split("\n")[0])["prints"] == 1


def test_a_header_of_another_size_than_its_file_is_not_believed(tmp_path: Path) -> None:
    made = job_of(tmp_path)
    run(made)
    docket = Docket(made.output / "docket.toml")
    header = docket.records["cox.tif"]["sources"][0]["header"]
    header |= {"bytes": 1, "width_px": 100_000_000}
    (planned,) = plan_prints(made, arrange(made), docket=docket)
    assert planned.plan is not None
    assert planned.plan.pictures[0].picture.header.width_px == 192


@pytest.mark.parametrize(
    "facts",
    [
        {"width_px": 100_000_000, "height_px": 100_000_000},
        {"width_px": 1, "height_px": 100_000_000},
        {"width_px": 1, "height_px": 1},
        {"format": "raw"},
        {"format": "HEIF", "bits": 16, "colour": "cmyk"},
        {"colour": "grey", "has_alpha": True, "orientation": 8},
        {"profile": "", "says_srgb": False},
    ],
    ids=str,
)
def test_a_forged_header_breaks_no_plan(tmp_path: Path, facts: dict[str, Any]) -> None:
    made = job_of(tmp_path)
    run(made)
    (made.output / "cox.tif").unlink()
    docket = Docket(made.output / "docket.toml")
    docket.records["cox.tif"]["sources"][0]["header"] |= facts
    prints = plan_prints(made, arrange(made), docket=docket)
    (outcome,) = make_prints(made, prints, replace="nothing", workers=1, docket=docket)
    assert "a fault in sightsize" not in outcome.message
    assert outcome.status == "made" or len(outcome.message.splitlines()) == 1
