"""Audit: everything delivered is read again and held against the docket."""

from collections import Counter
from collections.abc import Sequence
from typing import Literal, NamedTuple

from sightsize.docket import Docket, Record
from sightsize.identity import file_sha256
from sightsize.paths import is_file

_ENDINGS = (".jpg", ".tif")

State = Literal["whole", "missing", "altered", "extra"]


class Audited(NamedTuple):
    """A file and how it stands, with a sentence about what is not whole."""

    file: str
    state: State
    message: str = ""


def audited(docket: Docket) -> list[Audited]:
    """Return how every print of a docket stands, and every print file it does not know."""
    folder = docket.path.parent
    found = [_audited(docket, record) for record in docket.records.values()]
    prints = sorted(path for path in folder.iterdir() if path.suffix in _ENDINGS)
    found += [
        Audited(path.name, "extra", "no run of this folder left it, or its record is gone")
        for path in prints
        if path.name not in docket.records and not path.name.startswith(".")
    ]
    return found


def _audited(docket: Docket, record: Record) -> Audited:
    path = docket.path.parent / record["file"]
    if not is_file(path):
        return Audited(record["file"], "missing", "make it again with the job, or with reprint")
    size = path.stat().st_size
    if size != record["output"]["bytes"]:
        was = record["output"]["bytes"]
        return Audited(record["file"], "altered", f"{size} bytes, {was} were delivered")
    if file_sha256(path) != record["output"]["sha256"]:
        return Audited(record["file"], "altered", "its bytes are not those delivered")
    return Audited(record["file"], "whole")


def audit_text(docket: Docket, found: Sequence[Audited]) -> str:
    """Return what an audit found, one line for each file that is not whole, and the count."""
    lines = [f"{each.state:<8} {each.file}  {each.message}" for each in found]
    shown = [line for line, each in zip(lines, found, strict=True) if each.state != "whole"]
    counts = Counter(each.state for each in found)
    total = ", ".join(
        f"{counts[state]} {state}" for state in ("whole", "missing", "altered", "extra")
    )
    return "\n".join([*shown, f"{docket.path}: {total}"])
