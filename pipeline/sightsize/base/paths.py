"""Paths as people write them: what cannot be one, and what to say when no file is there."""

import os
import re
from functools import lru_cache
from pathlib import Path

from sightsize.base.findings import nearest
from sightsize.base.plain_text import acts

LONGEST_PART = 255
"""Bytes of one name in a path: the limit of most file systems (common practice, no source)."""


_NOT_TEXT = re.compile(r"[\ud800-\udfff]")
"""What Python makes of a file's name that is not UTF-8."""


def read_path(text: str) -> str:
    """Return a path as it is written.

    Raises ValueError, with a sentence, for one that cannot be, or that no line can show.
    """
    if _NOT_TEXT.search(text):
        raise ValueError(f"the path {text!a} is not UTF-8 text; rename the file")
    if acts(text):
        raise ValueError(f"the path {text!a} contains a control character; rename the file")
    if any(len(part.encode()) > LONGEST_PART for part in re.split(r"[/\\]", text)):
        raise ValueError(
            f"a name in the path is longer than {LONGEST_PART} bytes, the limit for a file name; "
            "shorten it"
        )
    return text


NO_BACKSLASH = "write / between folders and names, in place of the backslash"
"""It parts names on one system only; a job is to be read on all."""


def is_file(path: Path) -> bool:
    """Return whether a file stands at a path that may be no path at all, or out of reach."""
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


def is_folder(path: Path) -> bool:
    """Return whether a folder stands at a path that may be no path at all, or out of reach."""
    try:
        return path.is_dir()
    except (OSError, ValueError):
        return False


def _stands(path: Path) -> bool:
    try:
        return path.exists()
    except (OSError, ValueError):
        return False


def say_missing(path: Path) -> str:
    """Return what is wrong with a path that is no file, and what to do."""
    if is_folder(path):
        return f"{path} is a folder; name a file in it"
    if _stands(path):
        return f"{path} is a pipe or a device, not a picture file; name a file"
    if "\\" in str(path) and os.sep == "/":
        return f"there is no file {path}; {NO_BACKSLASH}"
    guess = _guess_name(path)
    remedy = f"did you mean {guess!r}?" if guess else "put it there or correct the path"
    return f"there is no file {path}; {remedy}"


def _guess_name(path: Path) -> str:
    """The file beside a missing one with a name much like it, or nothing.

    Numbers must be the same: of pictures that a camera has counted, each name is like the next.
    """
    try:
        beside = _by_numbers(path.parent, path.parent.stat().st_mtime_ns)
    except (OSError, ValueError):
        return ""
    like = beside.get(_numbers(path.stem), [])
    # Of names that differ in their endings alone, the last is taken: one with the same.
    like = sorted(like, key=lambda each: each.suffix.casefold() == path.suffix.casefold())
    stems = {each.stem: each.name for each in like}
    return stems.get(nearest(path.stem, stems), "")


@lru_cache(maxsize=1)  # all pictures of a job may be missing from one folder
def _by_numbers(folder: Path, _changed_ns: int) -> dict[tuple[str, ...], list[Path]]:
    """The files of a folder by the numbers in their names."""
    files: dict[tuple[str, ...], list[Path]] = {}
    for each in sorted(folder.iterdir()):
        if is_file(each) and not each.name.startswith("."):
            files.setdefault(_numbers(each.stem), []).append(each)
    return files


def _numbers(stem: str) -> tuple[str, ...]:
    return tuple(re.findall(r"\d+", stem))


def follow_links(path: Path) -> Path:
    """Return a path with its links followed; links in a circle are left as they are."""
    return Path(os.path.realpath(path))


def places(path: Path) -> set[Path]:
    """Return what a file written under a path could hit: where it leads, and the name itself."""
    return {follow_links(path), follow_links(path.parent) / path.name}
