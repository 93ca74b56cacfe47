"""Patterns find what the standard library's glob finds, and have an end where it has none."""

import glob
import os
import random
from pathlib import Path

import pytest

from sightsize.job import patterns
from sightsize.job.patterns import Patterns

NAMES = ["a.jpg", "b.JPG", "cox 2.jpg", "cox 10.jpg", "[1].jpg", ".hidden.jpg", "é.jpg", "x", "a!b"]
FOLDERS = ["album", "album/deep", "album/deep/er", ".dark", "album/.dark", "a[1]", "a1", "empty"]
PARTS = [
    "*",
    "**",
    "*.jpg",
    "?.jpg",
    "cox*",
    "[ab].jpg",
    "[[]1].jpg",
    ".*",
    "album",
    "a?",
    "a[[]1]",
]
PARTS += ["deep", "..", "*.*", "[!a]*", "[", "[]", "a[1]", "x", "nothing", "**x", "."]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for each in FOLDERS:
        (tmp_path / "job" / each).mkdir(parents=True, exist_ok=True)
    chosen = random.Random(7)
    for each in ["", *FOLDERS[:-1]]:
        for name in chosen.sample(NAMES, 6):
            (tmp_path / "job" / each / name).touch()
    return tmp_path / "job"


def test_every_pattern_finds_what_glob_finds(folder: Path) -> None:
    chosen = random.Random(1)
    made = ["/".join(chosen.choices(PARTS, k=chosen.randint(1, 4))) for _ in range(1500)]
    found = Patterns(folder)
    for pattern in made:
        by_glob = glob.glob(pattern, root_dir=folder, recursive=True)  # noqa: PTH207
        expected = {
            os.path.normpath(folder / each)
            for each in by_glob
            if (folder / each).is_file() and not each.endswith("/")
        }
        names = found.files(pattern)
        assert {os.path.normpath(folder / each) for each in names} == expected, pattern
        assert len(names) == len(set(names))


def test_a_pattern_of_a_whole_path_finds_it(folder: Path) -> None:
    (folder / "empty/one.jpg").touch()
    assert Patterns(folder / "album").files(f"{folder}/empty/*") == [f"{folder}/empty/one.jpg"]


def test_folders_that_lead_to_themselves_are_gone_through_once(folder: Path) -> None:
    (folder / "empty/one.jpg").touch()
    (folder / "empty/again").symlink_to(folder)
    (folder / "empty/self").symlink_to("self")
    (folder / "linked").symlink_to("empty")
    assert Patterns(folder).files("**/one.jpg") == ["empty/one.jpg"]
    assert Patterns(folder).files("linked/*.jpg") == ["linked/one.jpg"]
    assert Patterns(folder).files("l*/*.jpg") == ["linked/one.jpg"]


def test_only_plain_files_are_found(folder: Path) -> None:
    os.mkfifo(folder / "empty/pipe.jpg")
    (folder / "empty/dead.jpg").symlink_to("nothing.jpg")
    (folder / "empty/device.jpg").symlink_to("/dev/zero")
    (folder / "empty/folder.jpg").mkdir()
    assert Patterns(folder).files("empty/*") == []


def test_a_folder_that_cannot_be_read_has_no_files(folder: Path) -> None:
    assert Patterns(folder).files("/proc/1/root*/../no-such/*") == []
    assert Patterns(folder).files("a.jpg/*") == []


def test_there_is_an_end_to_what_is_looked_at(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for number in range(40):
        (folder / f"empty/{number}.jpg").touch()
    monkeypatch.setattr(patterns, "MOST_LOOKED_AT", 50)
    found = Patterns(folder)
    assert len(found.files("empty/*.jpg")) == 40
    assert len(found.files("empty/1*.jpg")) == 11
    with pytest.raises(ValueError, match="more than 50 files and folders"):
        found.files("**/*.jpg")


def test_patterns_that_would_branch_without_end_do_not(folder: Path) -> None:
    deep = folder / "empty"
    for _ in range(12):
        deep = deep / "a"
    deep.mkdir(parents=True)
    (deep / "one.jpg").touch()
    assert len(Patterns(folder).files("**/" * 100 + "one.jpg")) == 1
    assert len(Patterns(folder).files("**/a/" * 12 + "**/one.jpg")) == 1
    (deep / ("a" * 200 + ".jpg")).touch()
    assert Patterns(folder).files("**/" + "*a" * 100 + "b") == []
