"""The files that a run must never write over, whatever a print is called."""

from collections.abc import Mapping
from pathlib import Path

from sightsize.base.paths import follow_links
from sightsize.docket.store import Docket
from sightsize.model.job import Job
from sightsize.model.settings import BUILT_IN_PROFILES


def protected_files(job: Job, docket: Docket | None = None) -> dict[Path, str]:
    """Return a job's file, sources and profiles, and the sources that a docket names.

    Each stands by its path with links followed, with what it is.
    """
    pictures = [each.look.picture for each in job.prints]
    profiles = {each.delivery.profile for each in job.prints}
    profiles |= {each.assume_profile for each in pictures if each.assume_profile is not None}
    return {
        **(recorded_sources(docket) if docket is not None else {}),
        **{follow_links(Path(each)): "a profile of this job" for each in profiles - _BUILT_IN},
        follow_links(job.path): "this job's own file",
        **{
            follow_links(each): "a source picture of this job"
            for each in {*job.described, *(each.source for each in pictures)}
        },
    }


_BUILT_IN = set(BUILT_IN_PROFILES)


def recorded_sources(docket: Docket) -> Mapping[Path, str]:
    """Return the sources that a docket names, as ``protected_files`` does."""
    folder = docket.path.parent
    return {
        follow_links(folder / each["path"]): f"the source of {record['file']} in the docket"
        for record in docket.records.values()
        for each in record["sources"]
    }
