"""Write a run as Markdown: when, how and on what was measured, the goals, and every part."""

import os
import platform
from collections.abc import Iterable, Sequence
from datetime import date
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from goals import Claim, goals_table
from parts import Part, Setup

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

BEGIN, END = "<!-- benchmark -->", "<!-- /benchmark -->"
"""The README shows what stands between these lines of the report."""


def report(parts: Sequence[Part], setup: Setup, load: float) -> str:
    """Return the whole report; `load` is what the machine was busy with before the run."""
    claims = [claim for part in parts for claim in part.claims]
    return "\n".join(
        [_head(setup, load, claims), *_faults(parts), *(part.text for part in parts if part.text)]
    )


def summary_of(text: str) -> str:
    """Return the report's summary with the lines around it. ValueError when there is none."""
    return text[text.index(BEGIN) : text.index(END) + len(END)]


def with_summary(readme: str, text: str) -> str:
    """Return a README that shows the summary of a report in place of an earlier one."""
    return readme.replace(summary_of(readme), summary_of(text))


def _head(setup: Setup, load: float, claims: Iterable[Claim]) -> str:
    packages = ", ".join(f"{name} {found}" for name in PACKAGES if (found := _version(name)))
    busy = " (busy: measure again)" if load > BUSY_LOAD else ""
    runs = "one run" if setup.runs == 1 else f"medians of {setup.runs}"
    return f"""\
# Benchmark

Made by `python tests/benchmarks/bench.py`; run it again rather than edit this. What is compared is
measured in turn, and medians are of {setup.runs}. *Warm* is one more print in a process that has
just made one; *cold* is from starting Python to its end, and the peak memory is that process's.
Another machine has other seconds; the ratios are what is claimed.

- {_processor()}, {_cores()} cores, {setup.threads} threads for each subject;
  load before the run {load:.1f}{busy}
- Python {platform.python_version()}, {packages}

## Goals

{BEGIN}
Measured on {date.today()} on an {_processor()} machine with {_cores()} cores, {runs}{busy}:

{goals_table(claims)}
{END}
"""


def _faults(parts: Iterable[Part]) -> list[str]:
    found = [fault for part in parts for fault in part.faults]
    return ["## Faults\n\n" + "\n".join(f"- {fault}" for fault in found) + "\n"] if found else []


def _cores() -> int:
    return len(os.sched_getaffinity(0))


def _processor() -> str:
    lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    names = (line.partition(":")[2].strip() for line in lines if line.startswith("model name"))
    return next(names, platform.machine())


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return ""
