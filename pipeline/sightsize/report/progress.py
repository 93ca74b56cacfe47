"""Progress on standard error: a bar when it is a terminal, a steady line for each print if not."""

import sys
from contextlib import suppress
from types import TracebackType
from typing import Self

import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
from rich.progress import Progress as Bar

from sightsize.run.worker import Outcome


class Progress:
    """Shows how far a run is, which print is being made and how long the rest will take."""

    def __init__(self, prints: int) -> None:
        self._count = 0
        self._prints = prints
        self._bar: Bar | None = None
        if sys.stderr is not None and sys.stderr.isatty():
            columns = MofNCompleteColumn(), BarColumn(), TimeRemainingColumn(compact=True)
            words = TextColumn("{task.description}")
            self._bar = Bar(*columns, words, console=Console(stderr=True), transient=True)
            self._task = self._bar.add_task("", total=prints)

    def __enter__(self) -> Self:
        if self._bar is not None:
            self._bar.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        if self._bar is not None:
            self._bar.stop()

    def start(self, name: str) -> None:
        """Show the print that is being made."""
        if self._bar is not None:
            self._bar.update(self._task, description=name)

    def finish(self, outcome: Outcome) -> None:
        """Count a print."""
        self._count += 1
        if self._bar is not None:
            self._bar.advance(self._task)
            return
        name = outcome.planned.name
        line = f"[{self._count}/{self._prints}] {outcome.status} {name}"
        with suppress(OSError):  # a print is worth more than its line
            typer.echo(f"{line} {outcome.seconds:.1f} s", err=True)
