"""A record's job makes its one print under its own name, whatever somebody has written into it."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from docket_records import whole_record
from pictures import job, save
from sightsize.archive.own_job import own_job, why_unusable
from sightsize.archive.reprint import Reprinted, reprint_docket
from sightsize.docket.store import Docket
from sightsize.plan.arrange import arrange
from sightsize.run.batch import make_prints
from sightsize.run.planner import plan_prints

Own = dict[str, Any]
OTHER_PRINTS = "its job in the docket makes other prints than this one; fix it by hand"
INCOMPLETE = "its job in the docket is incomplete; fix it by hand"


def ladder(own: Own) -> None:
    own["prints"][0]["ladder"] = {"exposure": [-0.3, 0, 0.3]}


def pattern(own: Own) -> None:
    own["prints"] = [{"source": "*.jpg"}]


def twice(own: Own) -> None:
    own["prints"] *= 2


def no_print(own: Own) -> None:
    own["prints"] = []


def another_picture(own: Own) -> None:
    own["prints"][0]["picture"] = "rowers"


def more_pictures(own: Own) -> None:
    own["pictures"]["rowers"] = {"source": "rowers.jpg"}


def no_table(own: Own) -> None:
    own["pictures"]["cox"] = "cox.jpg"


def odd_profile(own: Own) -> None:
    own["delivery"]["profile"] = 3


def another_format(own: Own) -> None:
    own["delivery"]["format"] = "tiff"


@pytest.mark.parametrize(
    ("change", "said"),
    [
        *((each, OTHER_PRINTS) for each in (ladder, pattern, twice, no_print, another_picture)),
        *((each, INCOMPLETE) for each in (more_pictures, no_table, odd_profile)),
        (another_format, "its job in the docket does not make a .jpg file; fix delivery.format by "
         "hand"),
    ],
)  # fmt: skip
def test_a_job_of_other_prints_is_refused(change: Callable[[Own], None], said: str) -> None:
    record = whole_record()
    assert why_unusable(record, match=False) == why_unusable(record, match=True) == ""
    change(record["job"])
    assert why_unusable(record, match=False) == said


@pytest.mark.parametrize(
    ("file", "said"),
    [
        ("con.jpg", "the name 'con' is reserved on some systems; choose another; it cannot be made "
         "again under this name"),
        ("a--b.jpg", "the name 'a--b' is none that prints have; fix it by hand"),
        ("a.jpg.jpg", "the name 'a.jpg' has a file ending; delivery.format adds it; it cannot be "
         "made again under this name"),
    ],
)  # fmt: skip
def test_a_name_that_no_print_has_is_refused(file: str, said: str) -> None:
    assert why_unusable(whole_record(file), match=False) == said


@pytest.mark.parametrize("names", [["rowers"], ["cox", "cox"]])
def test_masters_of_another_picture_are_refused(names: list[str]) -> None:
    record = whole_record()
    record["masters"] = [{**record["masters"][0], "picture": name} for name in names]
    assert why_unusable(record, match=False) == ""
    assert "its masters in the docket" in why_unusable(record, match=True)


def test_the_name_is_the_records() -> None:
    record = whole_record("lobby-1.jpg")
    record["job"]["delivery"]["name"] = "../../{picture}"
    assert own_job(record)["delivery"]["name"] == "lobby-1"


# Made again.


def docket_of(folder: Path, format_name: str = "tiff") -> Docket:
    """A docket of a print that was made."""
    pixels = np.random.default_rng(1).integers(40, 200, (64, 96, 3)).astype(np.uint8)
    save(folder / "cox.tif", pixels)
    made = job(
        folder, {"cox": {"source": "cox.tif"}}, (48, 32), delivery={"format": format_name}
    )  # fmt: skip
    made.output.mkdir()
    with Docket(made.output / "docket.toml") as docket:
        make_prints(
            made, plan_prints(made, arrange(made)), replace="nothing", workers=1, docket=docket
        )  # fmt: skip
    return docket


def again(docket: Docket, folder: Path) -> Reprinted:
    (result,) = reprint_docket(docket, [], [], folder / "again")
    return result


def test_what_a_record_says_of_places_is_not_followed(tmp_path: Path) -> None:
    docket = docket_of(tmp_path)
    own = docket.records["cox.tif"]["job"]
    own["job"] = {"output": str(tmp_path / "elsewhere"), "title": "x"}
    own["delivery"] |= {"keep_master": True, "name": "../elsewhere"}
    own["pictures"]["cox"]["source"] = "/dev/zero"
    assert again(docket, tmp_path).state == "identical"
    assert [each.name for each in (tmp_path / "again").iterdir()] == ["cox.tif"]
    assert not (tmp_path / "elsewhere").exists()


@pytest.mark.parametrize(
    "data", [b"", b"not a picture", b"<svg xmlns='http://www.w3.org/2000/svg'/>"]
)
def test_a_first_print_that_is_no_picture_is_not_compared(tmp_path: Path, data: bytes) -> None:
    from sightsize.base.hashes import file_sha256

    docket = docket_of(tmp_path)
    (tmp_path / "prints" / "cox.tif").write_bytes(data)
    record = docket.records["cox.tif"]
    record["output"] |= {
        "sha256": file_sha256(tmp_path / "prints" / "cox.tif"),
        "pixels_sha256": "0" * 64,
    }
    result = again(docket, tmp_path)
    assert result.state == "different"
    assert "cannot be read" in result.message
    assert result.mean_difference is None


def test_one_bad_record_stops_no_other(tmp_path: Path) -> None:
    docket = docket_of(tmp_path)
    good = docket.records["cox.tif"]
    docket.records = {"a.tif": {**good, "file": "a.tif", "job": {}}, "cox.tif": good}
    results = list(reprint_docket(docket, [], [], tmp_path / "again"))
    assert [each.state for each in results] == ["failed", "identical"]
