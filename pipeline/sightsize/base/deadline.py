"""How long a print may take, and how it is stopped.

Nothing can stop a thread inside libvips or LibRaw. But libvips asks each picture, before every
strip or tile of it, whether it is to stop, and that answer can be given from another thread. It is
forgotten once it was heard, so past the time it is given again and again. What works inside one
call without asking ends by itself first.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from threading import Event, Thread
from time import monotonic
from typing import TYPE_CHECKING

from sightsize.errors import OutOfTimeError

if TYPE_CHECKING:
    import pyvips

_AGAIN_SECONDS = 0.05


class _Deadline:
    """The end of a print's time, and the pictures that stop when it has come."""

    def __init__(self, seconds: float) -> None:
        self.images: list[pyvips.Image] = []
        self.over = Event()
        self._seconds = seconds
        self._end = monotonic() + seconds

    def check(self) -> None:
        if monotonic() >= self._end:
            raise OutOfTimeError(
                f"took longer than limits.seconds allows ({self._seconds:g} s); raise the limit, "
                "or print smaller"
            )

    def stop_pictures(self) -> None:
        """Wait for the end, and stop every picture until the print is given up."""
        self.over.wait(self._seconds)
        while not self.over.wait(_AGAIN_SECONDS):
            for image in tuple(self.images):
                image.set_kill(True)


_CURRENT: ContextVar[_Deadline | None] = ContextVar("deadline", default=None)
"""That of the print which this thread makes."""


@contextmanager
def deadline(seconds: float | None) -> Iterator[None]:
    """Give what is done inside so much time, or all the time there is.

    Raises OutOfTimeError in place of whatever goes wrong once the time is over.
    """
    if seconds is None:
        yield
        return
    current = _Deadline(seconds)
    token = _CURRENT.set(current)
    stopping = Thread(target=current.stop_pictures, daemon=True)
    stopping.start()
    try:
        yield
    except Exception:
        current.check()
        raise
    finally:
        current.over.set()
        stopping.join()
        _CURRENT.reset(token)


def check_time() -> None:
    """Raise OutOfTimeError when the time of the print that this thread makes is over."""
    current = _CURRENT.get()
    if current is not None:
        current.check()


def time_check() -> Callable[[], None]:
    """Return what any thread may call in place of ``check_time`` for the print made in this one."""
    current = _CURRENT.get()
    return _never_over if current is None else current.check


def _never_over() -> None:
    pass


def stop_in_time(image: "pyvips.Image") -> "pyvips.Image":
    """Return a picture that stops, with all that reads from it, when this print's time is over."""
    current = _CURRENT.get()
    if current is not None:
        current.images.append(image)
    return image


@contextmanager
def briefly() -> Iterator[None]:
    """Let go, at the end, of pictures that are opened inside; they may hold memory."""
    current = _CURRENT.get()
    held = len(current.images) if current is not None else 0
    yield
    if current is not None:
        del current.images[held:]
