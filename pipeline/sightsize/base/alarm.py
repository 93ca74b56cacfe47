"""An end to what takes too long in the main thread: reading a job, planning a print.

The system's timer interrupts the thread, and the exception comes between two steps of Python. So
this cannot stop one long step, such as a single search of a pattern, a sort, or a call of libvips:
it ends first. It does not stop a read that the system itself cannot interrupt, nor other threads.
Where there is no such timer (Windows), and outside the main thread, there is no limit at all.
"""

import signal
import threading
from time import monotonic
from types import FrameType, TracebackType
from typing import Any

from sightsize.errors import OutOfTimeError

_AGAIN_SECONDS = 0.5
"""An exception raised in a callback of C is lost, so it is raised again."""

_ALARMS: "list[Alarm]" = []
"""Those that are set in the main thread, the outermost first."""


class Alarm:
    """A context manager that raises OutOfTimeError with a sentence after so many seconds."""

    def __init__(self, seconds: float, said: str) -> None:
        """``said`` is what the exception says."""
        self.said = said
        self._seconds = seconds
        self._end = float("inf")
        self._before: tuple[Any, float, float] | None = None

    @property
    def left(self) -> float:
        """The seconds until it ends, none or less once it has."""
        return self._end - monotonic()

    def __enter__(self) -> "Alarm":
        """Start the time."""
        if hasattr(signal, "setitimer") and threading.current_thread() is threading.main_thread():
            self._end = monotonic() + self._seconds
            _ALARMS.append(self)
            old = signal.signal(signal.SIGALRM, _ring)
            self._before = (old, *_wait(min(each.left for each in _ALARMS)))
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Stop the time; what was set before goes on."""
        if self._before is None:
            return
        handler, left, again = self._before
        _ALARMS.remove(self)
        passed = self._seconds - self.left
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, handler)
        if _ALARMS:
            _wait(min(each.left for each in _ALARMS))
        elif left:
            signal.setitimer(signal.ITIMER_REAL, max(left - passed, 1e-3), again)


def _wait(seconds: float) -> tuple[float, float]:
    return signal.setitimer(signal.ITIMER_REAL, max(seconds, 1e-3), _AGAIN_SECONDS)


def _ring(_number: int, frame: FrameType | None) -> None:
    """Raise for the outermost alarm that is over, but never while one is set or unset."""
    if frame is not None and frame.f_globals is globals():
        return
    for each in _ALARMS:
        if each.left <= 0:
            raise OutOfTimeError(each.said)
