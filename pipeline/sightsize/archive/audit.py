"""Audit: everything delivered is read again and held against the docket."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence, Set
from pathlib import Path
from typing import Any, Literal, NamedTuple, get_args

from sightsize import __version__
from sightsize.archive.left_behind import is_changed, lost_to_patterns, not_asked_for
from sightsize.base.hashes import file_sha256
from sightsize.base.paths import follow_links, is_file
from sightsize.base.plain_text import paragraph
from sightsize.base.words import names_text
from sightsize.docket.recall import is_same_print
from sightsize.docket.store import Docket, Record
from sightsize.errors import reason_of
from sightsize.model.job import Job
from sightsize.plan.file_names import MASTERS
from sightsize.run.planned_print import PlannedPrint

_ENDINGS = (".jpg", ".tif")

State = Literal["whole", "missing", "altered", "outdated", "dropped", "extra", "lost", "changed"]
"""Of prints and masters: whole, missing, altered; of prints, with a job: outdated, dropped. Of
files that the docket does not know: extra. Of sources: lost, changed."""


class Audited(NamedTuple):
    """A file and how it stands, with a sentence about what is not whole.

    Files are written as the docket writes them, from its folder.
    """

    file: str
    state: State
    message: str = ""


def audit_docket(
    docket: Docket, prints: Sequence[PlannedPrint] = (), job: Job | None = None
) -> list[Audited]:
    """Return how the prints and masters of a docket stand, their sources, and unknown files.

    With a job and its prints, also which of them were never made, or are other prints by now, and
    which prints of the docket the job does not ask for.
    """
    folder = docket.path.parent
    found = [each for record in docket.records.values() for each in _audit_record(folder, record)]
    told = {each.file for each in found if each.state != "whole"}
    found += _beside_the_job(docket, prints, told)
    found += _dropped(docket, prints, job) if prints else ()
    found += _extra_files(docket, {each.file for each in found})
    return _one_for_each([*found, *_audit_sources(docket)])


def _one_for_each(found: Sequence[Audited]) -> list[Audited]:
    """What was found, without the whole files that there is more to say of."""
    more = {each.file for each in found if each.state != "whole"}
    return [each for each in found if each.state != "whole" or each.file not in more]


def _dropped(docket: Docket, prints: Sequence[PlannedPrint], job: Job | None) -> Iterator[Audited]:
    """The docket's prints that no print of the job is, each with the pattern that lost it."""
    lost = lost_to_patterns(docket, job) if job is not None else []
    why = {name: each.said for each in lost for name in each.prints}
    for name in not_asked_for(docket, (each.name for each in prints)):
        said = f"{why[name]} its picture" if name in why else "this job does not ask for it"
        yield Audited(name, "dropped", said)


def _extra_files(docket: Docket, known: Set[str]) -> Iterator[Audited]:
    """Files among the prints and masters that are none of the docket's and no source either."""
    folder = docket.path.parent
    sources = {
        follow_links(folder / each["path"])
        for record in docket.records.values()
        for each in record["sources"]
    }
    for path in sorted(folder.iterdir()):
        is_shown = path.suffix in _ENDINGS and not path.name.startswith(".")
        if is_shown and path.name not in docket.records and follow_links(path) not in sources:
            said = "the docket has no print of this name; move it away if the lab must not get it"
            yield Audited(path.name, "extra", said)
    for name in _master_files(folder):
        if name not in known:
            yield Audited(name, "extra", "no print in the docket has this master; move it away")


def _audit_sources(docket: Docket) -> Iterator[Audited]:
    """Each source that is not there any more, or not as it was, with the prints made from it."""
    noted: dict[tuple[str, str], Mapping[str, Any]] = {}
    prints: dict[tuple[str, str], dict[str, None]] = {}
    for record in docket.records.values():
        for source in record["sources"]:
            one = source["path"], source["sha256"]
            noted[one] = source
            prints.setdefault(one, {})[record["file"]] = None
    for one, source in noted.items():
        state, _ = file_state(docket.path.parent / source["path"], source)
        made_from_it = f"the source of {names_text([*prints[one]])}"
        if state == "missing":
            said = f"{made_from_it}; put it back, or use reprint --look-in FOLDER"
            yield Audited(source["path"], "lost", said)
        elif state == "altered":
            said = f"{made_from_it}; it is another file now, so reprint cannot use it"
            yield Audited(source["path"], "changed", said)


def _beside_the_job(
    docket: Docket, prints: Sequence[PlannedPrint], told: Set[str]
) -> Iterator[Audited]:
    """What a job asks for and the docket does not have, of prints that nothing was told of yet."""
    for planned in prints:
        name, plan = planned.name, planned.plan
        record = docket.records.get(name)
        if record is None:
            yield Audited(name, "missing", "the job asks for it, but it was never made; run make")
        elif (
            name not in told
            and plan is not None
            and not is_same_print(record, plan, docket.path.parent)
        ):
            yield Audited(name, "outdated", _why_outdated(record, docket.path.parent))


def _why_outdated(record: Record, folder: Path) -> str:
    if any(is_changed(folder / each["path"], each) for each in record["sources"]):
        return "its source has changed since it was made; make it again with --redo"
    made_by = record["versions"].get("sightsize", "an earlier version")
    if made_by != __version__:
        return f"sightsize {made_by} made it; this version, {__version__}, would make it anew"
    return "the job has changed and makes another print now; make it again with --redo"


def _master_files(folder: Path) -> list[str]:
    """Every file among the masters, written as in the docket."""
    masters = folder / MASTERS
    if not masters.is_dir():
        return []
    return sorted(f"{MASTERS}/{path.name}" for path in masters.iterdir() if path.name[0] != ".")


def _audit_record(folder: Path, record: Record) -> Iterator[Audited]:
    again = "make it again: with make, or with reprint, which changes nothing"
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
    total = ", ".join(f"{counts[state]} {state}" for state in get_args(State) if counts[state])
    return paragraph([*shown, f"{docket.path}: {total}"])
