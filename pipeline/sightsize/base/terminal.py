"""The one way out to the terminal: every line passes here, and nothing in it can act there.

File names, jobs and pictures may hold characters that move the cursor, colour the screen, turn the
direction of writing or break a line. They are shown as escapes, and cannot do it.
"""

import os
import re
import sys
from collections.abc import Iterable
from contextlib import suppress
from io import TextIOWrapper

_UNSEEN = re.compile(
    r"[\x00-\x1f\x7f-\x9f"  # C0, DEL and C1
    r"\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069"  # marks of direction
    r"\u2028\u2029"  # ends of lines and paragraphs
    r"\ud800-\udfff\ufffe\uffff]"  # no characters at all; XML 1.0 forbids them too
)


def visible(text: str) -> str:
    """Return text in one line, with what would act instead of being seen as ``\\x1b``."""
    return _UNSEEN.sub(_escape, text)


def _escape(match: re.Match[str]) -> str:
    code = ord(match[0])
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}"


def paragraph(lines: Iterable[str]) -> str:
    """Return lines as one text; what stands in a line cannot begin another."""
    return "\n".join(map(visible, lines))


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
