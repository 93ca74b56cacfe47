"""Write a run as Markdown: what was measured on what, as seconds, memory and ratios."""

import os
import platform
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import TYPE_CHECKING

from brief import DETAIL_RATIOS, FLOOR, LARGEST_DIFFERENCE_CODES, PEERS, Box, Brief, Size
from measure import Row

if TYPE_CHECKING:
    from verify import Look

PACKAGES = (
    "sightsize",
    "pyvips",
    "pyvips-binary",
    "numpy",
    "opencv-contrib-python-headless",
    "scikit-image",
    "scipy",
    "pillow",
    "imageio",
)


BUSY_LOAD = 0.5
"""Other work, in cores, above which a run on a small machine says little."""


@dataclass(frozen=True, kw_only=True)
class Result:
    """All that was found for one brief."""

    brief: Brief
    rows: list[Row]
    looks: "list[Look]"


def report(results: Iterable[Result], runs: int, threads: int, load: float) -> str:
    """Return the whole report; `load` is what the machine was busy with before the run."""
    head = machine_text(runs, threads, load, "bench.py")
    return "\n".join([head, *(_section(result) for result in results)])


def machine_text(runs: int, threads: int, load: float, script: str) -> str:
    """Return the head of a report: when, how and on what a script measured."""
    packages = ", ".join(f"{name} {found}" for name in PACKAGES if (found := _version(name)))
    return f"""\
# Benchmark

Made by `python tests/benchmarks/{script}` on {date.today()}; run it again rather than edit this.
Medians of {runs}, the subjects in turn. *Warm* is one more print in a process that has just
made one; *cold* is from starting Python to its end, and the peak memory is that process's.
On another machine only the ratios mean anything.

- {_processor()}, {len(os.sched_getaffinity(0))} cores, {threads} threads for each subject;
  load before the run {load:.1f}{" (busy: measure again)" if load > BUSY_LOAD else ""}
- Python {platform.python_version()}, {packages}
"""


def _processor() -> str:
    lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    names = (line.partition(":")[2].strip() for line in lines if line.startswith("model name"))
    return next(names, platform.machine())


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return ""


def _section(result: Result) -> str:
    return f"""\
## {result.brief.name}

{_description(result.brief)}

{_table(_TIME_HEADINGS, _time_cells(result.rows))}

The peers compute each function of a float as it is written down; `tuned_opencv` reads every one
from a table of 16 bits, as sightsize does, and leaves out what a print needs beside the picture:
the overshoot limit, dither, and the file held against its plan.

Held against the first peer: means of 4 x 4 px have to stand less than
{LARGEST_DIFFERENCE_CODES:g} codes away, detail within {DETAIL_RATIOS[0]:g} to {DETAIL_RATIOS[1]:g}
of it. The floor stays in colour.

{_table(_LOOK_HEADINGS, [_look_cells(look) for look in result.looks])}
"""


def _description(brief: Brief) -> str:
    crop, picture = brief.crop, brief.picture
    coding = "optimised" if brief.optimised_coding else "standard"
    return f"""\
Colour JPEG of {_px(brief.source)}, cropped to {_px(crop)}; black-and-white picture of
{_px(picture)} at ({picture.left}, {picture.top}) on a sheet of {_px(brief.sheet)}; JPEG quality
{brief.quality}, 4:4:4, {coding} coding."""


def _px(area: Size | Box) -> str:
    return f"{area.width} x {area.height} px"


_TIME_HEADINGS = (
    "subject",
    "warm s (min-max)",
    "/ floor",
    "/ fastest peer",
    "warm CPU s",
    "cold s",
    "peak MiB",
    "/ leanest peer",
)


def _time_cells(rows: Sequence[Row]) -> list[list[str]]:
    measured = [row for row in rows if not row.missing]
    peers = [row for row in measured if row.subject in PEERS]
    floor = next((row.warm for row in measured if row.subject == FLOOR), None)
    fastest = min((row.warm for row in peers), default=None)
    leanest = min((row.peak_mib for row in peers), default=None)
    return [
        [row.subject, "failed" if row.failed else "not available"]
        if row.missing
        else [
            row.subject,
            f"{row.warm:.2f} ({min(row.warm_seconds):.2f}-{max(row.warm_seconds):.2f})",
            _ratio(row.warm, floor),
            _ratio(row.warm, fastest),
            f"{row.warm_cpu:.2f}",
            f"{row.cold:.2f}",
            f"{row.peak_mib:.0f}",
            _ratio(row.peak_mib, leanest),
        ]
        for row in rows
    ]


def _ratio(value: float, unit: float | None) -> str:
    return f"{value / unit:.2f}" if unit is not None else ""


_LOOK_HEADINGS = ("subject", "difference, codes", "of 4 x 4 means", "detail", "coding", "MB", "")


def _look_cells(look: "Look") -> list[str]:
    compared = look.get("comparison")
    return [
        look["subject"],
        f"{compared['pixels_codes']:.2f}" if compared else "",
        f"{compared['means_codes']:.2f}" if compared else "",
        f"{compared['detail_ratio']:.2f}" if compared else "",
        "optimised" if look["optimised_coding"] else "standard",
        f"{look['megabytes']:.1f}",
        "; ".join(look["faults"]) or "as briefed",
    ]


def _table(headings: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A Markdown table with its columns aligned, so that it reads well in a terminal, too."""
    filled = [[*row, *[""] * (len(headings) - len(row))] for row in (headings, *rows)]
    widths = [max(len(row[column]) for row in filled) for column in range(len(headings))]
    filled.insert(1, ["-" * width for width in widths])
    return "\n".join(
        "| " + " | ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) + " |"
        for row in filled
    )
