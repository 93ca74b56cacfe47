"""Many prints: read the headers, plan, check, and make what passed, one print's failure alone.

Prints are made by any executor; the docket and what is said of progress stay in this process.
Unless another is given, workers are threads, for libvips lets go of Python while it works. Measured
on two busy cores, six prints of 24 megapixels, processor time with two threads and two processes:
plain black and white 12.5 and 14.2 s, spotted with every control 14.2 and 20.1 s. Processes load
everything twice and study a picture's small copy in each, so that they gain nothing.

A print alone leaves a part of two cores idle, since a decoder, an encoder and the reading back each
keep to one. Two at a time, each with a thread of libvips, took 1.2 s a print where one at a time
took 1.7 s (medians of three runs of eight plain prints in turn, on a busy machine).
"""

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Executor, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace as replace_fields
from pathlib import Path

from sightsize.checks.run import check_file, check_opened
from sightsize.docket import Docket, Record
from sightsize.findings import Finding
from sightsize.handing import Limits, Make, Task, hand_out
from sightsize.job import Job, PrintRequest
from sightsize.making import (
    Order,
    Outcome,
    PlannedPrint,
    cores,
    fair_share,
    make_print,
    set_libvips_threads,
)
from sightsize.masters import files_of
from sightsize.memory import peak_bytes
from sightsize.paths import places, resolved
from sightsize.plan import (
    FilePlan,
    PicturePlan,
    PlacedPicture,
    UnopenedPicture,
    plan_picture,
)
from sightsize.record import is_recorded, recorded_header

__all__ = ["Outcome", "PlannedPrint", "make_prints", "plan_prints"]


def plan_prints(
    job: Job,
    files: Iterable[FilePlan[UnopenedPicture]],
    *,
    pictures: bool = True,
    docket: Docket | None = None,
) -> list[PlannedPrint]:
    """Plan and check a job's files; without ``pictures`` no file but the job is opened.

    What a docket says of a picture that has not changed since is not read again.
    """
    records = docket.records if docket else {}
    sources = job_sources(job)
    return [_plan(job, each, pictures, records.get(each.name), sources) for each in files]


def job_sources(job: Job) -> frozenset[Path]:
    """Return the job's pictures, links followed, none of which is ever written."""
    return frozenset(resolved(each.look.picture.source) for each in job.prints)


def _plan(
    job: Job,
    file: FilePlan[UnopenedPicture],
    pictures: bool,
    record: Record | None,
    sources: frozenset[Path],
) -> PlannedPrint:
    findings = [*check_file(file, str(job.path)), *_hit_sources(job, file, sources)]
    if not pictures:
        return PlannedPrint(file, None, tuple(findings))
    opened, unreadable = _opened(job, file, record)
    findings += unreadable
    if opened is not None:
        findings += check_opened(opened, str(job.path))
    return PlannedPrint(file, opened, tuple(findings))


def _opened(
    job: Job, file: FilePlan[UnopenedPicture], record: Record | None
) -> tuple[FilePlan[PicturePlan] | None, list[Finding]]:
    """The file with its pictures opened, or what is wrong with those that cannot be."""
    # Imported here so that a check without pictures never loads libvips.
    from sightsize.errors import SourceError
    from sightsize.picture.upright import read_header

    placed, findings = [], []
    for each in file.pictures:
        look, size = each.request.look, each.picture.size
        try:
            header = recorded_header(record, look.picture.source, job.output)
            header = header or read_header(look.picture.source)
        except SourceError as error:
            findings.append(_source_finding(job, each.request, "picture.source", str(error)))
            continue
        if not size.is_empty:
            picture = plan_picture(look, header, size)
            placed.append(PlacedPicture(request=each.request, picture=picture, place=each.place))
    if len(placed) < len(file.pictures):
        return None, findings
    return file.with_pictures(tuple(placed)), []


def _hit_sources(
    job: Job, file: FilePlan[UnopenedPicture], sources: frozenset[Path]
) -> Iterator[Finding]:
    """Yield each file of a print that would be written over a source."""
    for each in files_of(file, job.output):
        if sources & places(each):
            name = each.relative_to(job.output).as_posix()
            said = f"{name} is a source picture of this job; choose another name or output"
            yield _source_finding(job, file.request, "delivery.name", said)


def _source_finding(job: Job, request: PrintRequest, key: str, message: str) -> Finding:
    origin = request.origin(key)
    said = message if message.endswith("?") else f"{message}."
    finding = Finding(level="stop", check="source", message=said)
    return finding.at(str(job.path), origin.line, origin.column, origin.key)


def make_prints(
    job: Job,
    prints: Sequence[PlannedPrint],
    *,
    replace: bool,
    workers: int | None,
    started: Callable[[str], None] = lambda _: None,
    finished: Callable[[Outcome], None] = lambda _: None,
    docket: Docket | None = None,
    executor: Executor | None = None,
    make: Make = make_print,
    memory_bytes: int | None = None,
) -> list[Outcome]:
    """Make every print that is not refused; return the outcomes in the order of ``prints``.

    ``make`` is run by ``executor``, or by as many threads as ``workers``, which is one for each
    core unless given. No more than ``workers`` prints are handed out at a time, and no more than
    are estimated to fit into ``memory_bytes``.

    ``started``, with the file's name, and ``finished`` are called in this thread, as a print is
    handed out and as it comes back. Each print is noted in the docket as it comes back; one that is
    noted there and has not changed is kept.
    """
    sources = job_sources(job)
    records = docket.records if docket else {}
    outcomes: dict[int, Outcome] = {}
    tasks: deque[Task] = deque()

    def finish(number: int, outcome: Outcome) -> None:
        if docket is not None and outcome.record is not None:
            outcome = _noted(docket, outcome, outcome.record)
        outcomes[number] = outcome
        finished(outcome)

    for number, planned in enumerate(prints):
        record = records.get(planned.name)
        plan = planned.plan
        if plan is None or planned.refused:
            stops = [each.message for each in planned.findings if each.level == "stop"]
            finish(number, Outcome(planned, "refused", stops[0]))
        elif record is not None and is_recorded(record, plan, job.output / record["file"]):
            finish(number, Outcome(planned, "kept", "", record["output"]["bytes"]))
        else:
            order = _order(job.output, planned, plan, sources, replace, record)
            tasks.append(Task(number, order, peak_bytes(plan)))
    if tasks:
        workers = workers or min(cores(), len(tasks))
        with _hands(executor, workers) as hands:
            limits = Limits(prints=workers, bytes=memory_bytes)
            hand_out(
                tasks, hands, make, limits, started, lambda task, made: finish(task.number, made)
            )
    return [outcomes[number] for number in range(len(prints))]


def _noted(docket: Docket, outcome: Outcome, record: Record) -> Outcome:
    try:
        docket.note(record)
    except OSError as error:
        why = f"it was made, but {docket.path.name} cannot be written"
        return replace_fields(outcome, status="failed", message=f"{why}: {error.strerror or error}")
    return outcome


def _order(
    folder: Path,
    planned: PlannedPrint,
    plan: FilePlan[PicturePlan],
    sources: frozenset[Path],
    replace: bool,
    record: Record | None,
) -> Order:
    """The order of a print, which travels with only those sources that it could hit."""
    hit = sources & {place for each in files_of(plan, folder) for place in places(each)}
    noted = (record["identity"], record["output"]["sha256"]) if record is not None else None
    return Order(
        planned=planned, plan=plan, folder=folder, sources=hit, replace=replace, noted=noted
    )


@contextmanager
def _hands(executor: Executor | None, workers: int) -> Iterator[Executor]:
    """The executor given, which stays its owner's, or threads for the while."""
    if executor is not None:
        yield executor
        return
    before = set_libvips_threads(fair_share(workers))
    try:
        with ThreadPoolExecutor(max_workers=workers) as threads:
            yield threads
    finally:
        set_libvips_threads(before)
