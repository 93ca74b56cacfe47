"""Pictures that are gone or have changed, and prints that no job asks for: who is told, and how."""

import json
import os
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner, Result

from pictures import save
from sightsize.archive.left_behind import lost_to_patterns, not_asked_for
from sightsize.checks.run import check_ids
from sightsize.cli import app
from sightsize.docket.store import Docket
from sightsize.job.load import load_job

JOB = """sightsize = 1

[aperture]
width = "60 mm"
height = "80 mm"

[paper]
size = "100 x 120 mm"

[sharpen]
gain = 0

[delivery]
resolution = "100 ppi"
name = "{{picture}}"

[checks]
accept = {accept}

[[prints]]
source = "{pattern}"
"""


def write_job(folder: Path, pattern: str = "album/*.jpg", name: str = "wall.toml") -> Path:
    path = folder / name
    accept = json.dumps(sorted(check_ids()))
    path.write_text(JOB.format(accept=accept, pattern=pattern), encoding="utf-8")
    return path


def draw(folder: Path, *names: str) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for shade, name in enumerate(names):
        save(folder / name, np.full((240, 180, 3), 90 + shade, np.uint8))


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, [str(each) for each in arguments])


@pytest.fixture
def wall(tmp_path: Path) -> Path:
    """A job of three pictures that a pattern finds, printed."""
    draw(tmp_path / "album", "lane-05.jpg", "lane-06.jpg", "lane-07.jpg")
    job = write_job(tmp_path)
    assert run("make", job).exit_code == 0
    assert notes(run("make", job).stdout) == []
    return job


def notes(text: str) -> list[str]:
    """Notes about the docket, without the path of the job."""
    return [line.partition("note [docket] ")[2] for line in text.splitlines() if "[docket]" in line]


LOST = (
    "prints[1].source: the docket has prints of lane-07.jpg, which "
    'source = "album/*.jpg" no longer finds. Put it back, or move the prints away: lane-07.jpg.'
)


@pytest.mark.parametrize(
    "command", ["check", "check --no-pictures", "make", "make --only 1", "make --dry-run"]
)
def test_a_picture_that_a_pattern_no_longer_finds_is_told(wall: Path, command: str) -> None:
    (wall.parent / "album" / "lane-07.jpg").unlink()
    result = run(*command.split(), wall)
    assert (result.exit_code, notes(result.stdout)) == (0, [LOST])
    assert f"{wall}:21:1: note [docket]" in result.stdout
    data: Any = json.loads(run(*command.split(), "--json", wall).stdout)
    (finding,) = (data[0] if isinstance(data, list) else data)["findings"]
    assert (finding["level"], finding["check"], finding["line"]) == ("note", "docket", 21)


def test_several_pictures_that_a_pattern_lost_are_named_together(wall: Path) -> None:
    for name in ("lane-06.jpg", "lane-07.jpg"):
        (wall.parent / "album" / name).unlink()
    (said,) = notes(run("check", wall).stdout)
    assert "prints of lane-06.jpg, lane-07.jpg, which source" in said
    assert "Put them back, or move the prints away: " in said


def test_nothing_is_said_once_the_print_is_moved_away(wall: Path) -> None:
    (wall.parent / "album" / "lane-07.jpg").unlink()
    (wall.parent / "prints" / "lane-07.jpg").unlink()
    for command in (["check"], ["make"], ["make", "--dry-run"]):
        assert notes(run(*command, wall).stdout) == []


def test_a_docket_that_cannot_be_read_stops_no_check(wall: Path) -> None:
    (wall.parent / "prints" / "docket.toml").write_text("docket = ", encoding="utf-8")
    result = run("check", wall)
    assert result.exit_code == 0
    (said,) = notes(result.stdout)
    assert "the text ends too early to be TOML" in said


def lost(job: Path) -> dict[str, tuple[str, ...]]:
    """The pictures that each pattern of a job has lost."""
    loaded = load_job(job, check_ids())
    found = lost_to_patterns(Docket(loaded.output / "docket.toml"), loaded)
    return {each.request.source: each.pictures for each in found}


@pytest.mark.parametrize(
    ("pattern", "finds"),
    [
        ("album/*.jpg", True),
        ("./album/*.jpg", True),
        ("album/../album/lane-*.jpg", True),
        ("**/album/*.jpg", True),
        ("album/**/*.jpg", True),
        ("al*/lane-0[5-9].jpg", True),
        ("al*/lane-05.jp?", False),
        ("album/lane-0[56].jpg", False),
        ("album/*/*.jpg", False),
        ("album/lane-05.jpg", False),
    ],
)
def test_what_a_pattern_would_have_found(wall: Path, pattern: str, finds: bool) -> None:
    (wall.parent / "album" / "lane-07.jpg").unlink()
    draw(wall.parent / "album" / "deep", "x.jpg")
    other = write_job(wall.parent, pattern, "other.toml")
    assert lost(other) == ({pattern: ("lane-07.jpg",)} if finds else {})


def test_a_folder_with_brackets_is_no_pattern(tmp_path: Path) -> None:
    folder = tmp_path / "[2026] regatta"
    draw(folder / "album", "a.jpg", "b.jpg")
    job = write_job(folder)
    assert run("make", job).exit_code == 0
    (folder / "album" / "a.jpg").unlink()
    assert lost(job) == {"album/*.jpg": ("a.jpg",)}


def test_a_job_beside_a_link_to_its_pictures(tmp_path: Path) -> None:
    draw(tmp_path / "disk", "a.jpg", "b.jpg")
    (tmp_path / "job").mkdir()
    (tmp_path / "job" / "album").symlink_to(tmp_path / "disk")
    job = write_job(tmp_path / "job")
    assert run("make", job).exit_code == 0
    assert lost(job) == {}
    (tmp_path / "disk" / "a.jpg").unlink()
    assert lost(job) == {"album/*.jpg": ("a.jpg",)}


def test_prints_that_the_job_does_not_ask_for_are_told(wall: Path) -> None:
    one = write_job(wall.parent, "album/lane-05.jpg")
    for command in (["make"], ["make", "--only", "1"], ["make", "--dry-run"]):
        result = run(*command, one)
        assert (result.exit_code, notes(result.stdout)) == (
            0,
            [
                "the docket has 2 prints that this job does not ask for: lane-06.jpg, lane-07.jpg. "
                "Move them away unless another job needs them."
            ],
        )
    assert notes(run("check", one).stdout) == []
    assert notes(run("make", "--only", "lane-06", write_job(wall.parent)).stdout) == []


def test_a_source_that_is_gone_is_told_for_prints_that_no_job_asks_for(wall: Path) -> None:
    one = write_job(wall.parent, "album/lane-05.jpg")
    (wall.parent / "album" / "lane-07.jpg").unlink()
    assert notes(run("make", one).stdout)[1:] == [
        "the docket has prints of lane-07.jpg, which is no longer there. Put it back, or nothing "
        "can be printed from it again."
    ]


def test_a_source_that_changed_is_told(wall: Path) -> None:
    changed = wall.parent / "album" / "lane-06.jpg"
    draw(wall.parent / "album", "lane-06.jpg")
    result = run("make", wall)
    assert notes(result.stdout) == [
        "the docket has prints of lane-06.jpg, which has changed since. To print it as it is now, "
        "use --redo."
    ]
    assert result.exit_code == 1  # as ever: what stands is another print
    assert run("make", "--redo", wall).exit_code == 0
    assert notes(run("make", wall).stdout) == []
    os.utime(changed, (1, 1))
    assert notes(run("make", wall).stdout) == []  # another time, the same bytes


# The audit.


def audited(path: Path) -> dict[str, tuple[str, str]]:
    data = json.loads(run("audit", "--json", path).stdout)
    return {each["file"]: (each["state"], each["message"]) for each in data["files"]}


def states(found: Iterable[tuple[str, str]]) -> set[str]:
    return {state for state, _ in found}


def test_an_audit_tells_lost_and_changed_sources_and_dropped_prints(wall: Path) -> None:
    docket = wall.parent / "prints" / "docket.toml"
    assert states(audited(wall).values()) == states(audited(docket).values()) == {"whole"}
    (wall.parent / "album" / "lane-07.jpg").unlink()
    draw(wall.parent / "album", "lane-05.jpg", "lane-06.jpg", "spare.jpg")
    (wall.parent / "album" / "lane-05.jpg").write_bytes(b"another picture")
    lost_and_changed = {
        "../album/lane-07.jpg": (
            "lost",
            "the source of lane-07.jpg; put it back, or use reprint --look-in FOLDER",
        ),
        "../album/lane-05.jpg": (
            "changed",
            "the source of lane-05.jpg; it is another file now, so reprint cannot use it",
        ),
    }
    found = audited(docket)
    assert {name: found[name] for name in lost_and_changed} == lost_and_changed
    assert states(found[name] for name in ("lane-05.jpg", "lane-06.jpg", "lane-07.jpg")) == {
        "whole"
    }
    result = run("audit", wall)
    assert result.exit_code == 1
    assert (
        'dropped  lane-07.jpg  source = "album/*.jpg" no longer finds its picture\n'
        in result.stdout
    )
    assert result.stdout.endswith(": 2 whole, 1 missing, 1 dropped, 1 lost, 1 changed\n")


def test_an_audit_says_that_a_print_is_outdated_since_its_source_changed(wall: Path) -> None:
    draw(wall.parent / "album", "lane-06.jpg")
    found = json.loads(run("audit", "--json", wall).stdout)["files"]
    (outdated,) = [each for each in found if each["state"] == "outdated"]
    assert (outdated["file"], outdated["message"]) == (
        "lane-06.jpg",
        "its source has changed since it was made; make it again with --redo",
    )


def test_an_audit_names_prints_that_the_job_dropped(wall: Path) -> None:
    result = run("audit", write_job(wall.parent, "album/lane-05.jpg"))
    assert result.exit_code == 0  # another job may share the folder
    assert "dropped  lane-06.jpg  this job does not ask for it\n" in result.stdout
    assert result.stdout.endswith(": 1 whole, 2 dropped\n")
    docket = Docket(wall.parent / "prints" / "docket.toml")
    assert not_asked_for(docket, ["lane-05.jpg"]) == ["lane-06.jpg", "lane-07.jpg"]
