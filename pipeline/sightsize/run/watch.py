"""A scheduler watched while its workers make prints, so that no run waits for ever.

A print's age says nothing: a large one takes minutes. What counts is whether the scheduler answers
and whether workers are heard of. A scheduler drops a silent worker by itself, after five minutes
unless it is told otherwise, and gives its prints to another; we wait longer than that.
"""

from collections.abc import Callable, Collection, Iterable, Mapping
from concurrent.futures import Future
from dataclasses import dataclass, field
from threading import Event, Thread
from time import monotonic
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from distributed import Client

ASK_SECONDS = 5.0
ANSWER_SECONDS = 60.0
WORKERS_SECONDS = 120.0
SILENT_SECONDS = 600.0

_Found = TypeVar("_Found")


def within(seconds: float, do: Callable[[], _Found]) -> _Found:
    """Return what a function does in a thread that nobody waits for any longer than so.

    Raises TimeoutError, and what the function raises. No library's own time limit is relied on.
    """
    done: Future[_Found] = Future()

    def run() -> None:
        try:
            done.set_result(do())
        except BaseException as error:
            done.set_exception(error)

    Thread(target=run, daemon=True).start()
    return done.result(seconds)


@dataclass
class Signs:
    """What was last seen of a scheduler and its workers, by this machine's clock."""

    address: str
    answered: float
    worked: float
    heard: dict[str, tuple[object, float]] = field(default_factory=dict)

    def note(self, now: float, seen: Mapping[str, object]) -> None:
        """Note an answer: what the scheduler says of when each worker was heard, by its clock."""
        self.answered = now
        self.heard = {
            name: known
            if (known := self.heard.get(name)) is not None and known[0] == said
            else (said, now)
            for name, said in seen.items()
        }
        if self.living(now):
            self.worked = now

    def living(self, now: float) -> set[str]:
        """Return the workers that were heard of lately."""
        return {name for name, (_, at) in self.heard.items() if now - at <= SILENT_SECONDS}

    def trouble(self, now: float, ours: Iterable[str] = ()) -> str:
        """Return why prints cannot be made there any more, or nothing.

        ``ours`` are the workers that hold our prints, where all of these have begun.
        """
        if now - self.answered > ANSWER_SECONDS:
            return f"the scheduler at {self.address} has not answered for {ANSWER_SECONDS:g} s"
        if now - self.worked > WORKERS_SECONDS:
            return f"the scheduler at {self.address} has had no worker for {WORKERS_SECONDS:g} s"
        holding = set(ours)
        if holding and not holding & self.living(now):
            names = ", ".join(sorted(holding))
            return f"nothing has been heard of worker {names} for {SILENT_SECONDS:g} s"
        return ""


class Watch:
    """Asks a scheduler again and again, in a thread of its own, whether prints can be made."""

    def __init__(self, client: "Client", address: str) -> None:
        now = monotonic()
        self._client = client
        self._signs = Signs(address, answered=now, worked=now)
        self._over = Event()
        self._trouble = ""
        Thread(target=self._ask, daemon=True).start()

    def trouble(self) -> str:
        """Return why prints cannot be made there any more, or nothing."""
        return self._trouble

    def stop(self) -> None:
        """Ask no more."""
        self._over.set()

    def _ask(self) -> None:
        while not self._over.wait(ASK_SECONDS) and not self._trouble:
            ours: Collection[str] = ()
            try:
                ours = within(ANSWER_SECONDS, self._look)
            except Exception:  # whatever goes wrong with asking: what counts is for how long
                if self._client.status == "closed":
                    self._trouble = f"the scheduler at {self._signs.address} has gone"
                    return
            self._trouble = self._signs.trouble(monotonic(), ours)

    def _look(self) -> Collection[str]:
        """Note which workers there are; return those that hold prints of ours, if all have one."""
        client = self._client
        said: Any = client.sync(client.scheduler.identity)
        workers = said["workers"]
        self._signs.note(monotonic(), {name: each["last_seen"] for name, each in workers.items()})
        waiting = {key for key, state in [*client.futures.items()] if state.status == "pending"}
        held = {key: name for name, keys in client.processing().items() for key in keys}
        return {held[key] for key in waiting} if waiting <= held.keys() else ()
