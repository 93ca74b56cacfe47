"""Runs of the program that are killed at some moment of their own work, and what must then hold."""

import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from sightsize.base.hashes import file_sha256
from sightsize.docket import hidden_file
from sightsize.docket.hidden_file import NAME
from sightsize.docket.store import Docket, Record

Snapshot = dict[str, tuple[int, int, str]]

PROGRAM = ("-m", "sightsize")
_TICKS = os.sysconf("SC_CLK_TCK")
_LOCK = ".run.lock"
_OWN = {"docket.toml", ".docket.json", _LOCK}


class Run:
    """A run of the program, which never waits for what it says to be read."""

    def __init__(self, job: Path, workers: int, program: tuple[str, ...] = PROGRAM) -> None:
        """Start making a job's prints, with a folder of its own for what is temporary."""
        scratch = job.parent / "scratch"
        scratch.mkdir(exist_ok=True)
        self._said = tempfile.TemporaryFile("w+", encoding="utf-8")  # noqa: SIM115
        self.process = subprocess.Popen(
            [sys.executable, "-B", *program, "make", str(job), "--workers", str(workers)],
            cwd=job.parent,
            env={**os.environ, "TMPDIR": str(scratch)},
            stdout=subprocess.DEVNULL,
            stderr=self._said,
        )

    def processor_seconds(self) -> float:
        """Return what it has used of the processor, which stands still when it is held up."""
        fields = Path(f"/proc/{self.process.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / _TICKS

    def end_when(self, reached: Callable[[], bool], how: signal.Signals = signal.SIGKILL) -> int:
        """End it as soon as something is reached, unless it ends before; return its exit code."""
        while self.process.poll() is None:
            if reached():
                self.process.send_signal(how)
                break
            time.sleep(0.003)
        return self.process.wait()

    def said(self) -> str:
        """Return what it said on standard error, once it has ended."""
        with self._said:
            self._said.seek(0)
            return self._said.read()


def audit(job: Path) -> subprocess.CompletedProcess[str]:
    """Audit a job's prints."""
    command = [sys.executable, *PROGRAM, "audit", str(job)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def snapshot(folder: Path, *, without: Path | None = None) -> Snapshot:
    """Return size, time and SHA-256 of every file in a folder, but for one folder in it."""
    found = {}
    for path in folder.rglob("*"):
        if path.is_file() and without not in path.parents:
            status = path.stat()
            found[str(path)] = status.st_size, status.st_mtime_ns, file_sha256(path)
    return found


class Standing:
    """The prints that were seen under their names, and those made again though they stood there."""

    def __init__(self, output: Path, names: set[str]) -> None:
        self.output = output
        self.names = names
        self.seen: dict[str, tuple[int, int]] = {}
        self.made_again: list[str] = []

    def look(self) -> set[str]:
        """Return the names that stand; another file than before under one was made again."""
        found = {name for name in self.names if (self.output / name).exists()}
        for name in found:
            status = (self.output / name).stat()
            now = status.st_ino, status.st_mtime_ns
            if self.seen.setdefault(name, now) != now:
                self.made_again.append(name)
                self.seen[name] = now
        return found

    def faults(self, *, ended: bool) -> Iterator[str]:
        """Names that are gone, or should not be there after a kill or after a run that ended."""
        there = {path.name for path in self.output.iterdir()}
        own = _OWN - {_LOCK} if ended else _OWN
        yield from (f"{name} is gone" for name in sorted(self.seen.keys() - there))
        for name in sorted(there - self.names - own):
            if ended or not (name.startswith(".") and name.endswith(".part")):
                yield f"{name} should not be there"

    def parts(self) -> list[str]:
        """The files that were being written: prints, or the docket."""
        return [path.name for path in self.output.iterdir() if path.name.endswith(".part")]


def untrue(path: Path) -> Iterator[str]:
    """What is wrong with a docket: itself, its mirror, or a record of a print or its sources."""
    records = Docket(path).records  # raises when it does not load
    if _without_mirror(path) != records:
        yield "the docket and its mirror differ"
    for name, record in records.items():
        if not _is_true(path.parent / name, record["output"]):
            yield f"{name} is not as recorded"
        if not all(_is_true(path.parent / each["path"], each) for each in record["sources"]):
            yield f"a source of {name} is not as recorded"


def _without_mirror(path: Path) -> dict[str, Record]:
    """The records as the docket has them, with what was noted since."""
    with tempfile.TemporaryDirectory() as alone:
        if path.exists():
            shutil.copy(path, alone)
        hidden = path.with_name(NAME)
        if hidden.exists():
            noted = hidden_file.read_hidden(hidden).noted()
            hidden_file.write_hidden(Path(alone) / NAME, "", (), noted)
        return Docket(Path(alone) / path.name).records


def _is_true(path: Path, held: Record) -> bool:
    if not path.is_file():
        return False
    status = path.stat()
    found = status.st_size, status.st_mtime_ns, file_sha256(path)
    return found == (held["bytes"], held["changed_ns"], held["sha256"])
