"""Audit: everything delivered is read again and held against the docket."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence, Set
from pathlib import Path
from typing import Any, Literal, NamedTuple, get_args

from sightsize import __version__
from sightsize.base.hashes import file_sha256
from sightsize.base.paths import follow_links, is_file
from sightsize.base.terminal import paragraph
from sightsize.docket.recall import is_same_print
from sightsize.docket.store import Docket, Record
from sightsize.errors import reason_of
from sightsize.plan.file_names import MASTERS
from sightsize.run.planned_print import PlannedPrint

_ENDINGS = (".jpg", ".tif")

State = Literal["whole", "missing", "altered", "outdated", "extra"]


class Audited(NamedTuple):
    """A file and how it stands, with a sentence about what is not whole."""

    file: str
    state: State
    message: str = ""


def audit_docket(docket: Docket, prints: Sequence[PlannedPrint] = ()) -> list[Audited]:
    """Return how the prints and masters of a docket stand, and what files it does not know.

    With the prints of a job, also which of them were never made, or are other prints by now.
    """
    folder = docket.path.parent
    found = [each for record in docket.records.values() for each in _audit_record(folder, record)]
    told = {each.file for each in found if each.state != "whole"}
    found += _beside_the_job(docket, prints, told)
    sources = {
        follow_links(folder / each["path"])
        for record in docket.records.values()
        for each in record["sources"]
    }
    files = sorted(path for path in folder.iterdir() if path.suffix in _ENDINGS)
    found += [
        Audited(path.name, "extra", "no print in the docket has this name")
        for path in files
        if path.name not in docket.records
        and not path.name.startswith(".")
        and follow_links(path) not in sources
    ]
    known = {each.file for each in found}
    return found + [
        Audited(name, "extra", "no print in the docket has this master")
        for name in _master_files(folder)
        if name not in known
    ]


def _beside_the_job(
    docket: Docket, prints: Sequence[PlannedPrint], told: Set[str]
) -> Iterator[Audited]:
    """What a job asks for and the docket does not have, of prints that nothing was told of yet."""
    for planned in prints:
        name, plan = planned.name, planned.plan
        record = docket.records.get(name)
        if record is None:
            yield Audited(name, "missing", "the job asks for it, but it was never made")
        elif (
            name not in told
            and plan is not None
            and not is_same_print(record, plan, docket.path.parent)
        ):
            yield Audited(name, "outdated", _why_outdated(record))


def _why_outdated(record: Record) -> str:
    made_by = record["versions"].get("sightsize", "an earlier version")
    if made_by != __version__:
        return f"sightsize {made_by} made it; this version, {__version__}, would make it anew"
    return "the job has changed and now makes a different print"


def _master_files(folder: Path) -> list[str]:
    """Every file among the masters, written as in the docket."""
    masters = folder / MASTERS
    if not masters.is_dir():
        return []
    return sorted(f"{MASTERS}/{path.name}" for path in masters.iterdir() if path.name[0] != ".")


def _audit_record(folder: Path, record: Record) -> Iterator[Audited]:
    again = "make it again with the job, or with reprint"
    yield Audited(record["file"], *file_state(folder / record["file"], record["output"], again))
    again = "make its print again with the job"
    for master in record.get("masters", ()):
        yield Audited(master["file"], *file_state(folder / master["file"], master, again))


def file_state(path: Path, recorded: Mapping[str, Any], again: str = "") -> tuple[State, str]:
    """Return how a file stands beside its record, and a sentence about it if it is not whole.

    ``again`` says what to do about a file that is missing.
    """
    if not is_file(path):
        return "missing", again
    size, was = path.stat().st_size, recorded["bytes"]
    if size != was:
        return "altered", f"it has {size} bytes; {was} were delivered"
    try:
        same = file_sha256(path) == recorded["sha256"]
    except OSError as error:
        return "altered", f"it cannot be read ({reason_of(error)})"
    return ("whole", "") if same else ("altered", "its contents have changed since delivery")


def audit_text(docket: Docket, found: Sequence[Audited]) -> str:
    """Return what an audit found, one line for each file that is not whole, and the count."""
    lines = [f"{each.state:<8} {each.file}  {each.message}" for each in found]
    shown = [line for line, each in zip(lines, found, strict=True) if each.state != "whole"]
    counts = Counter(each.state for each in found)
    total = ", ".join(f"{counts[state]} {state}" for state in get_args(State))
    return paragraph([*shown, f"{docket.path}: {total}"])
