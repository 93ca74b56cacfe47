"""What becomes of each print while a run goes on: a moving bar on a terminal, lines elsewhere."""

from contextlib import suppress
from types import TracebackType
from typing import Self

from rich.console import Console
from rich.progress import (
    BarColumn,
    MofNCompleteColumn,
    SpinnerColumn,
    TextColumn,
    TimeElapsedColumn,
    TimeRemainingColumn,
)
from rich.progress import Progress as Bar
from rich.table import Column

from sightsize.base.plain_text import visible
from sightsize.base.terminal import is_watched, say, say_lines
from sightsize.base.words import count_text

_BAR_CELLS = 20
_PER_SECOND = 4

NAME_COLUMN = TextColumn("{task.description}", markup=False, table_column=Column(no_wrap=True))
"""A file's name, in which ``[red]`` is no colour."""


class Progress:
    """A bar on standard error where that is a terminal, and a line on standard output for each end.

    The lines come at once where there is no bar, else all together when the bar is gone, so that
    none is written through it. None come where ``silent``, as for JSON.
    """

    def __init__(self, count: int | None, *, silent: bool = False) -> None:
        """Begin with ``count`` things to do, None where that is not known."""
        self._silent = silent
        self._held: list[str] = []
        self._in_hand: dict[str, None] = {}
        self._bar: Bar | None = None
        if is_watched():
            self._bar = _bar()
            self._task = self._bar.add_task("", total=count)

    def __enter__(self) -> Self:
        if self._bar is not None:
            with suppress(OSError):  # a terminal that was closed
                self._bar.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        if self._bar is not None:
            with suppress(OSError):
                self._bar.stop()
        for line in self._held:
            _write(line)

    def start(self, name: str) -> None:
        """Show what is being done."""
        self._in_hand[name] = None
        self._show()

    def finish(self, name: str, line: str) -> None:
        """Count what is done, with a line about what became of it."""
        self._in_hand.pop(name, None)
        self._show(advance=1)
        if self._silent:
            return
        if self._bar is not None:
            self._held.append(line)
        else:
            _write(line)

    def wind_up(self, unfinished: int) -> None:
        """Say that a run which is told to stop finishes what it has in hand."""
        prints = count_text(unfinished, "print")
        say(f"finishing {prints} in hand; Ctrl-C once more stops at once", err=True)

    def _show(self, advance: int = 0) -> None:
        if self._bar is not None:
            said = visible(", ".join(self._in_hand))
            self._bar.update(self._task, description=said, advance=advance)


def _bar() -> Bar:
    """A bar that turns and counts seconds, so that even one long print is seen to go on."""
    return Bar(
        SpinnerColumn(),
        MofNCompleteColumn(),
        BarColumn(_BAR_CELLS),
        TimeElapsedColumn(),
        TimeRemainingColumn(compact=True),
        NAME_COLUMN,
        console=Console(stderr=True),
        refresh_per_second=_PER_SECOND,
        transient=True,
    )


def _write(text: str) -> None:
    with suppress(OSError):  # a print is worth more than its line
        say_lines(text)
