"""What is given as a job and is none: the answer says what it is, and what to name instead."""

from pathlib import Path

import pytest

from sightsize.errors import JobError
from sightsize.job.toml_file import read_document


def said(path: Path) -> str:
    with pytest.raises(JobError) as caught:
        read_document(path)
    (finding,) = caught.value.findings
    return finding.message


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"\xff\xd8\xff\xe0\x00\x10JFIF", "a JPEG picture"),
        (b"\x89PNG\r\n\x1a\n", "a PNG picture"),
        (b"II*\x00\x08\x00", "a TIFF or raw picture"),
        (b"MM\x00*\x00\x08", "a TIFF or raw picture"),
        (b"RIFF\x00\x00\x00\x00WEBP", "a WebP picture"),
        (b"\x00\x00\x00\x18ftypheic", "a HEIF or raw picture"),
        (b"%PDF-1.7", "a PDF"),
        (b"PK\x03\x04", "a zip archive or a word processor's document"),
        (b"{\\rtf1\\ansi", "a word processor's document"),
        ("sightsize = 1".encode("utf-16"), "text in UTF-16"),
        (b"<?xml version='1.0'?>", "XML or a web page"),
        (b'\xef\xbb\xbf {"sightsize": 1}', "JSON"),
    ],
)
def test_a_file_of_another_kind_is_called_so(content: bytes, what: str, tmp_path: Path) -> None:
    job = tmp_path / "job.toml"
    job.write_bytes(content)
    assert said(job).startswith(f"this is {what}, not a job file; ")


def test_bytes_of_no_kind_are_no_text(tmp_path: Path) -> None:
    job = tmp_path / "job.toml"
    job.write_bytes(b"\x00\xfe\x80")
    assert said(job) == "this is not a text file; name a job file (.toml)."


def test_of_a_folder_the_job_files_are_named(tmp_path: Path) -> None:
    assert said(tmp_path) == (
        "this is a folder without a job file; for its pictures, start one with: "
        f"sightsize new {tmp_path}."
    )
    for name in ("wall.toml", "docket.toml", "album.toml"):
        (tmp_path / name).touch()
    assert said(tmp_path) == "this is a folder; name a job file in it: album.toml, wall.toml."
    for number in range(5):
        (tmp_path / f"more{number}.toml").touch()
    assert said(tmp_path).endswith("more0.toml, more1.toml, more2.toml, more3.toml and 2 more.")
