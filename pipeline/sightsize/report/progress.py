"""Progress on standard error: a bar when it is a terminal, a steady line for each print if not."""

from contextlib import suppress
from types import TracebackType
from typing import Self

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
from rich.progress import Progress as Bar

from sightsize.base.terminal import is_watched, say, visible
from sightsize.report.text import count_text
from sightsize.run.worker import Outcome

NAME_COLUMN = TextColumn("{task.description}", markup=False)
"""A file's name, in which ``[red]`` is no colour."""


class Progress:
    """Shows how far a run is, which print is being made and how long the rest will take."""

    def __init__(self, prints: int) -> None:
        self._count = 0
        self._prints = prints
        self._bar: Bar | None = None
        if is_watched():
            columns = MofNCompleteColumn(), BarColumn(), TimeRemainingColumn(compact=True)
            self._bar = Bar(*columns, NAME_COLUMN, console=Console(stderr=True), transient=True)
            self._task = self._bar.add_task("", total=prints)

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

    def start(self, name: str) -> None:
        """Show the print that is being made."""
        if self._bar is not None:
            self._bar.update(self._task, description=visible(name))

    def finish(self, outcome: Outcome) -> None:
        """Count a print."""
        self._count += 1
        if self._bar is not None:
            self._bar.advance(self._task)
            return
        name = outcome.planned.name
        line = f"[{self._count}/{self._prints}] {outcome.status} {name}"
        say(f"{line} {outcome.seconds:.1f} s", err=True)

    def wind_up(self, unfinished: int) -> None:
        """Say that a run which is told to stop finishes what it has in hand."""
        prints = count_text(unfinished, "print")
        say(f"finishing {prints} in hand; Ctrl-C once more stops at once", err=True)
