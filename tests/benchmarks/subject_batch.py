"""The subject's batch: every picture of a folder printed in one process.

With two prints at a time it is measured as ``subject_batch:2``.
"""

from pathlib import Path

import tomli_w
from spec import Spec
from subject_sightsize import job_values, run_job


def make_print(source: Path, target: Path, spec: Spec, step: str) -> None:
    """Print each picture of the folder `source` into the folder `target`."""
    target.mkdir()
    values = job_values(source, spec)
    values["job"] = {"output": "prints"}
    values["delivery"]["name"] = "{picture}"
    values["prints"] = [{"source": f"{source.resolve()}/*.jpg"}]
    job_path = target / "batch.toml"
    job_path.write_text(tomli_w.dumps(values), encoding="utf-8")
    run_job(job_path, workers=int(step))
