"""Many prints on two cores: sightsize in threads and in processes, the floor and the peers.

Each batch is made by processes of its own, which warm up with one print; the batches take turns.
"""

import hashlib
import shutil
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from statistics import median

from crowd import NotMadeError, made_at_once
from goals import Claim
from looks import HOW, look_faults, looks_at_files, looks_table
from measure import Bench
from parts import Part, Setup
from sources import photograph
from spec import FLOOR, MONO_24X16, OURS, PEERS, TUNED
from tables import ratio, table

HEADINGS = ("batch", "prints", "s a print (min-max)", "rate / one core's", "peak MiB, all")

ONE_CORE = "sightsize on one core"
WORKERS_1, WORKERS_2 = "sightsize, `--workers 1`", "sightsize, `--workers 2`"
DEFAULT = WORKERS_2
"""What `sightsize make` does with many prints on two cores unless it is told otherwise."""
PICTURES, BATCH = "pictures", "batch"

TEXT = """\
## Batch

The 24-megapixel print again and again. sightsize makes a whole batch in one process, from files of
different names; the floor and the scripts run in as many processes as prints are made at once,
each with a thread, and so does the last row. What runs on one core is bound to it."""


@dataclass(kw_only=True)
class Batch:
    """A way to make many prints, and what it took.

    `workers` is for sightsize's own way: one process that gets a whole folder of pictures.
    """

    name: str
    subject: str
    prints: int
    processes: int = 1
    workers: int = 0
    threads: int = 1
    cores: int | None = None
    seconds: list[float] = field(default_factory=list)
    peaks_mib: list[float] = field(default_factory=list)
    missing: str = ""
    failed: bool = False

    @property
    def print_seconds(self) -> list[float]:
        """Wall time of each run in seconds, shared out among its prints."""
        return [seconds / self.prints for seconds in self.seconds]


def part(setup: Setup) -> Part:
    """Measure every batch, and hold the prints against one another."""
    bench = setup.bench(MONO_24X16, photograph(setup.cache, MONO_24X16.source))
    bench = replace(bench, folder=bench.folder / BATCH)
    bench.folder.mkdir()
    _link(bench.folder / "first", bench.source, 1)
    _link(bench.folder / PICTURES, bench.source, setup.prints)
    batches, hashes = batches_of(setup), Counter[str]()
    for _ in range(setup.runs):
        for batch in batches:
            if not batch.missing:
                _take_turn(bench, batch, hashes)
    looks = looks_at_files(bench, _to_look_at(bench.folder, batches))
    agreed = f"The {hashes.total()} prints of the first three are {len(hashes)} file to the byte."
    sections = [TEXT, table(HEADINGS, cells(batches)), agreed, HOW, looks_table(looks)]
    return Part(
        text="\n\n".join(sections) + "\n",
        claims=tuple(claims_of(batches, setup)),
        faults=(*batch_faults(batches, hashes, setup.runs), *look_faults(looks)),
    )


def batches_of(setup: Setup) -> list[Batch]:
    """Return every batch to measure."""
    many, few = setup.prints, max(setup.peer_prints // 2, 1) * 2
    one, two = f"subject_{BATCH}:1", f"subject_{BATCH}:2"
    return [
        Batch(name=ONE_CORE, subject=one, prints=many, workers=1, cores=1),
        Batch(name=WORKERS_1, subject=one, prints=many, workers=1, threads=2),
        Batch(name=WORKERS_2, subject=two, prints=many, workers=2),
        Batch(name=f"{FLOOR} on one core", subject=FLOOR, prints=few, cores=1),
        *(
            Batch(name=f"{subject}, two at once", subject=subject, prints=few, processes=2)
            for subject in (FLOOR, *PEERS, TUNED, OURS)
            if subject in setup.subjects
        ),
    ]


def _link(folder: Path, source: Path, count: int) -> None:
    """Make a folder of so many names for one picture."""
    folder.mkdir()
    for number in range(1, count + 1):
        (folder / f"picture-{number:03}.jpg").symlink_to(source.resolve())


def _take_turn(bench: Bench, batch: Batch, hashes: Counter[str]) -> None:
    bench = replace(bench, threads=batch.threads, cores=batch.cores)
    folder = bench.folder
    if batch.workers:
        first = [(folder / "first", folder / "made-first")]
        then = [[(folder / PICTURES, folder / "made")]]
    else:
        first = [(bench.source, _target(folder, batch, at)) for at in range(batch.processes)]
        then = [[request] * (batch.prints // batch.processes) for request in first]
    try:
        took = made_at_once(bench, batch.subject, first, then)
    except NotMadeError as error:
        batch.missing, batch.failed = str(error), error.failed
    else:
        batch.seconds.append(took.seconds)
        batch.peaks_mib.append(took.peak_mib)
    if batch.workers:
        hashes.update(_hashes(folder / "made"))
        for made in (folder / "made", folder / "made-first"):
            shutil.rmtree(made, ignore_errors=True)


def _target(folder: Path, batch: Batch, process: int) -> Path:
    """Where a process puts its print; the first one's is looked at."""
    return folder / (f"{batch.subject}-{process}.jpg" if process else f"{batch.subject}.jpg")


def _hashes(folder: Path) -> Iterator[str]:
    """Hash the prints of a batch; one of them is kept to be looked at."""
    for path in sorted(folder.glob("prints/*.jpg")):
        with path.open("rb") as file:
            yield hashlib.file_digest(file, "sha256").hexdigest()
        path.replace(folder.with_name(f"{BATCH}.jpg"))


def _to_look_at(folder: Path, batches: Sequence[Batch]) -> list[Path]:
    made = {_target(folder, batch, 0) for batch in batches if not (batch.workers or batch.missing)}
    return [*sorted(made), *folder.glob(f"{BATCH}.jpg")]


def batch_faults(batches: Sequence[Batch], hashes: Counter[str], runs: int) -> Iterator[str]:
    """Say what failed, and whether sightsize's prints are too few or not all the same."""
    for batch in batches:
        if batch.failed:
            yield f"{batch.name}: {batch.missing.strip().rpartition(chr(10))[2]}"
    expected = runs * sum(batch.prints for batch in batches if batch.workers)
    if hashes.total() != expected:
        yield f"batch: {hashes.total()} prints were made, {expected} were asked for"
    if len(hashes) > 1:
        yield f"batch: workers and threads made {len(hashes)} different files of one print"


def cells(batches: Sequence[Batch]) -> list[list[str]]:
    """Return the time of a print, the rate beside the same subject's on one core, and memory."""
    one_core = {_program(batch): batch for batch in batches if batch.cores == 1}
    rows = []
    for batch in batches:
        if not batch.seconds:
            rows.append([batch.name, "failed" if batch.failed else "not available"])
            continue
        times, alone = batch.print_seconds, one_core.get(_program(batch))
        rate = ratio(median(alone.print_seconds), median(times)) if alone else ""
        spread = f"{median(times):.2f} ({min(times):.2f}-{max(times):.2f})"
        rows.append([batch.name, str(batch.prints), spread, rate, f"{median(batch.peaks_mib):.0f}"])
    return rows


def _program(batch: Batch) -> str:
    return OURS if batch.workers else batch.subject


def claims_of(batches: Sequence[Batch], setup: Setup) -> Iterator[Claim]:
    """Yield how sightsize, left as it is, stands to one core and to the fastest peer."""
    times = {batch.name: median(batch.print_seconds) for batch in batches if batch.seconds}
    peers = [times[name] for peer in PEERS if (name := f"{peer}, two at once") in times]
    only = f"{setup.runs} x {setup.prints} prints"
    if DEFAULT in times and ONE_CORE in times:
        yield Claim(goal="core", value=times[ONE_CORE] / times[DEFAULT], only=only)
    if DEFAULT in times and peers:
        yield Claim(goal="peer batch", value=min(peers) / times[DEFAULT], only=only)
