"""How a run ends, whatever comes: in a sentence and an exit code, never in a traceback."""

import os
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from typing import NoReturn

from sightsize.base import interrupts
from sightsize.base.terminal import ready_streams, say, say_lines
from sightsize.errors import FAULT, SightsizeError, reason_of


def prepare() -> None:
    """Make this process ours: its streams, its signals, and all that Python tells by itself."""
    sys.excepthook = lambda _kind, error, _trace: leave(tell(error))
    sys.unraisablehook = _unraisable
    threading.excepthook = _in_thread
    ready_streams()
    interrupts.listen()
    _be_quiet()


def _be_quiet() -> None:
    """Libraries warn and log on standard error; what counts for a user is said in a sentence."""
    import logging
    import warnings

    logging.disable(logging.CRITICAL)
    if not sys.warnoptions:
        warnings.simplefilter("ignore")


def run(command_line: Callable[[], int]) -> int:
    """Run a command line; return its exit code, however it ends."""
    try:
        return command_line()
    except SystemExit as left:
        return left.code if isinstance(left.code, int) else int(left.code is not None)
    except BaseException as error:
        return tell(error)


def leave(code: int) -> NoReturn:
    """End the process now, whatever threads still do and libraries would do at the end."""
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError, ValueError, AttributeError):  # closed, full, or not there
            stream.flush()
    os._exit(code)


def tell(error: BaseException) -> int:
    """Say in a sentence what went wrong; return the exit code."""
    if isinstance(error, KeyboardInterrupt) or interrupts.came():
        say("interrupted", err=True)  # what else went wrong came of it
        return interrupts.exit_code()
    if isinstance(error, SightsizeError):
        say_lines(str(error), err=True)
        return error.exit_code
    if isinstance(error, BrokenPipeError):
        return 1  # who reads has seen enough
    if isinstance(error, MemoryError):
        say("not enough memory; close other programs, or add --workers 1", err=True)
        return 1
    if isinstance(error, OSError):
        where = f" ({error.filename})" if error.filename else ""
        say(f"cannot continue: {reason_of(error)}{where}", err=True)
        return 1
    say(_fault(error), err=True)
    return FAULT


def _fault(error: BaseException) -> str:
    """Write a report of a fault of the program; return the sentence that says where it lies."""
    import tempfile
    import traceback

    from sightsize import __version__

    said = f"a fault in sightsize ({type(error).__name__})"
    text = f"sightsize {__version__}, Python {sys.version}\n{' '.join(sys.argv)}\n\n"
    text += "".join(traceback.format_exception(error))
    try:
        with tempfile.NamedTemporaryFile(
            "w", prefix="sightsize-fault-", suffix=".txt", delete=False, errors="backslashreplace"
        ) as file:
            file.write(text)
    except OSError:
        return f"{said}: {error}; please report it"
    return f"{said}; please report it with {file.name}"


def _in_thread(failed: threading.ExceptHookArgs) -> None:
    """A thread that broke: its work is told by whoever waits for it; a fault is kept as well."""
    error = failed.exc_value
    if error is not None and not isinstance(error, OSError | SystemExit | KeyboardInterrupt):
        say(_fault(error), err=True)


def _unraisable(failed: "sys.UnraisableHookArgs") -> None:
    if isinstance(failed.exc_value, KeyboardInterrupt):
        interrupts.send_again()
