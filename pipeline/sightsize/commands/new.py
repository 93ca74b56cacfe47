"""Write a starter job for a folder of pictures."""

from pathlib import Path

from sightsize.base.terminal import say
from sightsize.base.words import count_text
from sightsize.job.starter import write_starter


def run(folder: Path, job: Path) -> int:
    """Write the job. Raises StarterError."""
    count = write_starter(folder, job)
    pictures = count_text(count, "picture")
    say(
        f"wrote {job} with {pictures}; fill in the mat opening and the paper, then run: "
        f"sightsize check {job}"
    )
    return 0
