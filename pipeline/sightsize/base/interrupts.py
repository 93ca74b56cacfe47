"""Ctrl-C, a stop by the system, a closed terminal: one ends the run in order, one more at once.

The first is raised as KeyboardInterrupt. Nothing more is ever raised while that is dealt with: the
next one ends the process, whatever it is doing, also inside a library that lets no Python run.
"""

import os
import signal
from contextlib import suppress
from threading import Thread, Timer
from time import monotonic
from types import FrameType

from sightsize.errors import INTERRUPTED

_ENDS = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
_SAME_SECONDS = 0.5
"""``timeout`` sends a signal twice, to the process and to its group; so near, two are one."""

_STOPPED = b"stopped at once; run the same command to carry on\n"
_SHOW_CURSOR = b"\x1b[?25h"

_raised: list[int] = []
"""The signal that was raised."""


def listen() -> None:
    """Take the signals that end a run, but for those that whoever started it has switched off."""
    found = [getattr(signal, name, None) for name in _ENDS]
    taken = [each for each in found if each and signal.getsignal(each) != signal.SIG_IGN]
    if os.name == "posix":
        heard, told = os.pipe()
        os.set_blocking(told, False)
        signal.set_wakeup_fd(told, warn_on_full_buffer=False)
        Thread(target=_watch, args=(heard, frozenset(taken)), daemon=True).start()
    for number in taken:
        signal.signal(number, _raise)


def came() -> bool:
    """Return whether an end was asked for."""
    return bool(_raised)


def exit_code() -> int:
    """Return 128 and the number of the signal that asked for the end, as shells have it."""
    return 128 + _raised[0] if _raised else INTERRUPTED


def send_again() -> None:
    """Raise an interrupt once more, soon: it came where Python could only drop it."""
    number = _raised.pop() if _raised else signal.SIGINT
    Timer(_SAME_SECONDS / 10, signal.raise_signal, [number]).start()


def _raise(number: int, _frame: FrameType | None) -> None:
    if not _raised:
        _raised.append(number)
        raise KeyboardInterrupt
    if os.name != "posix":  # where no thread counts
        _stop(number)


def _watch(heard: int, taken: frozenset[int]) -> None:
    """Count signals as they come, whatever the main thread is doing; stop at the second.

    A closed terminal is told twice or more, by the shell and by the system: that never hurries.
    """
    first = None
    hang_up = getattr(signal, "SIGHUP", None)
    while numbers := os.read(heard, 64):
        now = monotonic()
        ends = [each for each in numbers if each in taken]
        if first is not None and now - first > _SAME_SECONDS:
            for number in ends:
                if number != hang_up:
                    _stop(number)
        elif ends and first is None:
            first = now


def _stop(number: int) -> None:
    with suppress(OSError):
        os.write(2, (_SHOW_CURSOR if os.isatty(2) else b"") + _STOPPED)
    os._exit(128 + number)
