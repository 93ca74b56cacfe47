"""Measure sightsize: one print, its stages, batches, large prints, scaling and the commands.

    python tests/benchmarks/bench.py [--parts print batch] [--runs 5] [--output FILE]

Run by hand, on a machine that has nothing else to do; all of it takes about three quarters of an
hour on two cores, source pictures aside. Every part with every subject writes RESULTS.md and the
table in the README; anything less is only shown, or goes to `--output`. Ends with 1 where a subject
fails or a print is not the one that was asked for; a subject that cannot run here is reported as
not available, and a goal that is missed is only reported.
"""

import argparse
import importlib
import os
import subprocess
import sys
import tempfile
from pathlib import Path

from parts import Part, Setup
from spec import MONO_24X16, SPECS, SUBJECTS

from report import report, with_summary

HERE = Path(__file__).parent
RESULTS, README = HERE / "RESULTS.md", HERE.parents[1] / "README.md"
PARTS = {
    "print": "part_single",
    "batch": "part_batch",
    "large": "part_large",
    "scaling": "part_scaling",
    "commands": "part_commands",
    "stages": "part_stages",
}
"""The modules that each measure one part, in the order of the report."""


def main() -> int:
    """Measure, report; 1 when something went wrong."""
    options, load = _options(), os.getloadavg()[0]
    with tempfile.TemporaryDirectory() as scratch:
        setup = _setup(options, Path(scratch))
        parts = [_part(name, setup) for name in options.parts]
    text = report(parts, setup, load)
    print(text)
    if options.output:
        options.output.write_text(text, encoding="utf-8")
    elif _is_whole(options):
        RESULTS.write_text(text, encoding="utf-8")
        readme = with_summary(README.read_text(encoding="utf-8"), text)
        README.write_text(readme, encoding="utf-8")
    return int(any(part.faults for part in parts))


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--parts", nargs="+", choices=PARTS, default=list(PARTS))
    parser.add_argument("--runs", type=_count, default=5, help="times that each is measured")
    parser.add_argument("--threads", type=_count, default=2, help="threads for each subject")
    parser.add_argument("--subjects", nargs="+", choices=SUBJECTS, default=SUBJECTS)
    parser.add_argument("--specs", nargs="+", choices=SPECS, default=[MONO_24X16.name])
    parser.add_argument("--prints", type=_count, default=20, help="prints in each run of a batch")
    parser.add_argument(
        "--peer-prints", type=_count, default=6, help="as many for the floor and each peer"
    )
    parser.add_argument("--pictures", type=_count, default=800, help="pictures of the job of many")
    parser.add_argument("--cache", type=Path, help="folder that keeps the source pictures (5 GB)")
    parser.add_argument("--output", type=Path, help="write the report here, not to the project")
    return parser.parse_args()


def _count(text: str) -> int:
    count = int(text)
    if count < 1:
        raise argparse.ArgumentTypeError("at least 1")
    return count


def _setup(options: argparse.Namespace, scratch: Path) -> Setup:
    cache = options.cache or scratch / "cache"
    return Setup(
        runs=options.runs,
        threads=options.threads,
        subjects=tuple(options.subjects),
        specs=tuple(options.specs),
        prints=options.prints,
        peer_prints=options.peer_prints,
        pictures=options.pictures,
        cache=cache,
        scratch=scratch,
    )


def _part(name: str, setup: Setup) -> Part:
    """Measure a part; one that breaks off leaves the others to be reported."""
    print(f"measuring: {name}", file=sys.stderr)
    part: Part
    try:
        part = importlib.import_module(PARTS[name]).part(setup)
    except (OSError, subprocess.CalledProcessError) as error:
        part = Part(text="", faults=(f"{name} broke off: {error}",))
    for fault in part.faults:
        print(fault, file=sys.stderr)
    return part


def _is_whole(options: argparse.Namespace) -> bool:
    return set(options.parts) == set(PARTS) and set(options.subjects) == set(SUBJECTS)


if __name__ == "__main__":
    sys.exit(main())
