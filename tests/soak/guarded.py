"""The command line in a fork of its own, and what must hold of any run, whatever it was given.

A fork starts in milliseconds, for everything is loaded before it; the parent must not have used
libvips, whose threads a fork would lose. ``in_a_fork`` does what needs libvips.
"""

import contextlib
import hashlib
import importlib
import os
import re
import resource
import shutil
import signal
import stat
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import tifffile
from PIL import Image

import sightsize.archive.reprint
import sightsize.cli
import sightsize.commands.audit
import sightsize.commands.check
import sightsize.commands.make
import sightsize.commands.new
import sightsize.commands.reprint
import sightsize.delivery.deliver
import sightsize.errors
import sightsize.imaging.source.open_upright
import sightsize.job.starter

Entry = tuple[str, int, int, int, str]
Tree = dict[str, Entry]

MOST_SECONDS = 10.0
"""Of the processor, for any refusal. A run that makes something may take longer."""
_GIVEN_UP_SECONDS = 60.0
_ADDRESS_SPACE = 6 * 2**30
_LONGEST_LINE = 1500
_PR_CAPBSET_DROP, _DAC_CAPABILITIES = 24, (1, 2)
_STRANGE = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")


@dataclass(frozen=True)
class Ran:
    """What became of a run: its exit code, or the negative of the signal that ended it."""

    words: tuple[str, ...]
    code: int
    out: str
    err: str
    seconds: float
    processor_seconds: float
    peak_mib: float
    estimate_mib: float = 0.0

    @property
    def said(self) -> str:
        """All that it said."""
        return self.out + self.err


class Run:
    """A run in a fork, under way until ``end`` is called."""

    def __init__(
        self,
        words: Sequence[str],
        folder: Path,
        *,
        in_child: Callable[[], None] = lambda: None,
        as_anyone: bool = False,
    ) -> None:
        """Start a command in a folder; ``as_anyone`` gives up root's right to read everything."""
        self.words = tuple(map(str, words))
        self._out, self._err, self._notes = (tempfile.TemporaryFile() for _ in range(3))  # noqa: SIM115
        self._begin = time.monotonic()
        self._status: int | None = None
        self._used: resource.struct_rusage | None = None
        sys.stdout.flush()
        self.pid = os.fork()
        if self.pid == 0:
            self._child(folder, in_child, as_anyone)

    def _child(self, folder: Path, in_child: Callable[[], None], as_anyone: bool) -> None:
        code = 70
        try:
            os.chdir(folder)
            for each, number in ((self._out, 1), (self._err, 2)):
                os.dup2(each.fileno(), number)
            os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
            resource.setrlimit(resource.RLIMIT_AS, (_ADDRESS_SPACE, _ADDRESS_SPACE))
            resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
            signal.signal(signal.SIGTERM, signal.SIG_DFL)
            if as_anyone:
                _obey_permissions()
            _note_estimates(self._notes.fileno())
            in_child()
            sys.argv = ["sightsize", *self.words]
            sightsize.cli.main()
            code = 0
        except SystemExit as left:
            code = left.code if isinstance(left.code, int) else 1
        except BaseException:  # as the interpreter would end: with a traceback
            import traceback

            traceback.print_exc()
            code = 1
        finally:
            with contextlib.suppress(BaseException):
                # At the end of a program its threads are waited for.
                import threading

                threading._shutdown()  # type: ignore[attr-defined]
            for each in (sys.stdout, sys.stderr):
                with contextlib.suppress(BaseException):
                    each.flush()
            os._exit(code)

    def running(self) -> bool:
        """Whether it still runs."""
        if self._status is None:
            pid, status, used = os.wait4(self.pid, os.WNOHANG)
            if pid:
                self._status, self._used = status, used
        return self._status is None

    def send(self, number: int) -> None:
        """Send it a signal, if it still runs."""
        if self.running():
            os.kill(self.pid, number)

    def end(self, seconds: float = _GIVEN_UP_SECONDS) -> Ran:
        """Wait for its end; after so many seconds it is killed, which is seen as code -9."""
        while self.running():
            if time.monotonic() - self._begin > seconds:
                os.kill(self.pid, signal.SIGKILL)
            time.sleep(0.003)
        took = time.monotonic() - self._begin
        assert self._status is not None
        assert self._used is not None
        texts = []
        for each in (self._out, self._err, self._notes):
            with each:
                each.seek(0)
                texts.append(each.read().decode("utf-8", "backslashreplace"))
        estimates = [float(line) for line in texts[2].split()]
        code = os.waitstatus_to_exitcode(self._status)
        peak = self._used.ru_maxrss / 1024
        processor = self._used.ru_utime + self._used.ru_stime
        largest = max(estimates, default=0.0)
        return Ran(self.words, code, texts[0], texts[1], took, processor, peak, largest)


def run(
    words: Sequence[str], folder: Path, seconds: float = _GIVEN_UP_SECONDS, **how: object
) -> Ran:
    """Run a command to its end."""
    return Run(words, folder, **how).end(seconds)  # type: ignore[arg-type]


def in_a_fork(work: Callable[[], object], seconds: float = 120) -> int:
    """Do what needs libvips, or may die; return its exit code."""
    sys.stdout.flush()
    pid = os.fork()
    if pid == 0:
        code = 1
        try:
            work()
            code = 0
        except BaseException:
            import traceback

            traceback.print_exc()
        finally:
            sys.stdout.flush()
            os._exit(code)
    until = time.monotonic() + seconds
    while True:
        done, status = os.waitpid(pid, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status)
        if time.monotonic() > until:
            os.kill(pid, signal.SIGKILL)
        time.sleep(0.002)


def _obey_permissions() -> None:
    """Have root read and write only what permissions let it, as anyone else."""
    import ctypes
    import struct

    libc = ctypes.CDLL(None, use_errno=True)
    head = struct.pack("Ii", 0x20080522, 0)  # _LINUX_CAPABILITY_VERSION_3
    if libc.syscall(126, head, struct.pack("6I", *[0] * 6)):  # capset on x86-64
        raise OSError(ctypes.get_errno(), "capset")


def _note_estimates(descriptor: int) -> None:
    """Write down what the program estimates that each print takes, in MiB."""
    import sightsize.run.batch as batch

    estimate = batch.peak_bytes

    def noted(file: object) -> int:
        found = estimate(file)  # type: ignore[arg-type]
        os.write(descriptor, f"{found / 2**20}\n".encode())
        return found

    batch.peak_bytes = noted


def load_all(job: Path) -> None:
    """Load all that a whole run loads, once and for all forks; the job's prints are not kept."""
    from sightsize.commands.shared import load

    noted = job.with_name(".modules")

    def make_and_note() -> None:
        _silent()
        sys.argv = ["sightsize", "make", str(job), "--replace", "--workers", "1"]
        with contextlib.suppress(SystemExit):
            sightsize.cli.main()
        noted.write_text("\n".join(sys.modules))

    in_a_fork(make_and_note)
    for name in noted.read_text().splitlines() if noted.exists() else []:
        if name not in sys.modules and name != "__main__":
            with contextlib.suppress(Exception):
                importlib.import_module(name)
    noted.unlink(missing_ok=True)
    shutil.rmtree(load(job)[0].output)


def _silent() -> None:
    for number in (1, 2):
        os.dup2(os.open(os.devnull, os.O_WRONLY), number)


# What must hold of every run.


def wrong(ran: Ran, *, seconds: float | None = None, codes: Sequence[int] = (0, 1, 2)) -> list[str]:
    """Return what is wrong with how a run ended and with what it said."""
    found = []
    most = MOST_SECONDS if seconds is None else seconds
    if ran.code == -signal.SIGKILL and ran.seconds > most:
        found.append(f"did not end within {ran.seconds:.0f} s")
    elif ran.code < 0:
        found.append(f"died of signal {-ran.code} after {ran.seconds:.1f} s")
    elif ran.code not in codes:
        found.append(f"exit code {ran.code}: {_fault_of(ran)}")
    if "a fault in sightsize" in ran.said and ran.code != 3:
        found.append(f"a fault in a sentence: {_line_with(ran.said, 'a fault in sightsize')}")
    if "Traceback (most" in ran.said:
        found.append(f"a traceback: {ran.said.strip().splitlines()[-1][:300]}")
    if ran.code > 0 and not ran.said.strip():
        found.append("no sentence")
    strange = _STRANGE.search(ran.said)
    if strange:
        found.append(f"a control character {strange[0]!r} in what it says")
    longest = max(map(len, ran.said.splitlines()), default=0)
    if longest > _LONGEST_LINE:
        found.append(f"a line of {longest} characters")
    if ran.processor_seconds > most:
        found.append(f"took {ran.processor_seconds:.1f} s of the processor")
    if any(
        "warning" in line.casefold() and "sightsize" not in line for line in ran.err.splitlines()
    ):
        found.append(f"a warning of a library: {_line_with(ran.err.casefold(), 'warning')[:200]}")
    return found


def _line_with(text: str, word: str) -> str:
    return next((line for line in text.splitlines() if word in line), "")[:400]


def _fault_of(ran: Ran) -> str:
    match = re.search(r"(\S*sightsize-fault-\S+\.txt)", ran.said)
    if match and Path(match[1]).exists():
        lines = Path(match[1]).read_text(errors="replace").strip().splitlines()
        Path(match[1]).unlink()
        places = [line.strip() for line in lines if line.lstrip().startswith("File ")]
        return f"{lines[-1][:200]} at {places[-1] if places else '?'}"
    return ran.said.strip()[-200:]


def tree(folder: Path, *, without: Sequence[Path] = ()) -> Tree:
    """Return all that stands in a folder: kind, mode, size, time and SHA-256 or a link's target."""
    found: Tree = {}
    for path in _walk(folder, set(without)):
        status = path.lstat()
        if stat.S_ISLNK(status.st_mode):
            what, told = "link", str(path.readlink())
        elif stat.S_ISDIR(status.st_mode):
            found[str(path)] = ("folder", status.st_mode, 0, 0, "")
            continue
        elif stat.S_ISREG(status.st_mode):
            what, told = "file", _digest(path, status.st_size)
        else:
            what, told = "other", ""
        found[str(path)] = (what, status.st_mode, status.st_size, status.st_mtime_ns, told)
    return found


def _walk(folder: Path, without: set[Path]) -> Iterator[Path]:
    with os.scandir(folder) as entries:
        for entry in sorted(entries, key=lambda each: each.name):
            path = Path(entry.path)
            if path in without:
                continue
            yield path
            if entry.is_dir(follow_symlinks=False):
                yield from _walk(path, without)


def _digest(path: Path, size: int) -> str:
    if size > 2**28:  # sparse: what matters is its size and its time
        return "large"
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return "unreadable"


def changed(before: Tree, after: Tree) -> list[str]:
    """Return what is gone, new or different."""
    found = [f"gone: {name}" for name in before.keys() - after.keys()]
    found += [f"new: {name}" for name in after.keys() - before.keys()]
    for name in before.keys() & after.keys():
        if before[name] != after[name]:
            found.append(f"changed: {name} {before[name][:4]} -> {after[name][:4]}")
    return sorted(found)


def half(folder: Path, *, foreign: Sequence[str] = (), parts: bool = False) -> list[str]:
    """Return files of a folder that are not whole, and leftovers unless ``parts`` may be."""
    found = []
    if not folder.is_dir():
        return found
    for path in _walk(folder, set()):
        name = str(path.relative_to(folder))
        known = any(name == each or name.startswith(f"{each}/") for each in foreign)
        if known or path.is_symlink() or not path.is_file():
            continue
        if path.name.endswith(".part") or path.name == ".run.lock":
            if not parts:
                found.append(f"left behind: {name}")
        elif path.name == "docket.toml" or path.name == ".docket.json":
            found += [f"{name} is half"] if not _reads(path) else []
        elif path.suffix in (".jpg", ".tif"):
            if not whole(path):
                found.append(f"half: {name}, {path.stat().st_size} bytes")
        elif not path.name.startswith("."):
            found.append(f"stray: {name}")
    return found


def _reads(path: Path) -> bool:
    import json
    import tomllib

    try:
        if path.suffix == ".toml":
            tomllib.loads(path.read_text())
        else:  # a line a table
            for line in path.read_text().splitlines():
                json.loads(line)
    except ValueError:
        return False
    return True


def whole(path: Path) -> bool:
    """Whether a picture decodes to its end, by a reader that is not the program's own."""
    try:
        if path.suffix == ".jpg":
            with Image.open(path) as image:
                image.load()
            return path.read_bytes().rstrip(b"\0")[-2:] == b"\xff\xd9"
        return bool(np.asarray(tifffile.imread(path)).size)
    except Exception:
        return False


@dataclass
class Table:
    """Counts of cases and of what was wrong, a row for each attack."""

    cases: Counter[str] = field(default_factory=Counter)
    faults: list[tuple[str, str, str]] = field(default_factory=list)
    kinds: Counter[tuple[str, str]] = field(default_factory=Counter)

    def __post_init__(self) -> None:
        """Have a run that is ended early report what it saw."""
        signal.signal(signal.SIGTERM, lambda *_: self.end())

    def add(self, attack: str, case: str, faults: Sequence[str]) -> None:
        """Count a case and note what was wrong with it, at once on standard output too."""
        self.cases[attack] += 1
        for each in faults:
            self.faults.append((attack, case, each))
            kind = attack, re.sub(r"[0-9a-f]{6,}|\d+|/\S+", "#", each)[:90]
            self.kinds[kind] += 1
            if self.kinds[kind] <= 3:
                print(f"FAULT {attack}: {case}: {each}", flush=True)

    def end(self) -> None:
        """Print the table and leave with 1 when anything was wrong."""
        bad: Counter[str] = Counter()
        for attack, _ in {(attack, case) for attack, case, _ in self.faults}:
            bad[attack] += 1
        print(f"\n{'attack':<34}{'cases':>7}{'wrong':>7}")
        for attack, count in self.cases.items():
            print(f"{attack:<34}{count:>7}{bad[attack]:>7}")
        for (attack, kind), count in self.kinds.most_common():
            print(f"  {count:>5} x {attack}: {kind}")
        raise SystemExit(bool(self.faults))
