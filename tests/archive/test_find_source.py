"""Sources that have moved are found by their size and their hash, among anything at all."""

import hashlib
import os
from pathlib import Path
from typing import Any

import pytest

from sightsize.archive import find_source
from sightsize.archive.find_source import Search
from sightsize.errors import UsageError

DATA = b"a picture of the regatta"


def wanted(data: bytes = DATA, path: str = "../gone.jpg") -> dict[str, Any]:
    return {"path": path, "bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    """A folder of files, pipes, links in a circle, and folders that lead to themselves."""
    folder = tmp_path / "archive"
    (folder / "2026" / "deep").mkdir(parents=True)
    (folder / "2026" / "small.jpg").write_bytes(DATA[:-1])
    (folder / "2026" / "other.jpg").write_bytes(DATA[::-1])
    os.mkfifo(folder / "pipe")
    (folder / "circle").symlink_to(folder / "circle")
    (folder / "2026" / "loop").symlink_to(folder)
    (folder / "nowhere").symlink_to(tmp_path / "nowhere")
    (folder / "zero").symlink_to("/dev/zero")
    return folder


@pytest.mark.parametrize("name", ["found.jpg", "2026/deep/found", ".hidden"])
def test_a_source_is_found(tmp_path: Path, archive: Path, name: str) -> None:
    (archive / name).write_bytes(DATA)
    assert Search([archive]).find(tmp_path / "prints", wanted()) == archive / name
    assert Search([tmp_path / "archive"]).find(tmp_path, wanted(DATA + b".")) is None


def test_a_folder_that_is_a_link_is_searched(tmp_path: Path, archive: Path) -> None:
    (archive / "found.jpg").write_bytes(DATA)
    (tmp_path / "link").symlink_to(archive)
    assert Search([tmp_path / "link"]).find(tmp_path, wanted()) == archive / "found.jpg"


def test_only_files_of_its_size_are_read(
    tmp_path: Path, archive: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    read: list[str] = []

    def sha256(path: Path) -> str:
        read.append(path.name)
        return ""

    monkeypatch.setattr(find_source, "file_sha256", sha256)
    search = Search([archive])
    assert search.find(tmp_path, wanted()) is None
    assert read == ["other.jpg"]


def test_a_folder_is_walked_once(
    tmp_path: Path, archive: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    search, walk, walks = Search([archive]), os.walk, []

    def counted(folder: Path) -> Any:
        walks.append(folder)
        return walk(folder)

    monkeypatch.setattr("os.walk", counted)
    (tmp_path / "here.jpg").write_bytes(DATA)
    assert search.find(tmp_path, wanted(path="here.jpg")) == tmp_path / "here.jpg"
    assert walks == []
    for at in range(3):
        assert search.find(tmp_path, wanted(bytes([at]))) is None
    assert walks == [archive]


@pytest.mark.parametrize("path", ["pipe", "circle", "zero", "2026", "x" * 5000, ".", "a/" * 900])
def test_what_is_no_plain_file_is_no_source(archive: Path, path: str) -> None:
    for size in (0, 4096):
        assert Search([]).find(archive, {**wanted(path=path), "bytes": size}) is None


def test_what_is_no_folder_is_said(tmp_path: Path) -> None:
    with pytest.raises(UsageError) as told:
        Search([tmp_path / "nope"])
    assert str(told.value) == (
        f"{tmp_path / 'nope'} is not a folder; name one that holds the sources"
    )
