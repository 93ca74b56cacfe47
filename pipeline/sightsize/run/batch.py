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
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor, ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

from sightsize.base.paths import places
from sightsize.delivery.ground import Ground, Noted, Replace
from sightsize.docket.recall import is_recorded
from sightsize.docket.store import Docket, Record
from sightsize.errors import DocketError
from sightsize.model.job import Job
from sightsize.plan.estimates import peak_bytes
from sightsize.plan.file_names import files_of
from sightsize.plan.picture import PicturePlan
from sightsize.plan.sheet import FilePlan
from sightsize.run.planned_print import PlannedPrint
from sightsize.run.protected import protected_files
from sightsize.run.queue import Make, QueuedPrint, Room, hand_out
from sightsize.run.worker import (
    Order,
    Outcome,
    cores,
    failed,
    fair_share,
    make_print,
    set_libvips_threads,
)


def make_prints(
    job: Job,
    prints: Sequence[PlannedPrint],
    *,
    replace: Replace = "nothing",
    workers: int | None,
    started: Callable[[str], None] = lambda _: None,
    finished: Callable[[Outcome], None] = lambda _: None,
    winding_up: Callable[[int], None] = lambda _: None,
    docket: Docket | None = None,
    executor: Executor | None = None,
    make: Make = make_print,
    memory_bytes: int | None = None,
    lost: Callable[[], str] | None = None,
) -> list[Outcome]:
    """Make every print that is not refused; return the outcomes in the order of ``prints``.

    ``make`` is run by ``executor``, or by as many threads as ``workers``, which is one for each
    core unless given. No more than ``workers`` prints are handed out at a time, and no more than
    are estimated to fit into ``memory_bytes``. ``lost`` says why an executor is given up, or
    nothing.

    ``replace`` says which of the files that the docket calls ours may be written over.

    ``started``, with the file's name, and ``finished`` are called in this thread, as a print is
    handed out and as it comes back; ``winding_up``, with how many are finished still, once this
    process is told to stop. Each print is noted in the docket as it comes back; one that is
    noted there and has not changed is kept.
    """
    protected = protected_files(job, docket)
    records = docket.records if docket else {}
    outcomes: dict[int, Outcome] = {}
    tasks: deque[QueuedPrint] = deque()

    def finish(number: int, outcome: Outcome) -> None:
        if docket is not None and outcome.record is not None:
            outcome = _note(docket, outcome, outcome.record)
        outcomes[number] = outcome
        finished(outcome)

    for number, planned in enumerate(prints):
        record = records.get(planned.name)
        plan = planned.plan
        if plan is None or planned.refused:
            why = tuple(each for each in planned.findings if each.level == "refuse")
            finish(number, Outcome(planned=planned, status="refused", findings=why))
        elif record is not None and is_recorded(record, plan, job.output / record["file"]):
            size = record["output"]["bytes"]
            finish(number, Outcome(planned=planned, status="kept", bytes=size))
        else:
            ground = _ground(job.output, plan, protected, replace, record)
            order = Order(planned=planned, plan=plan, ground=ground)
            tasks.append(QueuedPrint(number, order, peak_bytes(plan)))
    if tasks:
        workers = workers or min(cores(), len(tasks))
        with _hands(executor, workers) as hands:
            room = Room(prints=workers, bytes=memory_bytes)
            hand_out(
                tasks,
                hands,
                make,
                room,
                started,
                lambda task, made: finish(task.number, made),
                winding_up,
                lost,
            )
    return [outcomes[number] for number in range(len(prints))]


def _note(docket: Docket, outcome: Outcome, record: Record) -> Outcome:
    try:
        docket.note(record)
    except (OSError, DocketError) as error:
        why = error.strerror if isinstance(error, OSError) and error.strerror else error
        return failed(outcome.planned, f"it was made, but cannot be noted in the docket: {why}")
    return outcome


def _ground(
    folder: Path,
    plan: FilePlan[PicturePlan],
    protected: Mapping[Path, str],
    replace: Replace,
    record: Record | None,
) -> Ground:
    """Where a print goes, which travels with only those protected files that it could hit."""
    places_hit = {place for each in files_of(plan, folder) for place in places(each)}
    return Ground(
        folder=folder,
        protected={each: protected[each] for each in places_hit & protected.keys()},
        noted=_noted(folder, record) if record is not None else None,
        replace=replace,
    )


def _noted(folder: Path, record: Record) -> Noted:
    masters = {folder / each["file"]: each["sha256"] for each in record.get("masters", ())}
    files = {folder / record["file"]: record["output"]["sha256"], **masters}
    return Noted(record["identity"], files)


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
