"""Prints handed to threads and processes: limits, workers that die, and interrupts."""

import asyncio
import os
import signal
import subprocess
import sys
import time
from collections import deque
from collections.abc import Callable
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from threading import Barrier, Lock
from typing import Any

import numpy as np
import pytest
import pyvips

from pictures import job, save
from sightsize.archive.audit import audit_docket
from sightsize.delivery.ground import Ground
from sightsize.docket.store import Docket
from sightsize.model.job import Job
from sightsize.plan.arrange import arrange
from sightsize.run.batch import make_prints
from sightsize.run.planner import plan_prints
from sightsize.run.queue import QueuedPrint, Room, hand_out
from sightsize.run.worker import Order, Outcome, make_print
from speed import first_is_quick

PX = (600, 600)
SPAWN = get_context("spawn")


def many_prints(folder: Path, count: int = 6, px: tuple[int, int] = PX) -> Job:
    pixels = np.random.default_rng(5).integers(40, 200, (200, 200, 3)).astype(np.uint8)
    save(folder / "a.tif", pixels)
    pictures = {f"p{at}": {"source": "a.tif", "centre_on": [at / 9, 0.5]} for at in range(count)}
    planned = job(folder, pictures, px, sharpen={"gain": 0.8})
    planned.output.mkdir(exist_ok=True)
    return planned


def made(
    planned: Job,
    executor: Executor | None,
    workers: int | None = 2,
    make: Callable[[Order], Outcome] = make_print,
) -> list[Outcome]:
    with Docket(planned.output / "docket.toml") as docket:
        return make_prints(
            planned,
            plan_prints(planned, arrange(planned), docket=docket),
            replace="nothing",
            workers=workers,
            docket=docket,
            executor=executor,
            make=make,
        )


def states_on_disk(planned: Job) -> list[str]:
    return [each.state for each in audit_docket(Docket(planned.output / "docket.toml"))]


def names_in(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


# Any executor.


def test_processes_make_the_very_files_that_threads_make(tmp_path: Path) -> None:
    (tmp_path / "by-threads").mkdir()
    (tmp_path / "by-processes").mkdir()
    by_threads = many_prints(tmp_path / "by-threads", 3)
    by_processes = many_prints(tmp_path / "by-processes", 3)
    made(by_threads, None)
    with ProcessPoolExecutor(2, mp_context=SPAWN) as pool:
        outcomes = made(by_processes, pool)
        assert [each.status for each in made(by_processes, pool)] == ["kept"] * 3
    assert [each.status for each in outcomes] == ["made"] * 3
    assert [each.planned.name for each in outcomes] == ["p0.tif", "p1.tif", "p2.tif"]
    assert states_on_disk(by_processes) == ["whole"] * 3
    for name in ("p0.tif", "p1.tif", "p2.tif"):
        first, second = (each.output / name for each in (by_threads, by_processes))
        assert first.read_bytes() == second.read_bytes()


def die_at_p1(order: Order) -> Outcome:
    if order.plan.name == "p1.tif":
        os.kill(os.getpid(), signal.SIGKILL)
    return make_print(order)


def test_a_process_that_dies_is_a_failure_and_the_next_run_goes_on(tmp_path: Path) -> None:
    planned = many_prints(tmp_path, 3)
    with ProcessPoolExecutor(1, mp_context=SPAWN) as pool:
        outcomes = made(planned, pool, 1, die_at_p1)
    assert [each.status for each in outcomes] == ["made", "failed", "failed"]
    assert "worker or scheduler was lost" in outcomes[1].message
    assert [each.status for each in made(planned, None)] == ["kept", "made", "made"]


# No more at a time than there are hands and memory.


@pytest.mark.parametrize(
    ("cores", "prints", "at_once", "threads"), [(3, 6, 3, 1), (3, 2, 2, 1), (4, 2, 2, 2)]
)
def test_prints_share_the_cores_when_nothing_is_said_of_workers(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    cores: int,
    prints: int,
    at_once: int,
    threads: int,
) -> None:
    for module in ("run.batch", "run.worker"):
        monkeypatch.setattr(f"sightsize.{module}.cores", lambda: cores)
    monkeypatch.delenv("VIPS_CONCURRENCY", raising=False)
    together, lock, running, most = Barrier(at_once, timeout=60), Lock(), 0, 0
    counts = set()

    def make(order: Order) -> Outcome:
        nonlocal running, most
        with lock:
            running += 1
            most = max(most, running)
        counts.add(pyvips.vips_lib.vips_concurrency_get())
        together.wait()
        with lock:
            running -= 1
        return Outcome(planned=order.planned, status="made")

    outcomes = made(many_prints(tmp_path, prints), None, workers=None, make=make)
    assert [each.status for each in outcomes] == ["made"] * prints
    assert (most, counts) == (at_once, {threads})


def tasks_of(planned: Job, peaks: list[int]) -> deque[QueuedPrint]:
    prints = plan_prints(planned, arrange(planned))
    found: deque[QueuedPrint] = deque()
    for number, (each, peak) in enumerate(zip(prints, peaks, strict=True)):
        assert each.plan is not None
        order = Order(
            planned=each,
            plan=each.plan,
            ground=Ground(folder=planned.output),
        )
        found.append(QueuedPrint(number, order, peak))
    return found


@pytest.mark.parametrize(
    ("limits", "peaks", "together"),
    [
        (Room(prints=3), [10] * 6, 3),
        (Room(prints=3, bytes=20), [10] * 6, 2),
        (Room(prints=3, bytes=29), [10] * 6, 2),
        (Room(prints=6, bytes=60), [10] * 6, 6),
        (Room(prints=3, bytes=5), [10] * 6, 1),
        (Room(prints=3, bytes=0), [10] * 6, 1),
    ],
)
def test_no_more_at_a_time_than_fit(
    tmp_path: Path, limits: Room, peaks: list[int], together: int
) -> None:
    lock, running, most = Lock(), [0], [0]

    def make(order: Order) -> Outcome:
        with lock:
            running[0] += 1
            most[0] = max(most[0], running[0])
        time.sleep(0.05)
        with lock:
            running[0] -= 1
        return Outcome(planned=order.planned, status="made")

    finished: list[int] = []
    tasks = tasks_of(many_prints(tmp_path), peaks)
    with ThreadPoolExecutor(8) as threads:
        hand_out(
            tasks,
            threads,
            make,
            limits,
            lambda _: None,
            lambda task, _: finished.append(task.number),
        )
    assert sorted(finished) == list(range(6))
    assert most[0] == together


# What comes back that is no outcome, and what never comes back.


class Hands(Executor):
    """An executor that gives each order a future, prepared beforehand."""

    def __init__(self, *futures: "Future[Any]") -> None:
        self._futures = deque(futures)

    def submit(self, *_: Any, **__: Any) -> "Future[Any]":
        return self._futures.popleft()


def future(result: object = None, error: BaseException | None = None) -> "Future[Any]":
    found: Future[Any] = Future()
    found.set_exception(error) if error else found.set_result(result)
    return found


def handed_out(planned: Job, hands: Executor, **options: Any) -> list[tuple[str, str]]:
    """Status and message of each print."""
    found: dict[int, Outcome] = {}
    tasks = tasks_of(planned, [1] * len(planned.prints))
    room = Room(prints=2)
    hand_out(
        tasks,
        hands,
        make_print,
        room,
        lambda _: None,
        lambda task, outcome: found.__setitem__(task.number, outcome),
        **options,
    )
    return [(found[number].status, found[number].message) for number in sorted(found)]


@pytest.mark.parametrize(
    ("back", "said"),
    [
        (future("print me"), "was lost (no outcome came back)"),
        (future(error=SystemExit(0)), "was lost (0)"),
        (future(error=KeyboardInterrupt()), "was lost (KeyboardInterrupt)"),
        (future(error=asyncio.CancelledError()), "was lost (CancelledError)"),
        (future(error=ValueError("x" * 10**6)), "was lost (xxx"),
    ],
)
def test_a_worker_can_end_no_run_by_what_it_sends(
    tmp_path: Path, back: "Future[Any]", said: str
) -> None:
    ((status, message),) = handed_out(many_prints(tmp_path, 1), Hands(back))
    assert status == "failed"
    assert said in message
    assert len(message) < 400
    assert message.endswith("run the same command to continue")


def test_prints_that_nothing_more_comes_back_of_are_given_up(tmp_path: Path) -> None:
    planned = many_prints(tmp_path, 5)
    first = tasks_of(planned, [1] * 5)[0].order.planned
    hands = Hands(future(Outcome(planned=first, status="made")), Future(), Future())
    outcomes = handed_out(planned, hands, lost=lambda: "the scheduler has gone")
    assert outcomes[0] == ("made", "")
    said = "the scheduler has gone; run the same command to continue"
    assert outcomes[1:] == [("failed", said)] * 4


# Interrupted, and gone on with.

MAKE_WITH_PROCESSES = """
import signal, sys
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from sightsize import cli
from sightsize.commands import make

if __name__ == "__main__":
    ignore = signal.signal, (signal.SIGINT, signal.SIG_IGN)
    context = get_context("spawn")
    with ProcessPoolExecutor(
        2, mp_context=context, initializer=ignore[0], initargs=ignore[1]
    ) as pool:
        make_prints = make.make_prints
        make.make_prints = lambda *a, **k: make_prints(*a, **{**k, "executor": pool, "workers": 2})
        cli.app(["make", sys.argv[1]])
"""


def interrupted(planned: Job, command: list[str]) -> subprocess.CompletedProcess[str]:
    """Run a command, and send it what Ctrl-C sends, to all its processes, in its second print."""
    process = subprocess.Popen(
        [sys.executable, *command],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    until = time.monotonic() + 30
    while process.poll() is None and time.monotonic() < until:
        held = names_in(planned.output)
        if ".docket.json" in held and any(name.startswith(".p") for name in held):
            break
        time.sleep(0.002)
    os.killpg(process.pid, signal.SIGINT)
    stdout, stderr = process.communicate(timeout=60)
    return subprocess.CompletedProcess(command, process.returncode, stdout, stderr)


@pytest.mark.skipif(os.name != "posix", reason="signals to a group of processes are POSIX")
@pytest.mark.parametrize("kind", first_is_quick(["one thread", "threads", "processes"]))
def test_interrupted_and_gone_on_with(tmp_path: Path, kind: str) -> None:
    planned = many_prints(tmp_path, 6, (800, 800))
    command = ["-m", "sightsize", "make", str(planned.path)]
    if kind == "threads":
        command += ["--workers", "2"]
    if kind == "processes":
        (tmp_path / "run.py").write_text(MAKE_WITH_PROCESSES, encoding="utf-8")
        command = [str(tmp_path / "run.py"), str(planned.path)]
    done = interrupted(planned, command)
    assert done.returncode == 130, done.stderr
    assert done.stderr.endswith("interrupted; run the same command to continue\n")
    assert "Traceback" not in done.stderr
    prints = [name for name in names_in(planned.output) if name.endswith(".tif")]
    assert names_in(planned.output) == sorted([".docket.json", "docket.toml", *prints])
    assert states_on_disk(planned) == ["whole"] * len(prints)
    assert 1 <= len(prints) < 6
    before = {name: (planned.output / name).stat().st_mtime_ns for name in prints}
    again = subprocess.run(
        [sys.executable, "-m", "sightsize", "make", str(planned.path)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert again.returncode == 0, again.stderr
    assert f"{6 - len(prints)} made, {len(prints)} kept" in again.stdout
    assert {name: (planned.output / name).stat().st_mtime_ns for name in prints} == before
