"""What is wrong with a docket is said in a sentence: where, what was found, and what to do."""

import os
from pathlib import Path
from typing import Any

import pytest
import tomli_w
from typer.testing import CliRunner

from docket_records import whole_record
from sightsize.cli import app
from sightsize.docket import docket_file
from sightsize.docket.store import Docket
from sightsize.errors import DocketError, SightsizeError

REMEDY = "; fix it, or move it away"


def refused(path: Path) -> str:
    """What is said of a docket, without its path and the remedy that each sentence ends with."""
    with pytest.raises(DocketError) as told:
        Docket(path)
    said = str(told.value)
    assert said.startswith(str(path))
    return said.removeprefix(str(path)).removesuffix(REMEDY)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", ": docket: found nothing; it takes the version of the docket, 1 or 2"),
        ("docket = 0\n", ": docket: found 0; it takes the version of the docket, 1 or 2"),
        ("docket = '2'\n", ": docket: found '2'; it takes the version of the docket, 1 or 2"),
        ("docket = true\n", ": docket: found true; it takes the version of the docket, 1 or 2"),
        ("docket = 2\n", ": prints: found nothing; it takes the prints, each below [[prints]]"),
        ("docket = 2\nprints = 1\n", ": prints: found 1; it takes the prints, each below "
         "[[prints]]"),
        ("docket = 2\ntitle = 1\n", ": title: a docket has the keys docket and prints alone"),
        ("docket = 2\nprints = [1]\n", ": prints[1]: found 1; it takes a table"),
        ("docket = 2\n[[prints]]\nfile = 1\n", ":2: prints[1].file: found 1; it takes one plain "
         "file name that ends with .jpg or .tif"),
        ("docket = \n", ":1:10: found 'docket =', not TOML"),
        ("docket = 2\ndocket = 2\n", ":2:11: this key or table is set further up"),
        ("docket = 2\nprints = [", ": the text ends too early to be TOML"),
        ("docket = 1" + "0" * 5000, ": a number has too many digits"),
        ("docket = 0x1" + "0" * 5000, ": docket: found a number of very many digits; it takes the "
         "version of the docket, 1 or 2"),
        ("docket = " + "[" * 20_000 + "]" * 20_000, ": tables or lists are nested too deeply"),
        ("docket = 2\n[[prints]]\n" + "a." * 3000 + "b = 1\n", ":2: prints[1]: there is no key 'a' "
         "here"),
        ("docket = 1\n[[prints]]\njob." + "a." * 3000 + "b = 1\n", ":2: prints[1]: tables or lists "
         "are nested too deeply here"),
    ],
    ids=lambda text: text[:30],
)  # fmt: skip
def test_what_is_wrong_with_a_docket(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "docket.toml"
    path.write_text(text)
    assert refused(path) == said


def test_a_docket_that_is_no_text(tmp_path: Path) -> None:
    path = tmp_path / "docket.toml"
    path.write_bytes(b"docket = 2 # \xff\n")
    assert refused(path) == " is not UTF-8 text"


def test_a_docket_that_is_no_plain_file(tmp_path: Path) -> None:
    path = tmp_path / "docket.toml"
    os.mkfifo(path)
    assert refused(path) == " cannot be read (it is not a plain file)"
    path.unlink()
    path.symlink_to("/dev/zero")
    assert refused(path) == " cannot be read (it is not a plain file)"


def test_a_docket_that_is_too_long(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "docket.toml"
    path.write_text("docket = 2\n" + "#" * 2000)
    monkeypatch.setattr(docket_file, "MOST_BYTES", 1024)
    assert refused(path) == " cannot be read (it has more than 1 KiB)"


def test_a_hidden_file_that_is_no_plain_file_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "docket.toml").write_text("docket = 2\nprints = []\n")
    os.mkfifo(tmp_path / ".docket.json")
    assert Docket(tmp_path / "docket.toml").records == {}


def test_a_date_without_quotes_is_a_date(tmp_path: Path) -> None:
    path = tmp_path / "docket.toml"
    text = tomli_w.dumps({"docket": 2, "prints": [whole_record()]})
    for on in ("2026-05-04", "2026-05-04T12:00:00Z", '"2026-05-04"'):
        path.write_text(text.replace('on = "2026-05-04"', f"on = {on}"), encoding="utf-8")
        assert Docket(path).records == {"cox-12x8in.jpg": whole_record()}
    path.write_text(text.replace('on = "2026-05-04"', "on = 12:00:00"), encoding="utf-8")
    assert refused(path) == (
        ":3: prints[1].measured.on: found 12:00:00 without quotes; it takes text in quotes, such "
        'as "2026-05-04"'
    )


# One record that is spoilt.


def spoilt_docket(folder: Path, count: int = 1) -> Path:
    """A docket of a good record, spoilt ones, and another good one."""
    path = folder / "docket.toml"
    spoilt = [whole_record(f"b{at}.jpg", seconds=-1) for at in range(count)]
    records: list[Any] = [whole_record("a.jpg"), *spoilt, whole_record("c.jpg")]
    path.write_text(tomli_w.dumps({"docket": 2, "prints": records}), encoding="utf-8")
    return path


def test_a_spoilt_record_stops_no_other_where_nothing_is_written(tmp_path: Path) -> None:
    path = spoilt_docket(tmp_path)
    docket = Docket(path, whole=False)
    assert list(docket.records) == ["a.jpg", "c.jpg"]
    line = path.read_text(encoding="utf-8").split("\n").index('file = "b0.jpg"')
    said = f"{path}:{line}: prints[2].seconds: found -1; it takes a number from 0 to 1000000000"
    assert docket.faults == (said + REMEDY,)
    result = CliRunner().invoke(app, ["audit", str(path)])
    assert (result.exit_code, result.stderr) == (1, f"{said}{REMEDY}\n")
    assert [line.split()[:2] for line in result.stdout.splitlines()[:-1]] == [
        ["missing", "a.jpg"],
        ["missing", "masters/cox-12x8in.tif"],
        ["missing", "c.jpg"],
        ["missing", "masters/cox-12x8in.tif"],
        ["lost", "../pictures/cox"],
    ]
    result = CliRunner().invoke(app, ["reprint", str(path)])
    assert (result.exit_code, result.stderr) == (1, f"{said}{REMEDY}\n")
    assert [line.split()[:2] for line in result.stdout.splitlines()[:-1]] == [
        ["failed", "a.jpg"],
        ["failed", "c.jpg"],
    ]


def test_a_docket_that_is_spoilt_is_never_written_over(tmp_path: Path) -> None:
    path = spoilt_docket(tmp_path)
    before = path.read_bytes()
    docket = Docket(path, whole=False)
    docket.note(whole_record("d.jpg"))
    with pytest.raises(SightsizeError, match="found -1"):
        docket.close()
    assert path.read_bytes() == before


def test_many_spoilt_records_are_not_all_told(tmp_path: Path) -> None:
    lines = refused(spoilt_docket(tmp_path, 9)).split("\n")
    assert len(lines) == 6
    assert lines[-1] == "and 4 more"


def test_a_print_in_the_docket_twice_is_said(tmp_path: Path) -> None:
    path = tmp_path / "docket.toml"
    records = [whole_record("a.jpg"), whole_record("a.jpg")]
    path.write_text(tomli_w.dumps({"docket": 2, "prints": records}), encoding="utf-8")
    assert refused(path).endswith(": prints[2].file: 'a.jpg' is in the docket twice")
    assert list(Docket(path, whole=False).records) == ["a.jpg"]
