"""Kill batches of prints at random, again and again, and start the same command anew; by hand.

After every kill only whole prints have names, the docket is true and nothing else was touched; in
the end every print was made once, but for those whose making was cut off.
"""

import argparse
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from killing import PROGRAM, Run, Standing, audit, snapshot, untrue

from pictures import job, read, save
from sightsize.docket.store import Docket, Record
from sightsize.model.job import Job
from sightsize.plan.arrange import arrange

_PX = (700, 500)
_PRINTS = 12
_FORMATS = ("tiff", "jpeg")
_RIVALS, _INTERRUPTS = 0.15, 0.15
"""Share of the turns with two runs at once, and of the runs that Ctrl-C ends."""
_DIES_AT = Path(__file__).with_name("dies_at.py")
_STEPS = 60
"""Steps in the folder in which some five prints are made; see ``dies_at``."""


def batch(folder: Path, form: str) -> Job:
    """A job of small prints from two pictures of the regatta."""
    folder.mkdir()
    for number, name in enumerate(("catch-four.jpg", "cox-megaphone.jpg")):
        pixels = np.random.default_rng(number).integers(40, 200, (300, 400, 3)).astype(np.uint8)
        save(folder / name, pixels, quality=95)
    pictures = {
        f"{name}-{at}": {"source": f"{name}.jpg", "centre_on": [at / _PRINTS, 0.5]}
        for name in ("catch-four", "cox-megaphone")
        for at in range(_PRINTS // 2)
    }
    return job(folder, pictures, _PX, sharpen={"gain": 0.8}, delivery={"format": form})


@dataclass
class Reference:
    """What a run that is never killed makes, and what it takes."""

    files: dict[str, bytes]
    records: dict[str, Record]
    seconds_idle: float
    seconds_of_work: float


def reference(folder: Path, form: str) -> Reference:
    """Make a batch without a kill and read every print in full."""
    made = batch(folder, form)
    seconds, seconds_idle = (_seconds_of(made.path) for _ in range(2))
    files = {each.name: (made.output / each.name).read_bytes() for each in arrange(made)}
    for name in files:
        read(made.output / name)
    records = Docket(made.output / "docket.toml").records
    return Reference(files, records, seconds_idle, seconds - seconds_idle)


def _seconds_of(path: Path) -> float:
    run = Run(path, 1)
    seconds = 0.0

    def measure() -> bool:
        nonlocal seconds
        seconds = run.processor_seconds()
        return False

    if run.end_when(measure):
        raise SystemExit(f"a run that nobody killed failed: {run.said()}")
    return seconds


class Batch:
    """One batch that is killed until it is finished."""

    def __init__(self, folder: Path, form: str, wanted: Reference) -> None:
        self.folder, self.wanted = folder, wanted
        self.job = batch(folder, form)
        self.output = self.job.output
        self.before = snapshot(folder, without=self.output)
        self.standing = Standing(self.output, set(wanted.files))

    def look(self, counted: Counter[str], *, ended: bool) -> list[str]:
        """Return what does not hold though it must at any moment."""
        if not self.output.exists():
            counted["kills before the output folder"] += 1
            return []
        found = self.standing.look()
        recorded = Docket(self.output / "docket.toml").records
        counted["files half written when killed"] += len(self.standing.parts())
        counted["prints whole but not yet recorded"] += len(found - recorded.keys())
        faults = [*self.standing.faults(ended=ended), *untrue(self.output / "docket.toml")]
        for name in found:
            if (self.output / name).read_bytes() != self.wanted.files[name]:
                faults.append(f"{name} is not whole, or another print")
        for name, record in recorded.items():
            if _lasting(record) != _lasting(self.wanted.records[name]):
                faults.append(f"the record of {name} is another")
        if snapshot(self.folder, without=self.output) != self.before:
            faults.append("a file outside the output folder was touched")
        return faults


def _lasting(record: Record) -> Record:
    """A record without the times in it."""
    kept = {key: value for key, value in record.items() if key not in ("made", "seconds")}
    kept["output"] = {**record["output"], "changed_ns": 0}
    kept["sources"] = [{**each, "changed_ns": 0} for each in record["sources"]]
    return kept


@dataclass
class Soak:
    """All turns so far: what was counted and what was wrong."""

    dice: random.Random
    counted: Counter[str] = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)

    def whole_batch(self, made: Batch, kills: int) -> None:
        """Kill runs of one batch until it is finished or so many were killed; then finish it."""
        until, ended = self.counted["kills"] + kills, False
        while not ended and self.counted["kills"] < until:
            ended = self._turn(made)
            self._look(made, ended=ended)
        self._finish(made)
        self.counted["batches"] += 1
        self.counted["prints"] += len(made.standing.seen)
        self.counted["made again"] += len(made.standing.made_again)

    def _look(self, made: Batch, *, ended: bool) -> None:
        self.faults += [f"{made.output}: {each}" for each in made.look(self.counted, ended=ended)]

    def _turn(self, made: Batch) -> bool:
        """Start one run, or two beside each other, and end each; return whether one got through."""
        count = 2 if self.dice.random() < _RIVALS else 1
        codes = []
        for run, moment in [(self._start(made), self._moment(made)) for _ in range(count)]:
            how = signal.SIGINT if self.dice.random() < _INTERRUPTS else signal.SIGKILL
            run.end_when(partial(_has_used, run, moment), how)
            codes.append(self._ended(made, run, rival=count > 1))
        return 0 in codes

    def _start(self, made: Batch) -> Run:
        program: tuple[str, ...] = PROGRAM
        if self.dice.random() < 0.5:
            step = self.dice.randint(1, _STEPS)
            program = (str(_DIES_AT), str(step), str(made.output))
        return Run(made.job.path, self.dice.choice((1, 2, 4)), program)

    def _moment(self, made: Batch) -> float:
        """Seconds of processor time, from early in the start to the middle of the batch."""
        idle, work = made.wanted.seconds_idle, made.wanted.seconds_of_work
        return self.dice.uniform(0.5 * idle, idle + 0.5 * work)

    def _ended(self, made: Batch, run: Run, *, rival: bool) -> int:
        code, said = run.process.returncode, run.said()
        if code == -signal.SIGKILL:
            self.counted["kills"] += 1
        elif code in (130, -signal.SIGINT):
            self.counted["interrupts"] += 1
            parts = made.standing.parts() if made.output.exists() else []
            if any(f".{run.process.pid}-" in name for name in parts):
                self.faults.append(f"{made.output}: an interrupt left {parts}")
            if code == 130 and "Traceback" in said:
                self.faults.append(f"{made.output}: an interrupt said {said[-300:]!r}")
        elif rival and code == 1 and "is making prints in" in said:
            self.counted["runs refused beside another"] += 1
        elif code:
            self.faults.append(f"{made.output}: ended with {code}: {said[-300:]!r}")
        return code

    def _finish(self, made: Batch) -> None:
        run = Run(made.job.path, 1)
        run.process.wait()
        code = self._ended(made, run, rival=False)
        self._look(made, ended=True)
        found = audit(made.job.path)
        clean = f"{len(made.wanted.files)} whole, 0 missing, 0 altered, 0 outdated, 0 extra"
        if code or found.returncode or clean not in found.stdout:
            self.faults.append(f"{made.output}: {code}, {found.stdout!r}, {found.stderr!r}")


def _has_used(run: Run, seconds: float) -> bool:
    return run.processor_seconds() >= seconds


def main() -> None:
    """Kill so often, or for so long, and report what was counted and what was wrong."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--minutes", type=float, default=30)
    parser.add_argument("--first", type=int, default=0, help="seed")
    chosen = parser.parse_args()
    soak = Soak(random.Random(chosen.first))
    until = time.monotonic() + 60 * chosen.minutes
    with tempfile.TemporaryDirectory() as scratch:
        wanted = {form: reference(Path(scratch) / form, form) for form in _FORMATS}
        while (left := chosen.kills - soak.counted["kills"]) > 0 and time.monotonic() < until:
            number = soak.counted["batches"]
            form = _FORMATS[number % len(_FORMATS)]
            soak.whole_batch(Batch(Path(scratch) / str(number), form, wanted[form]), left)
    for what, count in soak.counted.items():
        print(f"{count:>6} {what}")
    print("\n".join(soak.faults) or "no faults")
    raise SystemExit(bool(soak.faults or soak.counted["made again"]))


if __name__ == "__main__":
    main()
