"""The one way out to the terminal: every line passes here, and nothing in it can act there.

File names, jobs and pictures may hold characters that move the cursor, colour the screen, turn the
direction of writing or break a line. They are shown as escapes, and cannot do it.
"""

import os
import sys
from contextlib import suppress
from io import TextIOWrapper

from sightsize.base.plain_text import visible


def say(line: str, *, err: bool = False) -> None:
    """Write one line to standard output, or to standard error.

    Raises OSError when standard output takes no more. Of standard error that is let pass: a print
    is worth more than its line.
    """
    stream = sys.stderr if err else sys.stdout
    if stream is None:  # it was closed from the start
        return
    with suppress(*([OSError] if err else [])):
        stream.write(f"{visible(line)}\n")
        stream.flush()


def say_lines(text: str, *, err: bool = False) -> None:
    """Write a text of several lines, such as ``paragraph`` makes, as ``say`` does."""
    for line in text.split("\n"):
        say(line, err=err)


def is_watched() -> bool:
    """Return whether standard error is a terminal."""
    return sys.stderr is not None and sys.stderr.isatty()


def ready_streams() -> None:
    """Have every character written, as an escape where it must be, and hold closed places.

    The next file to be opened would take the place of a closed standard error, and what a library
    written in C has to say would go into it.
    """
    with suppress(OSError):  # a system without such a device
        while (descriptor := os.open(os.devnull, os.O_RDWR)) <= 2:
            pass
        os.close(descriptor)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
