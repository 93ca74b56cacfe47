"""Measure one print through libvips alone, through plain float scripts and through sightsize.

    python tests/benchmarks/bench.py [--runs 5] [--subjects floor peer_opencv] [--output FILE]

Run by hand, on a machine that has nothing else to do. Ends with 1 where a subject fails or a print
is not the one that was asked for; a subject that cannot run here is reported as not available.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, cast

from brief import BRIEFS, MONO_20X16, SUBJECTS, Brief
from measure import Bench, Row, measure
from report import Result, report

if TYPE_CHECKING:
    from verify import Look

HERE = Path(__file__).parent


def main() -> int:
    """Measure, verify, report."""
    options, load = _options(), os.getloadavg()[0]
    with tempfile.TemporaryDirectory() as folder:
        results = [_result(BRIEFS[name], Path(folder), options) for name in options.briefs]
    text = report(results, options.runs, options.threads, load)
    print(text)
    options.output.write_text(text, encoding="utf-8")
    return int(any(_is_wrong(result) for result in results))


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=5, help="timed prints for each subject")
    parser.add_argument("--threads", type=int, default=2, help="threads for each subject")
    parser.add_argument("--subjects", nargs="+", choices=SUBJECTS, default=SUBJECTS)
    parser.add_argument("--briefs", nargs="+", choices=BRIEFS, default=[MONO_20X16.name])
    parser.add_argument("--cache", type=Path, help="folder that keeps the source picture")
    parser.add_argument("--output", type=Path, default=HERE / "RESULTS.md")
    options = parser.parse_args()
    if options.runs < 1 or options.threads < 1:
        parser.error("--runs and --threads take at least 1")
    return options


def _result(brief: Brief, folder: Path, options: argparse.Namespace) -> Result:
    source = source_of(options.cache or folder, brief)
    bench = Bench(brief=brief, source=source, folder=folder, threads=options.threads)
    rows = measure(bench, options.subjects, options.runs)
    for row in rows:
        if row.missing:
            print(f"{row.subject}: {row.missing}", file=sys.stderr)
    return Result(brief=brief, rows=rows, looks=_looks(bench, rows))


def source_of(folder: Path, brief: Brief) -> Path:
    """The source picture, made if the folder has none."""
    width, height = brief.source
    source = folder / f"source-{width}x{height}.jpg"
    if not source.exists():
        folder.mkdir(parents=True, exist_ok=True)
        unfinished = source.with_suffix(".part")
        _run("source_picture.py", str(unfinished), str(width), str(height))
        unfinished.replace(source)
    return source


def _looks(bench: Bench, rows: list[Row]) -> "list[Look]":
    prints = [str(bench.target(row.subject)) for row in rows if not row.missing]
    return cast("list[Look]", json.loads(_run("verify.py", bench.brief.name, *prints)))


def _run(script: str, *arguments: str) -> str:
    """Run a script that handles pictures outside this process, which has to stay small."""
    command = [sys.executable, str(HERE / script), *arguments]
    return subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True).stdout


def _is_wrong(result: Result) -> bool:
    failed = any(row.failed for row in result.rows)
    return failed or any(look["faults"] for look in result.looks)


if __name__ == "__main__":
    sys.exit(main())
