"""``docket.toml``: its records read, each held against the schema, and the docket written whole.

A record that has not changed is written as it stands, so that what it takes to write the docket
goes by the prints that are new.
"""

import re
import tomllib
from collections.abc import Collection, Iterable
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any, NamedTuple

import tomli_w

from sightsize.base.findings import KeyPath, key_text
from sightsize.base.paths import is_folder
from sightsize.base.reading import read_plain
from sightsize.base.schemas import schema_file
from sightsize.docket.shape import Shape, shape_of, show
from sightsize.docket.versions import READ, VERSION, Record, of_today
from sightsize.errors import DocketError, reason_of

NAME = "docket.toml"
MOST_BYTES = 2**28
"""Of a docket: those of 50,000 prints, which take 4 to 5 KB each (measured)."""

_HEAD = f"""\
# The docket of this folder's prints; sightsize adds what a run has made when it ends.
# Measure the sheets that come back, and add the result below a print's other tables:
#   [prints.measured]
#   on = "2026-05-04"
#   width = "190.2 mm"
#   height = "250.5 mm"
docket = {VERSION}
"""
_SEAM = "\n[[prints]]\n"
_REMEDY = "fix it, or move it away"


class Text(NamedTuple):
    """A docket's text, and the hash by which it is known; both empty where there is none."""

    text: str = ""
    sha256: str = ""


class Contents(NamedTuple):
    """The records of a docket by their files' names, and sentences about those it spoils."""

    records: dict[str, Record]
    faults: tuple[str, ...] = ()


@cache
def record_shape() -> Shape:
    """Return what the schema asks for of a print's record."""
    return shape_of({"$defs": schema_file("docket")["$defs"], "$ref": "#/$defs/print"})


def read_text(path: Path) -> Text:
    """Return the text of a docket, an empty one where there is none. Raises DocketError."""
    if is_folder(path):
        raise DocketError(f"{path} is a folder, but a docket is a file; move the folder away")
    try:
        data = read_plain(path, MOST_BYTES)
        return Text(data.decode("utf-8-sig"), sha256(data).hexdigest())
    except (FileNotFoundError, NotADirectoryError):
        return Text()
    except OSError as error:
        raise DocketError(f"{path} cannot be read ({reason_of(error)}); {_REMEDY}") from error
    except UnicodeDecodeError as error:
        raise DocketError(f"{path} is not UTF-8 text; {_REMEDY}") from error


def parse(path: Path, text: str) -> Contents:
    """Return what stands in a docket's text. Raises DocketError when no record can be told."""
    values = _values(path, text)
    _refuse_version(path, values.get("docket"))
    for key in values.keys() - {"docket", "prints"}:
        raise _error(path, (key,), "a docket has the keys docket and prints alone")
    if not isinstance(values.get("prints"), list):
        said = f"found {show(values.get('prints'))}; it takes the prints, each below [[prints]]"
        raise _error(path, ("prints",), said)
    records: dict[str, Record] = {}
    faults = []
    for index, value in enumerate(values["prints"]):
        record, where, said = _record(value, values["docket"], records)
        if said:
            place = _place(path, text, index)
            faults.append(f"{place}: {key_text(('prints', index, *where))}: {said}; {_REMEDY}")
        else:
            records[record["file"]] = record
    return Contents(records, tuple(faults))


def _record(value: Any, version: int, before: Collection[str]) -> tuple[Record, KeyPath, str]:
    """A print's record in today's form, and where and why it is none."""
    try:
        record = of_today(value, version)
    except RecursionError:
        return {}, (), "tables or lists are nested too deeply here"
    fault = record_shape().fault(record)
    if fault is not None:
        return {}, *fault
    if record["file"] in before:
        return {}, ("file",), f"{show(record['file'])} is in the docket twice"
    return record, (), ""


def _values(path: Path, text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise DocketError(_say_no_toml(path, text, str(error))) from error
    except ValueError as error:  # Python reads no integer of more than 4300 digits
        raise DocketError(f"{path}: a number has too many digits; {_REMEDY}") from error
    except RecursionError as error:
        raise DocketError(f"{path}: tables or lists are nested too deeply; {_REMEDY}") from error


def _say_no_toml(path: Path, text: str, said: str) -> str:
    """A sentence about a text that is no TOML; the place is only in tomllib's own message."""
    match = re.search(r"at line (\d+), column (\d+)", said)
    if match is None:
        return f"{path}: the text ends too early to be TOML; {_REMEDY}"
    line = text.split("\n")[int(match[1]) - 1].strip()
    twice = said.startswith("Cannot")
    what = "this key or table is set further up" if twice else f"found {show(line)}, not TOML"
    return f"{path}:{match[1]}:{match[2]}: {what}; {_REMEDY}"


def _refuse_version(path: Path, version: Any) -> None:
    if type(version) is int and version in READ:
        return
    if type(version) is int and VERSION < version < 1000:
        raise DocketError(
            f"{path} is a docket of version {version}, written by a newer sightsize; this one "
            f"reads versions up to {VERSION}. Update sightsize, or move the docket away"
        )
    known = " or ".join(map(str, READ))
    said = f"found {show(version)}; it takes the version of the docket, {known}"
    raise _error(path, ("docket",), said)


def _error(path: Path, where: KeyPath, said: str) -> DocketError:
    return DocketError(f"{path}: {key_text(where)}: {said}; {_REMEDY}")


def _place(path: Path, text: str, index: int) -> str:
    """The line on which a print's record begins, where it has one of its own."""
    heads = list(re.finditer(r"^[ \t]*\[\[[ \t]*prints[ \t]*\]\]", text, re.MULTILINE))
    if index >= len(heads):
        return str(path)
    return f"{path}:{text.count(chr(10), 0, heads[index].start()) + 1}"


# Writing.


def block_of(record: Record) -> str:
    """Return a record as it is written."""
    return "\n" + tomli_w.dumps({"prints": [record]})


def standing_blocks(text: str, names: Collection[str]) -> dict[str, str]:
    """Return the text of each record of a docket, by name; none where they cannot be told apart."""
    head, *parts = text.split(_SEAM)
    begins = [f'file = "{name}"\n' for name in names]
    ours = f"\ndocket = {VERSION}\n" in f"\n{head}\n" and len(parts) == len(begins)
    if not ours or not all(map(str.startswith, parts, begins)):
        return {}
    whole = (part if part.endswith("\n") else f"{part}\n" for part in parts)
    return {name: _SEAM + part for name, part in zip(names, whole, strict=True)}


def docket_text(blocks: Iterable[str]) -> Text:
    """Return a docket of records as they are written. Raises DocketError when it is too long."""
    text = _HEAD + "".join(blocks)
    data = text.encode()
    if len(data) > MOST_BYTES:
        raise DocketError("the docket would have too many prints; print into another folder")
    return Text(text, sha256(data).hexdigest())
