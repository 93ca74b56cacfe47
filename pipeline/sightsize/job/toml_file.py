"""A TOML file as values with positions.

The values and the syntax errors are tomllib's; the positions come from a syntax tree.
"""

import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sightsize.base.findings import Finding, KeyPath, key_text
from sightsize.base.paths import is_folder
from sightsize.base.reading import read_plain
from sightsize.errors import JobError, reason_of
from sightsize.job.bounds import MOST_BYTES, MOST_LEVELS, MOST_LINES, find_excess
from sightsize.job.other_files import say_folder, say_not_job, say_other_file
from sightsize.job.toml_places import Place, find_place, find_places
from sightsize.job.toml_slips import find_slip

_MOST_PARTS = 100
"""Of a dotted key. tomllib takes a time that grows with their square; the depth of what a file
holds is counted only once it is read."""
_QUOTED = re.compile(r'"(?:[^"\\\n]|\\.)*+"?' r"|'[^'\n]*+'?")
_MANY_DIGITS = re.compile(r"(?<![\d_])(?:\d_?+){4301}")
_DOTTED = re.compile(r"(?<![\w-])(?:[\w-]++[ \t]*+\.[ \t]*+)++")


@dataclass(frozen=True)
class Document:
    """The values of a TOML file and the places of its key paths."""

    path: Path
    values: dict[str, Any]
    places: dict[KeyPath, Place]

    def place(self, key: KeyPath) -> Place:
        """Return the place of a key path, or of the nearest path around it that the file has."""
        while key and key not in self.places:
            key = key[:-1]
        return self.places.get(key, Place(1, 1))


def read_document(path: Path) -> Document:
    """Read a TOML file. Raises JobError with one finding when it is none, or past its bounds."""
    text = _read_text(path)
    values = _parse(path, text)
    excess = find_excess(values)
    if excess:
        where, said = excess
        place = find_place(text, where)
        shown = key_text(where[:MOST_LEVELS])
        raise JobError([_refuse(path, said).at(str(path), place.line, place.column, shown)])
    said = say_not_job(values)
    if said:
        raise JobError([_refuse(path, said, 1)])
    return Document(path, values, find_places(text))


def _read_text(path: Path) -> str:
    """The text of a file. Raises JobError for what is no text, or not to be read."""
    if is_folder(path):
        raise JobError([_refuse(path, say_folder(path))])
    try:
        content = read_plain(path, MOST_BYTES)
    except (OSError, ValueError) as error:
        why = reason_of(error) if isinstance(error, OSError) else str(error)
        said = f"cannot read the file: {why}; name a job file that can be read."
        raise JobError([_refuse(path, said)]) from error
    said = say_other_file(content)
    if said:
        raise JobError([_refuse(path, said, 1)])
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        said = (
            "this is not a text file; name a job file (.toml)."
            if b"\x00" in content
            else "the file is not UTF-8 text; save it as UTF-8."
        )
        raise JobError([_refuse(path, said, line)]) from error


def _parse(path: Path, text: str) -> dict[str, Any]:
    """The values of a TOML text. Raises JobError."""
    if text.count("\n") > MOST_LINES:
        said = f"the file has more than {MOST_LINES:,} lines; make several jobs of it."
        raise JobError([_refuse(path, said, 1)])
    long = _long_key(text)
    if long:
        said = f"this key has more than {_MOST_PARTS} parts; write one of the keys of a job."
        raise JobError([_refuse(path, said, long)])
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        slip = find_slip(str(error), text)
        finding = Finding(
            level="refuse",
            check="toml",
            message=f"{slip.said}.",
            remedy=slip.remedy,
            found=slip.found,
        )
        raise JobError([finding.at(str(path), slip.line, slip.column, "")]) from error
    except ValueError as error:  # Python reads no integer of more than 4300 digits
        said = "a number has too many digits; write fewer."
        raise JobError([_refuse(path, said, _line_of_digits(text))]) from error
    except RecursionError as error:
        said = "lists or tables are nested too deeply; no key needs more than 7."
        raise JobError([_refuse(path, said, 1)]) from error


def _long_key(text: str) -> int:
    """The line of a dotted key of far too many parts; 0 where there is none."""
    bare = _QUOTED.sub("q", text)
    for match in _DOTTED.finditer(bare):
        if match[0].count(".") > _MOST_PARTS:
            return bare.count("\n", 0, match.start()) + 1
    return 0


def _line_of_digits(text: str) -> int:
    """The line of the first number that is too long for Python, 1 where it is not found."""
    match = _MANY_DIGITS.search(text)
    return text.count("\n", 0, match.start()) + 1 if match else 1


def _refuse(path: Path, message: str, line: int = 0) -> Finding:
    """A finding about a line, or about the file as a whole."""
    found = Finding(level="refuse", check="toml", message=message)
    return found.at(str(path), line, min(line, 1), "")
