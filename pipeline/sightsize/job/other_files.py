"""Files that are no job: what each is, told by its first bytes, and what to name instead."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

_NAME_A_JOB = "name the job file (.toml) that prints it, or start one with: sightsize new FOLDER"
_SAVE_AS_TEXT = "save it as plain text in UTF-8"

_STARTS = (
    (b"\xff\xd8\xff", "a JPEG picture", _NAME_A_JOB),
    (b"\x89PNG\r\n", "a PNG picture", _NAME_A_JOB),
    (b"GIF8", "a GIF picture", _NAME_A_JOB),
    (b"II*\x00", "a TIFF or raw picture", _NAME_A_JOB),
    (b"MM\x00*", "a TIFF or raw picture", _NAME_A_JOB),
    (b"II+\x00", "a TIFF picture", _NAME_A_JOB),
    (b"MM\x00+", "a TIFF picture", _NAME_A_JOB),
    (b"%PDF", "a PDF", "name a job file (.toml)"),
    (b"PK\x03\x04", "a zip archive or a word processor's document", _SAVE_AS_TEXT),
    (b"{\\rtf", "a word processor's document", _SAVE_AS_TEXT),
    (b"\xff\xfe", "text in UTF-16", "save it as UTF-8"),
    (b"\xfe\xff", "text in UTF-16", "save it as UTF-8"),
    (b"<", "XML or a web page", "name a job file (.toml)"),
    (b"{", "JSON", "write the job as TOML, or name a job file (.toml)"),
)
"""Signatures of the formats' specifications (from memory); none can begin a TOML file."""


def say_other_file(content: bytes) -> str:
    """Return what a file is that is no TOML, and what to do, as a sentence; or nothing."""
    start = content.removeprefix(b"\xef\xbb\xbf").lstrip()[:64]
    boxes = {b"RIFF": "a WebP picture", b"ftyp": "a HEIF or raw picture"}
    known = [(what, remedy) for begin, what, remedy in _STARTS if start.startswith(begin)]
    known += [(boxes[each], _NAME_A_JOB) for each in (start[:4], start[4:8]) if each in boxes]
    if known:
        what, remedy = known[0]
        return f"this is {what}, not a job file; {remedy}."
    return ""


def say_not_job(values: Mapping[str, Any]) -> str:
    """Return what a TOML file is that is no job, and what to do, as a sentence; or nothing."""
    if "docket" in values and "sightsize" not in values:
        return (
            "this is a docket, the record of finished prints, not a job file; to print from it, "
            "run: sightsize reprint DOCKET."
        )
    return ""


def say_folder(folder: Path) -> str:
    """Return what job files a folder has that was given as one, as a sentence."""
    names = sorted(each.name for each in folder.glob("*.toml") if each.name != "docket.toml")
    if not names:
        return (
            "this is a folder without a job file; for its pictures, start one with: "
            f"sightsize new {folder}."
        )
    more = f" and {len(names) - _MOST_NAMES} more" if len(names) > _MOST_NAMES else ""
    return f"this is a folder; name a job file in it: {', '.join(names[:_MOST_NAMES])}{more}."


_MOST_NAMES = 5
