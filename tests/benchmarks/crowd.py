"""Several workers at once, each making one print after the other."""

import subprocess
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from measure import Bench, ask, ended

Request = tuple[Path, Path]
"""Source and target of a print, as a worker takes them."""


class NotMadeError(Exception):
    """A subject that cannot run here, or one that failed; the message says why."""

    def __init__(self, message: str, *, failed: bool) -> None:
        super().__init__(message)
        self.failed = failed


@dataclass(frozen=True)
class Took:
    """Wall time of all prints in seconds, and the peak memory of all processes together."""

    seconds: float
    peak_mib: float


def made_at_once(
    bench: Bench, subject: str, first: Sequence[Request], then: Sequence[Sequence[Request]]
) -> Took:
    """Start a worker for each request of `first`; time them at what each is asked `then`.

    Raises NotMadeError.
    """
    with ExitStack() as stack, ThreadPoolExecutor(len(first)) as pool:
        workers = [stack.enter_context(bench.start(subject)) for _ in first]
        list(pool.map(_make, workers, [[request] for request in first]))
        started = time.perf_counter()
        list(pool.map(_make, workers, then))
        seconds = time.perf_counter() - started
        return Took(seconds, sum(_close(worker) for worker in workers))


def _make(worker: subprocess.Popen[str], requests: Sequence[Request]) -> None:
    for source, target in requests:
        answer = ask(worker, source, target)
        if "failed" in answer:
            raise NotMadeError(answer["failed"], failed=True)
        if "unavailable" in answer:
            raise NotMadeError(answer["unavailable"], failed=False)


def _close(worker: subprocess.Popen[str]) -> float:
    assert worker.stdin is not None
    worker.stdin.close()
    return ended(worker)
