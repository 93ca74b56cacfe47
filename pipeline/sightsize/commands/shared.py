"""What several commands do: load a job, hold an output folder, open a docket, print JSON."""

from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from sightsize.base.findings import in_order
from sightsize.base.terminal import say, say_lines
from sightsize.errors import JobError, OutOfTimeError, SightsizeError, UsageError, reason_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from sightsize.base.findings import Finding
    from sightsize.docket.store import Docket
    from sightsize.model.job import Job
    from sightsize.plan.picture import UnopenedPicture
    from sightsize.plan.sheet import FilePlan


def load(path: Path) -> "tuple[Job, Sequence[FilePlan[UnopenedPicture]]]":
    """Return a job and the files that it comes to.

    Raises JobError with all that is wrong: in the file, and with the names of its prints.
    """
    from sightsize.base.alarm import Alarm
    from sightsize.job.bounds import reading_seconds, say_slow

    seconds = reading_seconds(path)
    try:
        with Alarm(seconds, "the job takes too long to read"):
            return _load(path)
    except OutOfTimeError:
        raise JobError([say_slow(path, seconds)]) from None


def _load(path: Path) -> "tuple[Job, Sequence[FilePlan[UnopenedPicture]]]":
    from sightsize.checks.run import check_ids
    from sightsize.job.load import load_job
    from sightsize.plan.arrange import arrange

    try:
        job = load_job(path, check_ids())
    except JobError as error:
        raise JobError(in_order([*error.findings, *_name_findings(error.job)])) from None
    return job, arrange(job)


def _name_findings(job: "Job | None") -> "Sequence[Finding]":
    """What is wrong with the names of those prints of a job that could be built."""
    from sightsize.plan.arrange import arrange

    try:
        arrange(job) if job is not None else ()
    except JobError as error:
        return error.findings
    return ()


def load_and_report(
    path: Path, *, as_json: bool
) -> "tuple[Job, Sequence[FilePlan[UnopenedPicture]]]":
    """Return what ``load`` does; findings go to standard output before JobError is raised."""
    try:
        return load(path)
    except JobError as error:
        if as_json:
            echo_json({"job": str(path), "findings": as_data(error.findings), "prints": []})
        else:
            for finding in error.findings:
                say(finding.sentence())
        raise typer.Exit(error.exit_code) from None


def open_docket(folder: Path, *, whole: bool = True) -> "Docket":
    """Return the docket of an output folder, with no record where there is none.

    Raises DocketError, for a single spoilt record only if it must be ``whole``.
    """
    from sightsize.docket.store import NAME, Docket

    return Docket(folder / NAME, whole=whole)


def as_data(findings: "Sequence[Finding]") -> list[dict[str, Any]]:
    """Return findings as plain data."""
    return [asdict(finding) for finding in findings]


def echo_json(data: object) -> None:
    """Print data as JSON."""
    from sightsize.report.data import as_json

    say_lines(as_json(data))


@contextmanager
def hold_folder(folder: Path, protected: "Mapping[Path, str]") -> Iterator[None]:
    """Hold an output folder for this run, without what a dead one or a dead worker left there.

    ``protected`` are files that stay, whatever they are called, each with what it is. A folder that
    the run makes and puts nothing in is taken away again. Raises LockedError, UsageError where a
    file to protect has a name that a run writes to, and SightsizeError where the folder cannot be
    written in.
    """
    from sightsize.base.atomic import remove_if_empty, remove_leftovers
    from sightsize.base.lock import hold_lock
    from sightsize.base.paths import follow_links
    from sightsize.plan.file_names import MASTERS

    folder = follow_links(folder)
    folders = folder, folder / MASTERS
    _refuse_written(folder, protected)
    with ExitStack() as held:
        if not folder.exists():
            held.callback(remove_if_empty, *reversed(folders))
        try:
            folder.mkdir(parents=True, exist_ok=True)
            held.enter_context(hold_lock(folder))
            remove_leftovers(*folders, keep=protected)
        except OSError as error:
            reason = reason_of(error)
            raise SightsizeError(f"cannot write in {folder}: {reason}") from error
        # Also after an interrupt: a thread that was just begun may not be waited for.
        held.callback(remove_leftovers, *folders, keep=protected)
        yield


def _refuse_written(folder: Path, protected: "Mapping[Path, str]") -> None:
    """Raise UsageError where a run would write its own files over one that is protected."""
    from sightsize.base import lock
    from sightsize.docket import docket_file, hidden_file

    for name in (lock.NAME, docket_file.NAME, hidden_file.NAME):
        if folder / name in protected:
            raise UsageError(
                f"{folder / name} is {protected[folder / name]}, but a run writes a file of that "
                "name; rename it, or choose another folder for the prints"
            )
