"""Print an album of 800 pictures, killed at random five times; time what is done again; by hand.

The pictures are drawn by this script, every one another, for the Tern Quay regatta: small ones for
the pages of an album, and full-size ones for the frames on two walls.
"""

import argparse
import os
import random
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from killing import PROGRAM, Run, Standing, audit, snapshot, untrue

from icc_profiles import built_in
from pictures import Pixels
from sightsize.checks.run import check_ids
from sightsize.docket.store import Docket
from sightsize.job.load import load_job
from sightsize.model.job import Job
from sightsize.plan.arrange import arrange

_SMALL_PX = (1200, 800)
_LARGE_PX = (6000, 4000)
_BASES = 3
_MOST_SECONDS = 3.0
"""Processor time after the print that a kill waits for: about what a full-size one takes."""

_JOB = """\
sightsize = 1
job = { title = "Album of the centenary regatta", reference = "TQ-800" }
paper = { hinge_margin = "5 mm" }
delivery = { format = "jpeg", name = "{number}-{picture}" }
checks.accept = ["resolution"]  # of pictures drawn smaller for a quick look

[frames.album-page]
aperture = { width = "134 mm", height = "84 mm" }
paper.size = "6x4 in"

[frames.trophy-cabinet]
aperture = { width = "198 mm", height = "143 mm" }
paper.size = "10x8 in"

[frames.launch-room]
aperture = { width = "9 3/8 in", height = "6 7/8 in" }
paper.size = "12x8 in"

[recipes.silver]
mono = { filter = "yellow" }
tone = { split_grade = { dark = 2.9, light = 2.5 }, edge_burn = { stops = 0.15 } }
local_contrast.gain = 0.15
toner.kind = "selenium"
"""
_TABLE = '\n[[prints]]\nsource = "{}-*.jpg"\nframe = "{}"\n{}'


def draw(
    folder: Path, name: str, count: int, size_px: tuple[int, int], dice: random.Random
) -> None:
    """Write pictures of one size: pieces of a few waters, each in a light and grain of its own."""
    width, height = size_px
    room_px = (width * 5 // 4, height * 5 // 4)
    bases = [_water(room_px, dice.random()) for _ in range(min(count, _BASES))]
    for number in range(count):
        left, top = dice.randrange(room_px[0] - width), dice.randrange(room_px[1] - height)
        piece = bases[number % _BASES][top : top + height, left : left + width]
        light = (np.arange(256) * dice.uniform(0.8, 1.0)).astype(np.uint8)
        grain = np.random.default_rng(dice.getrandbits(32))
        noise = grain.integers(0, 24, (height, width, 1), np.uint8)
        path = folder / f"{name}-{number:03}.jpg"
        Image.fromarray(light[piece] + noise).save(path, quality=92, icc_profile=built_in("srgb"))


def _water(size_px: tuple[int, int], phase: float) -> Pixels:
    """Waves in colour, from 30 to 220."""
    columns = np.linspace(0, 40, size_px[0], dtype=np.float32) + 6 * phase
    rows = np.linspace(0, 25, size_px[1], dtype=np.float32)[:, None]
    waves = np.sin(columns + np.sin(rows * (1 + phase))) * np.cos(rows / 2 + phase)
    bands = [(125 + waves * weight).astype(np.uint8) for weight in (95, 80, 60)]
    return np.stack(bands, axis=-1)


def album(folder: Path, small: int, large: int, scale: float, dice: random.Random) -> Job:
    """Draw the pictures and write the job that prints them in three frames."""
    walls = {"trophy-cabinet": large // 2, "launch-room": large - large // 2}
    text = _JOB
    if small:
        draw(folder, "page", small, _scaled(_SMALL_PX, scale), dice)
        text += _TABLE.format("page", "album-page", "")
    for frame, count in walls.items():
        if count:
            draw(folder, frame, count, _scaled(_LARGE_PX, scale), dice)
            text += _TABLE.format(frame, frame, 'recipe = "silver"\n')
    path = folder / "album.toml"
    path.write_text(text, encoding="utf-8")
    job = load_job(path, check_ids())
    assert len(job.prints) == small + large
    return job


def _scaled(size_px: tuple[int, int], scale: float) -> tuple[int, int]:
    return round(size_px[0] * scale), round(size_px[1] * scale)


@dataclass
class Killer:
    """Says when a run is to be killed: a while after so many prints stand."""

    run: Run
    output: Path
    prints: int
    more_seconds: float
    until: float | None = None

    def __call__(self) -> bool:
        if self.until is None:
            time.sleep(0.05)
            if sum(1 for _ in self.output.glob("[!.]*.jpg")) < self.prints:
                return False
            self.until = self.run.processor_seconds() + self.more_seconds
        return self.run.processor_seconds() >= self.until


def killed_and_finished(job: Job, kills: int, workers: int, dice: random.Random) -> Iterator[str]:
    """Make a job's prints through so many kills, saying how far it was; then hold it to account."""
    names = {each.name for each in arrange(job)}
    folder, docket = job.path.parent, job.output / "docket.toml"
    before, standing = snapshot(folder, without=job.output), Standing(job.output, names)
    for count in sorted(dice.sample(range(1, len(names)), kills)):
        run = Run(job.path, workers)
        run.end_when(Killer(run, job.output, count, dice.uniform(0, _MOST_SECONDS)))
        found = standing.look()
        recorded, parts = len(Docket(docket).records), len(standing.parts())
        yield f"killed with {len(found)} prints, {recorded} recorded, {parts} half written"
        yield from _faults([*standing.faults(ended=False), *untrue(docket)])
    run = Run(job.path, workers)
    if code := run.process.wait():
        yield from _faults([f"the last run ended with {code}: {run.said()[-300:]!r}"])
    standing.look()
    faults = [*standing.faults(ended=True), *untrue(docket)]
    faults += [f"{name} was made again" for name in standing.made_again]
    found_whole = audit(job.path)
    if found_whole.returncode or f"{len(names)} whole, 0 m" not in found_whole.stdout:
        faults.append(f"audit: {found_whole.stdout[-300:]!r} {found_whole.stderr[-300:]!r}")
    if snapshot(folder, without=job.output) != before:
        faults.append("a file outside the output folder was touched")
    yield f"{len(names)} prints finished, {len(standing.made_again)} made again"
    yield from _faults(faults)


def _faults(found: list[str]) -> Iterator[str]:
    yield from (f"FAULT {each}" for each in found)


def timed(job: Job, repeats: int = 3) -> Iterator[str]:
    """Say what a rerun that does nothing, a check and the help take, and that they do nothing."""
    before = snapshot(job.output)
    for goal, *words in (
        (2.0, "make", str(job.path)),
        (3.0, "check", str(job.path)),
        (0.25, "--help"),
    ):
        wall, processor = zip(*(_seconds(words) for _ in range(repeats)), strict=True)
        middle, used = statistics.median(wall), statistics.median(processor)
        yield f"{words[0]}: {middle:.2f} s, {used:.2f} s of the processor; the goal is {goal:g} s"
    if snapshot(job.output) != before:
        yield from _faults(["a rerun or a check wrote something"])


def _seconds(words: list[str]) -> tuple[float, float]:
    """Return what a command takes, and what of that it uses of the processor."""
    begin, before = time.perf_counter(), os.times()
    subprocess.run([sys.executable, *PROGRAM, *words], capture_output=True, check=True)
    after = os.times()
    used = after.children_user + after.children_system
    return (
        time.perf_counter() - begin,
        used - before.children_user - before.children_system,
    )


def main() -> None:
    """Print the album and report; the exit code is 1 when anything was wrong but a time."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--small", type=int, default=740, help="small pictures")
    parser.add_argument("--large", type=int, default=60, help="full-size pictures")
    parser.add_argument("--scale", type=float, default=1.0, help="of the pictures' sizes")
    parser.add_argument("--kills", type=int, default=5)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--first", type=int, default=0, help="seed")
    chosen = parser.parse_args()
    dice = random.Random(chosen.first)
    wrong = False
    with tempfile.TemporaryDirectory() as scratch:
        begin = time.perf_counter()
        job = album(Path(scratch), chosen.small, chosen.large, chosen.scale, dice)
        print(
            f"{len(job.prints)} pictures drawn in {time.perf_counter() - begin:.0f} s", flush=True
        )
        begin = time.perf_counter()
        for line in killed_and_finished(job, chosen.kills, chosen.workers, dice):
            print(f"{time.perf_counter() - begin:6.0f} s  {line}", flush=True)
            wrong |= line.startswith("FAULT")
        for line in timed(job):
            print(line, flush=True)
            wrong |= line.startswith("FAULT")
    raise SystemExit(wrong)


if __name__ == "__main__":
    main()
