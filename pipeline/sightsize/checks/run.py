"""All checks, run over a file's pictures."""

from collections.abc import Iterator
from dataclasses import replace

from sightsize.base.findings import Finding
from sightsize.checks import finished, marks, opening, picture, sheet
from sightsize.checks.finished import FinishedPicture
from sightsize.checks.registry import CHECKS, Check, of_scope
from sightsize.plan.picture import PicturePlan, UnopenedPicture
from sightsize.plan.sheet import FilePlan

__all__ = ["all_checks", "check_file", "check_finished", "check_ids", "check_opened"]

_MODULES = (opening, sheet, picture, marks, finished)
"""Importing them registers their checks, in the order in which they are reported."""


def all_checks() -> "dict[str, Check[object]]":
    """Return every check by its id."""
    return dict(CHECKS)


def check_ids() -> frozenset[str]:
    """Return the ids of all checks, as ``checks.accept`` may name them."""
    return frozenset(CHECKS)


def check_file(file: FilePlan[UnopenedPicture], job_file: str) -> Iterator[Finding]:
    """Yield what there is to say of a file before its pictures are opened."""
    for each in (*of_scope("opening"), *of_scope("sheet")):
        for placed in file.pictures:
            yield from each.find(placed, placed.request, job_file)
    for each in of_scope("file"):
        yield from each.find(file, file.request, job_file)


def check_opened(file: FilePlan[PicturePlan], job_file: str) -> Iterator[Finding]:
    """Yield what there is to say of a file's opened pictures."""
    for each in of_scope("picture"):
        for placed in file.pictures:
            yield from each.find(placed, placed.request, job_file)


def check_finished(pictures: "list[FinishedPicture]") -> Iterator[Finding]:
    """Yield what there is to say of a print once it is made; it has no place in the job file.

    On a sheet of several pictures each finding begins with its picture's name.
    """
    for each in of_scope("finished"):
        for one in pictures:
            name = f"{one.placed.picture.look.picture.name}: " if len(pictures) > 1 else ""
            for found in each.find(one, one.placed.request, ""):
                yield replace(found, message=f"{name}{found.message}").at("", 0, 0, "")
