"""Write a starter job for a folder of pictures."""

from pathlib import Path

import typer

from sightsize.job.starter import write_starter
from sightsize.report.text import count_text


def run(folder: Path, job: Path) -> int:
    """Write the job. Raises StarterError."""
    count = write_starter(folder, job)
    pictures = count_text(count, "picture")
    typer.echo(f"wrote {job} with {pictures}; measure the frame, then: sightsize check {job}")
    return 0
