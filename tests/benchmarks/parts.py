"""What every part of the benchmark is given, and what it gives back."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from goals import Claim
from measure import Bench, Row
from spec import Spec


@dataclass(frozen=True, kw_only=True)
class Setup:
    """How much is measured, and where the files go.

    `cache` keeps source pictures; `scratch` is thrown away.
    """

    runs: int
    threads: int
    subjects: tuple[str, ...]
    specs: tuple[str, ...]
    prints: int
    peer_prints: int
    pictures: int
    cache: Path
    scratch: Path

    def bench(self, spec: Spec, source: Path) -> Bench:
        """Return a bench for a spec with a folder of its own."""
        folder = self.scratch / spec.name
        folder.mkdir(exist_ok=True)
        return Bench(spec=spec, source=source, folder=folder, threads=self.threads)


@dataclass(frozen=True, kw_only=True)
class Part:
    """A section of the report, what it claims, and what went wrong."""

    text: str
    claims: tuple[Claim, ...] = ()
    faults: tuple[str, ...] = ()


def row_faults(rows: Iterable[Row]) -> list[str]:
    """Say which subjects failed; one that cannot run here did not."""
    return [f"{row.subject}: {_last_line(row.missing)}" for row in rows if row.failed]


def _last_line(text: str) -> str:
    return text.strip().rpartition("\n")[2]
