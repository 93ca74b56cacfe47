"""Time subjects in turn, so that a drift of the machine meets all of them alike.

*Warm* prints come from one process for each subject that has already made one print. *Cold*
prints come from a fresh process each. Only one process works at any time.

Keep this process small and import no picture library here: on Linux a child started by vfork
begins with its parent's peak as its own peak memory.
"""

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterable, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median
from tempfile import TemporaryFile
from typing import cast

from spec import Spec
from worker import CORES, Answer

WORKER = Path(__file__).with_name("worker.py")
KIB_PER_MIB = 1024


@dataclass(frozen=True, kw_only=True)
class Spent:
    """What a process took from its start to its end, what it wrote, and how it ended."""

    seconds: float
    peak_mib: float
    output: str
    errors: str
    code: int


def run_alone(command: Iterable[str | Path], environment: Mapping[str, str] | None = None) -> Spent:
    """Run a command in a fresh process to its end."""
    started = time.perf_counter()
    with TemporaryFile("w+", encoding="utf-8") as errors:
        process = subprocess.Popen(
            [*map(str, command)],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=errors,
            text=True,
            env=environment,
        )
        with process:
            assert process.stdout is not None
            output = process.stdout.read()
            peak_mib = ended(process)
        seconds = time.perf_counter() - started
        errors.seek(0)
        return Spent(
            seconds=seconds,
            peak_mib=peak_mib,
            output=output,
            errors=errors.read(),
            code=process.returncode,
        )


def ended(process: subprocess.Popen[str]) -> float:
    """Wait for the end of a process and return its peak resident memory in MiB."""
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    return usage.ru_maxrss / KIB_PER_MIB


@dataclass(kw_only=True)
class Row:
    """Every measurement of one subject; `missing` says why there are none."""

    subject: str
    warm_seconds: list[float] = field(default_factory=list)
    warm_cpu_seconds: list[float] = field(default_factory=list)
    cold_seconds: list[float] = field(default_factory=list)
    peaks_mib: list[float] = field(default_factory=list)
    missing: str = ""
    failed: bool = False

    @property
    def warm(self) -> float:
        """Median wall time of a warm print in seconds."""
        return median(self.warm_seconds)

    @property
    def warm_cpu(self) -> float:
        """Median processor time of a warm print in seconds, all threads together."""
        return median(self.warm_cpu_seconds)

    @property
    def cold(self) -> float:
        """Median wall time of a cold print in seconds, from starting the process to its end."""
        return median(self.cold_seconds)

    @property
    def peak_mib(self) -> float:
        """Median peak resident memory of the cold processes."""
        return median(self.peaks_mib)

    def note(self, answer: Answer) -> bool:
        """Note why a print was not made; return whether it was."""
        self.failed = self.failed or "failed" in answer
        self.missing = self.missing or answer.get("unavailable") or answer.get("failed") or ""
        return not self.missing


@dataclass(frozen=True, kw_only=True)
class Bench:
    """One run: the spec, its source, where prints go, what threads and cores a subject gets."""

    spec: Spec
    source: Path
    folder: Path
    threads: int
    cores: int | None = None

    def target(self, subject: str) -> Path:
        """Where a subject's print goes."""
        return self.folder / f"{subject.replace(':', '-')}.jpg"

    def cleared_target(self, subject: str) -> Path:
        """Where a subject's print goes, with any earlier one taken away."""
        target = self.target(subject)
        target.unlink(missing_ok=True)
        return target

    def command(self, subject: str, *paths: Path) -> list[str]:
        """How a worker is started for a subject: to serve, or for one print with the paths."""
        return [sys.executable, str(WORKER), subject, self.spec.name, *map(str, paths)]

    @property
    def environment(self) -> dict[str, str]:
        """The limits that hold for every subject alike."""
        threads = ("VIPS_CONCURRENCY", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS")
        limits = dict.fromkeys(("BENCHMARK_THREADS", *threads), str(self.threads))
        cores = {} if self.cores is None else {CORES: str(self.cores)}
        return os.environ | limits | cores

    def start(self, subject: str) -> subprocess.Popen[str]:
        """Start a worker that serves."""
        return subprocess.Popen(
            self.command(subject),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env=self.environment,
        )


def measure(bench: Bench, subjects: Iterable[str], runs: int) -> list[Row]:
    """Measure every subject `runs` times warm, then `runs` times cold."""
    rows = [Row(subject=subject) for subject in subjects]
    measure_warm(bench, rows, runs)
    measure_cold(bench, rows, runs)
    return rows


def measure_cold(bench: Bench, rows: list[Row], runs: int) -> None:
    """Have every subject make a print in a fresh process, `runs` times."""
    for _ in range(runs):
        for row in rows:
            if not row.missing:
                _print_cold(bench, row)


def measure_warm(bench: Bench, rows: list[Row], runs: int) -> None:
    """Have every subject make a print in a process that has just made one, `runs` times."""
    with ExitStack() as stack:
        workers = [stack.enter_context(bench.start(row.subject)) for row in rows]
        for _ in range(runs):
            for row, worker in zip(rows, workers, strict=True):
                if not row.missing:
                    _take_turn(bench, row, worker)


def _take_turn(bench: Bench, row: Row, worker: subprocess.Popen[str]) -> None:
    """Make one print to warm up and one that counts.

    Every turn warms up anew: a virtual machine gives freed memory back to its host while others
    work, and a subject that needs much of it would pay for that instead of for its work.
    """
    for _ in range(2):
        answer = ask(worker, bench.source, bench.cleared_target(row.subject))
        if not row.note(answer):
            return
    row.warm_seconds.append(answer["seconds"])
    row.warm_cpu_seconds.append(answer["cpu_seconds"])


def ask(worker: subprocess.Popen[str], source: Path, target: Path) -> Answer:
    """Have a serving worker make one print."""
    assert worker.stdin is not None
    assert worker.stdout is not None
    try:
        print(json.dumps([str(source), str(target)]), file=worker.stdin, flush=True)
    except BrokenPipeError:
        return _read("")
    return _read(worker.stdout.readline())


def _read(line: str) -> Answer:
    return cast(Answer, json.loads(line)) if line else {"failed": "the process ended early"}


def _print_cold(bench: Bench, row: Row) -> None:
    target = bench.cleared_target(row.subject)
    spent = run_alone(bench.command(row.subject, bench.source, target), bench.environment)
    if row.note(_read(spent.output)):
        row.cold_seconds.append(spent.seconds)
        row.peaks_mib.append(spent.peak_mib)
