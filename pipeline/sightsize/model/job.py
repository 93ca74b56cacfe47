"""A job as frozen objects: every default filled, every length exact, every name resolved."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sightsize.base.findings import Finding
from sightsize.model.picture import Picture
from sightsize.model.settings import (
    Aperture,
    Delivery,
    Frame,
    Grain,
    LocalContrast,
    Mono,
    Paper,
    PrintLimits,
    Sharpen,
    Thresholds,
    Tone,
    Toner,
)


@dataclass(frozen=True)
class Origin:
    """Where a value was set: its key as people write it, and its line and column."""

    key: str
    line: int
    column: int


@dataclass(frozen=True, kw_only=True)
class Look:
    """How a picture is to look on paper: its source, its opening, and each table that moves tones.

    ``surface`` is that of the paper, which decides how much sharpening it takes.
    """

    picture: Picture
    aperture: Aperture
    surface: str
    mono: Mono | None
    tone: Tone
    local_contrast: LocalContrast
    toner: Toner
    sharpen: Sharpen
    grain: Grain


@dataclass(frozen=True, kw_only=True)
class PrintRequest:
    """One print as the job asks for it: how its picture looks, its paper and its file."""

    number: int
    source: str
    """What ``source`` says, a file or a pattern; empty where ``picture`` names a table."""
    look: Look
    frame: Frame | None
    recipe: str
    step: str
    copies: int
    paper: Paper
    delivery: Delivery
    name: str
    """Template of the file's name."""
    thresholds: Thresholds
    limits: PrintLimits
    origins: Mapping[str, Origin]
    own_job: Mapping[str, Any]
    """The print as a job of its own, every default filled in, in the job file's grammar."""

    def origin(self, key: str) -> Origin:
        """Return where ``table.key`` was set, or where the print stands when it is a default."""
        return self.origins.get(key) or self.origins[""]

    def refuse(self, job_file: str, key: str, check: str, message: str) -> Finding:
        """Return a finding that refuses this print, placed where ``table.key`` was set."""
        origin = self.origin(key)
        finding = Finding(level="refuse", check=check, message=message)
        return finding.at(job_file, origin.line, origin.column, origin.key)


@dataclass(frozen=True, kw_only=True)
class Job:
    """A job file, resolved."""

    path: Path
    title: str
    reference: str
    client: str
    output: Path
    described: tuple[Path, ...]
    """The sources of its picture tables, printed or not."""
    prints: tuple[PrintRequest, ...]
