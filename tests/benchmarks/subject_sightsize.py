"""The subject: the same print through sightsize, from a job file to a verified print file."""

import tempfile
from fractions import Fraction
from pathlib import Path
from typing import Any

import tomli_w
from spec import MONO_24X16, Spec

from sightsize.checks.run import check_ids
from sightsize.docket.store import NAME as DOCKET
from sightsize.docket.store import Docket
from sightsize.job.load import load_job
from sightsize.plan.arrange import arrange
from sightsize.run.batch import make_prints
from sightsize.run.planner import plan_prints

ACCEPTED_CHECKS = ("overlap", "unit-slip")
"""Some specs want exactly the opening's size, and one an opening of two metres."""


def make_print(source: Path, target: Path, spec: Spec = MONO_24X16) -> None:
    """Write the job of the spec, run it and move the print file to `target`."""
    made_print(tomli_w.dumps(job_values(source, spec)), target)


def made_print(job_text: str, target: Path) -> None:
    """Run a job and move its one print to `target`."""
    with tempfile.TemporaryDirectory(dir=target.parent) as folder:
        job_path = Path(folder) / "benchmark.toml"
        job_path.write_text(job_text, encoding="utf-8")
        run_job(job_path)
        (made,) = (job_path.parent / "prints").glob("*.jpg")
        made.replace(target)


def run_job(job_path: Path, workers: int = 1) -> None:
    """Make every print of a job file, in this process, as `sightsize make` does."""
    job = load_job(job_path, check_ids())
    job.output.mkdir(parents=True, exist_ok=True)
    with Docket(job.output / DOCKET) as docket:
        outcomes = make_prints(
            job,
            plan_prints(job, arrange(job), docket=docket),
            replace="nothing",
            workers=workers,
            docket=docket,
        )
    for outcome in outcomes:
        if outcome.status != "made":
            raise RuntimeError(f"sightsize {outcome.status} a print: {outcome.message}")


def job_values(source: Path, spec: Spec) -> dict[str, Any]:
    """Return the spec as the values of a job file."""
    width, height = (_inches(side) for side in spec.aperture_in)
    overlap = f"{float(spec.overlap_mm):g} mm"
    return {
        "sightsize": 1,
        "aperture": {"width": width, "height": height, "overlap": overlap},
        "paper": {"size": f"{float(spec.paper_in[0]):g}x{_inches(spec.paper_in[1])}"},
        "mono": {"response": "luminance", "filter": "none"},
        "tone": {"curve": [list(point) for point in spec.curve]},
        "sharpen": {
            "radius": f"{float(spec.sharpen_radius_mm)} mm",
            "gain": spec.sharpen_gain,
            "noise_floor": 0.0,
        },
        "delivery": {
            "resolution": f"{spec.ppi} ppi",
            "format": "jpeg",
            "quality": spec.quality,
            "profile": "srgb",
            "name": spec.name,
        },
        "checks": {"accept": list(ACCEPTED_CHECKS)},
        "prints": [{"source": str(source.resolve())}],
    }


def _inches(side: Fraction) -> str:
    return f"{float(side):g} in"
