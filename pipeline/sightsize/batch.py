"""Many prints: read the headers, plan, check, and make what passed, one print's failure alone.

Workers are threads: libvips lets go of Python while it works and uses the cores by itself.
"""

import logging
import time
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from dataclasses import replace as replace_fields
from fnmatch import fnmatch
from pathlib import Path
from typing import Literal

from sightsize.checks import run_checks
from sightsize.docket import Docket, Record
from sightsize.findings import Finding
from sightsize.job import Job, PrintRequest
from sightsize.paths import resolved
from sightsize.plan import Plan, plan_print
from sightsize.record import is_recorded, print_record, recorded_header, source_sha256

Status = Literal["made", "kept", "refused", "failed"]


@dataclass(frozen=True)
class PlannedPrint:
    """A print with its plan and findings; the plan is None when its picture cannot be read."""

    request: PrintRequest
    plan: Plan | None
    findings: tuple[Finding, ...]

    @property
    def refused(self) -> bool:
        """True when a stop stands against the print."""
        return any(finding.level == "stop" for finding in self.findings)


@dataclass(frozen=True)
class Outcome:
    """What became of a print."""

    planned: PlannedPrint
    status: Status
    message: str = ""
    bytes: int = 0
    seconds: float = 0.0
    notes: tuple[str, ...] = ()
    record: Record | None = None
    """What the docket is to keep of it, None when that is there or there is nothing."""


def chosen(job: Job, only: Sequence[str]) -> list[PrintRequest]:
    """Return the prints that ``only`` names by file name, picture, frame or number; all if empty.

    File names, pictures and frames may be written as patterns with ``*`` and ``?``.
    """
    if not only:
        return list(job.prints)
    return [request for request in job.prints if any(_matches(request, word) for word in only)]


def _matches(request: PrintRequest, word: str) -> bool:
    stem = request.name.rpartition(".")[0]
    frame = request.frame.name if request.frame else ""
    names = (request.name, stem, request.picture.name, frame, str(request.number))
    return any(fnmatch(name, word) for name in names if name)


def plan_prints(
    job: Job,
    requests: Iterable[PrintRequest],
    *,
    pictures: bool = True,
    docket: Docket | None = None,
) -> list[PlannedPrint]:
    """Plan and check prints; without ``pictures`` no file but the job is opened.

    What a docket says of a picture that has not changed since is not read again.
    """
    records = docket.records if docket else {}
    return [_plan(job, request, pictures, records.get(request.name)) for request in requests]


def _plan(job: Job, request: PrintRequest, pictures: bool, record: Record | None) -> PlannedPrint:
    header = recorded_header(record, request.picture.source, job.output) if pictures else None
    if pictures and header is None:
        # Imported here so that a check without pictures never loads libvips.
        from sightsize.picture.source import SourceError
        from sightsize.picture.upright import read_header

        try:
            header = read_header(request.picture.source)
        except SourceError as error:
            return PlannedPrint(request, None, (_source_finding(job, request, str(error)),))
    plan = plan_print(request, header)
    return PlannedPrint(request, plan, tuple(run_checks(plan, str(job.path))))


def _source_finding(job: Job, request: PrintRequest, message: str) -> Finding:
    origin = request.origin("picture.source")
    finding = Finding(level="stop", check="source", message=f"{message}.")
    return finding.at(str(job.path), origin.line, origin.column, origin.key)


def make_prints(
    job: Job,
    prints: Sequence[PlannedPrint],
    *,
    replace: bool,
    workers: int,
    started: Callable[[PrintRequest], None],
    finished: Callable[[Outcome], None],
    docket: Docket | None = None,
) -> list[Outcome]:
    """Make every print that is not refused; return the outcomes in the order of ``prints``.

    ``started`` and ``finished`` are called as prints begin and end, from any worker. Each print is
    noted in the docket as it is finished; one that is noted there and has not changed is kept.
    """
    sources = frozenset(resolved(each.picture.source) for each in job.prints)
    records = docket.records if docket else {}

    def make(planned: PlannedPrint) -> Outcome:
        started(planned.request)
        outcome = _make(job.output, planned, sources, replace, records.get(planned.request.name))
        if docket is not None and outcome.record is not None:
            outcome = _noted(docket, outcome, outcome.record)
        finished(outcome)
        return outcome

    with ThreadPoolExecutor(max_workers=workers) as pool:
        futures = [pool.submit(make, planned) for planned in prints]
        try:
            return [future.result() for future in futures]
        except BaseException:
            pool.shutdown(cancel_futures=True)
            raise


def _noted(docket: Docket, outcome: Outcome, record: Record) -> Outcome:
    try:
        docket.note(record)
    except OSError as error:
        why = f"the print is there, but {docket.path.name} cannot be written"
        return replace_fields(outcome, status="failed", message=f"{why}: {error.strerror or error}")
    return outcome


def _make(
    folder: Path,
    planned: PlannedPrint,
    sources: frozenset[Path],
    replace: bool,
    record: Record | None,
) -> Outcome:
    if planned.plan is None or planned.refused:
        stops = [each.message for each in planned.findings if each.level == "stop"]
        return Outcome(planned, "refused", stops[0])
    if record is not None and is_recorded(record, planned.plan, folder / record["file"]):
        return Outcome(planned, "kept", "", record["output"]["bytes"])
    import pyvips

    from sightsize.deliver import DeliveryError, deliver
    from sightsize.picture.source import SourceError, last_word

    begin = time.perf_counter()
    try:
        known = source_sha256(record, planned.plan.request.picture.source)
        done = deliver(planned.plan, folder, sources, replace=replace, source_sha256=known)
        seconds = time.perf_counter() - begin
        noted = print_record(planned.plan, done, seconds, folder)
    except (SourceError, DeliveryError) as error:
        return Outcome(planned, "failed", str(error))
    except pyvips.Error as error:
        source = planned.request.picture.source.name
        return Outcome(planned, "failed", f"{source} could not be printed: {last_word(error)}")
    except OSError as error:
        return Outcome(planned, "failed", f"{error.strerror or error} ({planned.request.name})")
    except Exception as error:
        logging.getLogger(__name__).debug("print %s", planned.request.name, exc_info=True)
        return Outcome(
            planned,
            "failed",
            f"a fault of the program ({type(error).__name__}: {error}); please report it with "
            "the job and the picture",
        )
    return Outcome(planned, done.status, "", done.bytes, seconds, done.notes, noted)
