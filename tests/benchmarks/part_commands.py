"""The commands around the prints: a job of many pictures run again and checked, and start-up."""

import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median
from typing import Any

import tomli_w
from goals import Claim
from measure import Spent, run_alone
from parts import Part, Setup
from sources import small_pictures
from spec import SMALL
from tables import table

PICTURES = 800
"""The size of job that the goals are about."""
HEADINGS = ("command", "s (min-max)", "peak MiB")
GRADES = {"soft": 2.0, "hard": 3.0}

TEXT = f"""\
## Commands

Every command is a fresh process; the pictures are {SMALL.width} x {SMALL.height} px, one print
each. A rerun is held to keep every print, and a changed recipe to touch no other print's file."""

MAKE_FIRST, RERUN = "make, the first time", "make, nothing to do"
CHANGED, CHECK = "make, one picture's recipe changed", "check"
BARE, HELP, IMPORT = "Python alone", "`sightsize --help`", "import of all that a print needs"
START_UP = {
    BARE: ("-c", "pass"),
    HELP: ("-m", "sightsize", "--help"),
    IMPORT: ("-c", "import sightsize.run.batch, sightsize.delivery.deliver, sightsize.job.load"),
}


@dataclass
class Commands:
    """What each command took, and what went wrong."""

    runs: dict[str, list[Spent]] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)

    def run(self, name: str, *arguments: object) -> Spent:
        """Run Python with arguments, as a command of this name."""
        spent = run_alone([sys.executable, *map(str, arguments)])
        self.runs.setdefault(name, []).append(spent)
        if spent.code:
            self.faults.append(f"{name}: ended with {spent.code}: {spent.errors[-200:].strip()}")
        return spent

    def seconds(self, name: str) -> float:
        """Median wall time of a command."""
        return median(spent.seconds for spent in self.runs[name])

    def cells(self) -> Iterator[list[str]]:
        """Yield a row for each command."""
        for name, runs in self.runs.items():
            times = [spent.seconds for spent in runs]
            spread = f"{median(times):.2f} ({min(times):.2f}-{max(times):.2f})"
            peak = f"{median(spent.peak_mib for spent in runs):.0f}"
            # The smallest processes show the peak of this one, which started them.
            yield [name, spread, "" if name in START_UP else peak]


def part(setup: Setup) -> Part:
    """Measure start-up, then the job: made, and then rerun, changed and checked in turn."""
    commands, many = Commands(), Many(setup)
    many.write_job("soft")
    many.make(commands, MAKE_FIRST, made=setup.pictures)
    changed = 0
    for run in range(setup.runs):
        for name, arguments in START_UP.items():
            commands.run(name, *arguments)
        many.make(commands, RERUN, made=0)
        commands.run(CHECK, "-m", "sightsize", "check", many.job_path)
        many.write_job("hard" if run % 2 == 0 else "soft")
        changed = max(changed, many.make(commands, CHANGED, made=1))
    only = f"{setup.pictures} pictures" if setup.pictures != PICTURES else ""
    return Part(
        text=f"{TEXT}\n\n{table(HEADINGS, commands.cells())}\n",
        claims=(
            Claim(goal="rerun", value=commands.seconds(RERUN), only=only),
            Claim(goal="changed", value=changed, only=only),
            Claim(goal="check", value=commands.seconds(CHECK), only=only),
            Claim(goal="help", value=commands.seconds(HELP)),
        ),
        faults=tuple(commands.faults),
    )


class Many:
    """A job of many small pictures, one of which is given another recipe from run to run."""

    def __init__(self, setup: Setup) -> None:
        self.folder = setup.scratch / "commands"
        self.folder.mkdir()
        self.job_path = self.folder / "many.toml"
        pictures = small_pictures(setup.cache, setup.pictures)
        self.pictures = sorted(pictures.resolve().glob("*.jpg"))

    def write_job(self, recipe: str) -> None:
        """Write the job with a recipe for its middle picture."""
        prints = [{"picture": path.stem, "recipe": "soft"} for path in self.pictures]
        prints[len(prints) // 2]["recipe"] = recipe
        values: dict[str, Any] = {
            "sightsize": 1,
            "aperture": {"width": "3.5 in", "height": "2.5 in", "overlap": "2 mm"},
            "paper": {"size": "6x4 in"},
            "mono": {"response": "luminance"},
            "delivery": {"resolution": "100 ppi", "name": "{picture}"},
            "checks": {"accept": ["resolution"]},
            "recipes": {name: {"tone": {"grade": grade}} for name, grade in GRADES.items()},
            "pictures": {path.stem: {"source": str(path)} for path in self.pictures},
            "prints": prints,
        }
        self.job_path.write_text(tomli_w.dumps(values), encoding="utf-8")

    def make(self, commands: Commands, name: str, made: int) -> int:
        """Run the job, see that so many files were made and no other was touched."""
        before = self._stamps()
        spent = commands.run(name, "-m", "sightsize", "make", self.job_path, "--replace")
        after = self._stamps()
        said = [line.partition(" ")[0] for line in spent.output.splitlines()]
        written = sum(before.get(path) != stamp for path, stamp in after.items())
        wanted = {"made": made, "kept": len(self.pictures) - made}
        for status, count in wanted.items():
            if said.count(status) != count:
                commands.faults.append(f"{name}: {said.count(status)} {status}, not {count}")
        if written != made or len(after) != len(self.pictures):
            commands.faults.append(f"{name}: {written} of {len(after)} files written, not {made}")
        return written

    def _stamps(self) -> dict[Path, int]:
        return {path: path.stat().st_mtime_ns for path in self.folder.glob("prints/*.jpg")}
