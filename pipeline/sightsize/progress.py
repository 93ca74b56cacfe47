"""Progress on standard error: a bar when it is a terminal, a steady line for each print if not."""

import sys
from threading import Lock
from types import TracebackType
from typing import Any, Self

import typer

from sightsize.batch import Outcome
from sightsize.job import PrintRequest


class Progress:
    """Shows how far a run is, which print is being made and how long the rest will take."""

    def __init__(self, prints: int) -> None:
        self._count = 0
        self._prints = prints
        self._lock = Lock()
        self._current = ""
        self._bar: Any = None
        if sys.stderr.isatty():
            self._bar = typer.progressbar(
                length=prints,
                file=sys.stderr,
                show_eta=True,
                show_pos=True,
                item_show_func=lambda _: self._current,
            )

    def __enter__(self) -> Self:
        if self._bar is not None:
            self._bar.__enter__()
            self._bar.render_progress()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        if self._bar is not None:
            self._bar.__exit__(kind, error, traceback)

    def started(self, request: PrintRequest) -> None:
        """Show the print that is being made."""
        with self._lock:
            self._current = request.name
            if self._bar is not None:
                self._bar.update(0, current_item=request.name)

    def finished(self, outcome: Outcome) -> None:
        """Count a print."""
        with self._lock:
            self._count += 1
            if self._bar is not None:
                self._bar.update(1, current_item=self._current)
            else:
                name = outcome.planned.request.name
                line = f"[{self._count}/{self._prints}] {outcome.status} {name}"
                typer.echo(f"{line} {outcome.seconds:.1f} s", err=True)
