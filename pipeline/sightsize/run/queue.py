"""Orders handed to an executor, no more at a time than it has hands and the memory has room for."""

from collections import deque
from collections.abc import Callable, Collection
from concurrent.futures import FIRST_COMPLETED, CancelledError, Executor, Future, wait
from dataclasses import dataclass

from sightsize.run.worker import Order, Outcome, failed

Make = Callable[[Order], Outcome]

_LOOK_SECONDS = 1.0
_LONGEST_REASON = 200


@dataclass(frozen=True)
class QueuedPrint:
    """An order with its place in the batch and the memory it is estimated to take."""

    number: int
    order: Order
    peak_bytes: int


@dataclass(frozen=True, kw_only=True)
class Room:
    """How many prints may be made at a time, and what they may take together."""

    prints: int
    bytes: int | None = None

    def admit(self, task: QueuedPrint, others: Collection[QueuedPrint]) -> bool:
        """Return whether a task may join others; one alone always may."""
        if not others:
            return True
        if len(others) >= self.prints:
            return False
        total = task.peak_bytes + sum(other.peak_bytes for other in others)
        return self.bytes is None or total <= self.bytes


def hand_out(
    tasks: deque[QueuedPrint],
    executor: Executor,
    make: Make,
    room: Room,
    started: Callable[[str], None],
    finish: Callable[[QueuedPrint, Outcome], None],
    winding_up: Callable[[int], None] = lambda _: None,
    lost: Callable[[], str] | None = None,
) -> None:
    """Have every task made; ``started`` and ``finish`` are called in this thread.

    The next print is handed out before the last one is dealt with, so that no hand waits for it.
    After an interrupt, which is raised again, nothing more is handed out, and what is being made is
    finished where the executor cannot drop it; ``winding_up`` is told how many prints that are.

    Where ``lost`` is given and says why nothing more comes back from the executor, no print is
    waited for any longer.
    """
    running: dict[Future[Outcome], QueuedPrint] = {}
    ended: set[Future[Outcome]] = set()
    try:
        while tasks or running:
            made = [task for future, task in running.items() if future not in ended]
            while tasks and room.admit(tasks[0], made):
                task = tasks.popleft()
                started(task.order.planned.name)
                running[_submit(executor, make, task)] = task
                made.append(task)
            for future in ended:
                finish(running[future], _outcome(future, running[future]))
                del running[future]
            look = _LOOK_SECONDS if lost else None
            ended = wait(running, look, return_when=FIRST_COMPLETED).done
            if lost and not ended and (why := lost()):
                for task in (*running.values(), *tasks):
                    finish(task, _given_up(task, why))
                return
    except BaseException:
        _wind_up(running, finish, winding_up)
        raise


def _wind_up(
    running: dict[Future[Outcome], QueuedPrint],
    finish: Callable[[QueuedPrint, Outcome], None],
    winding_up: Callable[[int], None],
) -> None:
    kept = [future for future in running if not future.cancel()]
    unfinished = sum(not future.done() for future in kept)
    if unfinished:
        winding_up(unfinished)
    for future in kept:
        finish(running[future], _outcome(future, running[future]))


def _submit(executor: Executor, make: Make, task: QueuedPrint) -> Future[Outcome]:
    try:
        return executor.submit(make, task.order)
    except Exception as error:  # an executor that is broken says so here
        failed: Future[Outcome] = Future()
        failed.set_exception(error)
        return failed


def _outcome(future: Future[Outcome], task: QueuedPrint) -> Outcome:
    """What became of a task, also when whoever made it is gone, or sends what is no outcome."""
    made: object = None
    error: BaseException | None
    try:
        error = future.exception()
        made = future.result() if error is None else None
    except CancelledError as cancelled:
        error = cancelled
    if isinstance(made, Outcome):
        return made
    said = "no outcome came back" if error is None else str(error)
    reason = " ".join(said.split())[:_LONGEST_REASON] or type(error).__name__
    return _given_up(task, f"its worker or scheduler was lost ({reason})")


def _given_up(task: QueuedPrint, why: str) -> Outcome:
    return failed(task.order.planned, f"{why}; run the same command to continue")
