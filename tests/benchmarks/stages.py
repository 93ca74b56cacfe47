"""Measure what each stage adds to a print, and a print with all of them.

    python tests/benchmarks/stages.py [--runs 5] [--cache FOLDER] [--output FILE]

Run by hand, on a machine that has nothing else to do.
"""

import argparse
import os
import sys
import tempfile
from pathlib import Path

from bench import source_of
from brief import FLOOR, MONO_20X16
from measure import Bench, Row, measure
from report import machine_text
from subject_stages import ALL, STAGES

HERE = Path(__file__).parent
PLAIN = "subject_sightsize"


def main() -> int:
    """Measure and report; 1 when a print was not made."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=5, help="timed prints for each stage")
    parser.add_argument("--threads", type=int, default=2, help="threads for each print")
    parser.add_argument("--cache", type=Path, help="folder that keeps the source picture")
    parser.add_argument("--output", type=Path, default=HERE / "STAGES.md")
    options = parser.parse_args()
    subjects = [FLOOR, PLAIN, *(f"subject_stages:{name}" for name in (*STAGES, ALL))]
    load = os.getloadavg()[0]
    with tempfile.TemporaryDirectory() as folder:
        source = source_of(options.cache or Path(folder), MONO_20X16)
        bench = Bench(brief=MONO_20X16, source=source, folder=Path(folder), threads=options.threads)
        rows = measure(bench, subjects, options.runs)
    for row in rows:
        if row.missing:
            print(f"{row.subject}: {row.missing}", file=sys.stderr)
    machine = machine_text(options.runs, options.threads, load, "stages.py")
    text = f"{machine}\n{_table(rows)}"
    print(text)
    options.output.write_text(text, encoding="utf-8")
    return int(any(row.missing for row in rows))


def _table(rows: list[Row]) -> str:
    """Warm time against the floor, what a stage adds to the plain print, and peak memory."""
    floor, plain, *_ = rows
    lines = [
        "| print | warm / floor | added to the plain print | peak MiB |",
        "|---|---|---|---|",
    ]
    for row in rows:
        if row.missing:
            continue
        name = row.subject.partition(":")[2]
        shown = name or {FLOOR: "libvips alone", PLAIN: "plain black-and-white print"}[row.subject]
        added = f"{row.warm / plain.warm - 1:+.0%}" if name else ""
        lines.append(f"| {shown} | {row.warm / floor.warm:.2f} | {added} | {row.peak_mib:.0f} |")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    sys.exit(main())
