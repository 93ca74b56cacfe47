"""The docket: what a run leaves beside its prints, enough to make each of them again.

It is TOML for people and for programs, one table a print in the order in which they were made, and
is replaced as a whole each time a print is finished. A hidden mirror in JSON, read a hundred
times faster, stands beside it; it counts only as long as the docket is the one it mirrors.
"""

import json
import os
import re
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import tomli_w
from jsonschema import Draft202012Validator

from sightsize.base.atomic import write_whole
from sightsize.base.findings import key_text
from sightsize.base.paths import is_folder
from sightsize.base.schemas import Node, schema_file
from sightsize.docket.versions import VERSION, of_today
from sightsize.errors import DocketError

Record = dict[str, Any]

NAME = "docket.toml"
_MIRROR = ".docket.json"
_KINDS = {
    "object": dict,
    "array": list,
    "string": str,
    "integer": int,
    "number": int | float,
}
_KEPT = ("measured", "masters")
"""What a record hands on to one of the same print."""
_HEAD = f"""\
# The docket of this folder's prints; sightsize adds each print as it is finished.
# Measure the sheets that come back, and add the result below a print's other tables:
#   [prints.measured]
#   on = "2026-05-04"
#   width = "190.2 mm"
#   height = "250.5 mm"
docket = {VERSION}
"""


class Docket:
    """The records of a folder, by file name."""

    def __init__(self, path: Path) -> None:
        """Read a docket; one that is not there has no records. Raises DocketError."""
        self.path = path
        self.records: dict[str, Record] = _read(path)
        self._blocks: dict[str, str] = {}

    def note(self, record: Record) -> None:
        """Add a print, in place of an earlier one of its name, and write the docket.

        What somebody measured on the earlier print is kept when the new one has the same pixels.
        Its masters are kept when it is the same print and none were made with the new one.
        """
        name = record["file"]
        before = self.records.get(name, {})
        if before.get("identity") == record["identity"]:
            record = {key: before[key] for key in _KEPT if key in before} | record
        elif "measured" in before and _has_pixels_of(before, record):
            record = {"measured": before["measured"]} | record
        self.records.pop(name, None)
        self._blocks.pop(name, None)
        self.records[name] = record
        write_whole(self.path, (_HEAD + "".join(map(self._block, self.records))).encode())
        self._write_mirror()

    def _block(self, name: str) -> str:
        """A record as it stands in the file, written out once; a run that notes nothing never."""
        if name not in self._blocks:
            self._blocks[name] = "\n" + tomli_w.dumps({"prints": [self.records[name]]})
        return self._blocks[name]

    def _write_mirror(self) -> None:
        status = self.path.stat()
        mirrored = [VERSION, status.st_size, status.st_mtime_ns, list(self.records.values())]
        write_whole(self.path.with_name(_MIRROR), json.dumps(mirrored).encode())


def _has_pixels_of(before: Record, record: Record) -> bool:
    return bool(before["output"]["pixels_sha256"] == record["output"]["pixels_sha256"])


def _read(path: Path) -> dict[str, Record]:
    if not path.exists():
        return {}
    records = _read_mirror(path)
    if records is None:
        records = _read_toml(path)
    return {record["file"]: record for record in records}


def _read_mirror(path: Path) -> list[Record] | None:
    """The records of the mirror, None when it is not the docket's."""
    try:
        version, size, changed_ns, records = json.loads(path.with_name(_MIRROR).read_bytes())
        status = path.stat()
    except (OSError, ValueError, TypeError, RecursionError):
        return None
    same = (version, size, changed_ns) == (VERSION, status.st_size, status.st_mtime_ns)
    node = schema_file("docket")["properties"]["prints"]
    return list(records) if same and _has_shape(records, node) else None


def _has_shape(value: Any, node: Node) -> bool:
    """Whether a mirror's value can be what the schema says; a validator would take far longer."""
    if "$ref" in node:
        node = schema_file("docket")["$defs"][node["$ref"].rsplit("/", 1)[1]]
    if not isinstance(value, _KINDS.get(node.get("type", ""), object)):
        return False
    if isinstance(value, str):
        return re.search(node.get("pattern", ""), value) is not None
    if isinstance(value, list):
        items = node.get("items", {})
        return len(value) >= node.get("minItems", 0) and all(_has_shape(e, items) for e in value)
    if isinstance(value, dict):
        keys = node.get("properties", {})
        whole = value.keys() >= set(node.get("required", ()))
        return whole and all(_has_shape(value[key], keys[key]) for key in keys if key in value)
    return True


def _read_toml(path: Path) -> list[Record]:
    if is_folder(path):
        raise DocketError(f"{path} is a folder, but a docket is a file; move the folder away")
    try:
        values = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError) as error:
        raise DocketError(
            f"{path} cannot be read as a docket ({error}); fix it, or move it away"
        ) from error
    _refuse_newer(path, values.get("docket"))
    values = of_today(values)
    for problem in _validator().iter_errors(values):
        where = key_text(tuple(problem.absolute_path)) or "the docket"
        raise DocketError(f"{path}: {where}: {problem.message}; fix it, or move it away")
    return list(values["prints"])


def _refuse_newer(path: Path, version: Any) -> None:
    if isinstance(version, int) and version > VERSION:
        raise DocketError(
            f"{path} is a docket of version {version}, written by a newer sightsize; this one "
            f"reads versions up to {VERSION}. Update sightsize, or move the docket away"
        )


@cache
def _validator() -> Draft202012Validator:
    return Draft202012Validator(schema_file("docket"))


def relative(path: Path, folder: Path) -> str:
    """Return how a path is written in a docket: from the docket's folder, with forward slashes."""
    try:
        return Path(os.path.relpath(path, folder)).as_posix()
    except ValueError:  # another drive
        return path.as_posix()
