"""Make the print files of a job, or say in a dry run what they would be."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sightsize.archive.left_behind import docket_findings
from sightsize.base import interrupts
from sightsize.base.findings import Finding, sentences
from sightsize.base.machine_memory import machine_bytes, parse_size_bytes
from sightsize.base.terminal import say, say_lines
from sightsize.commands.shared import (
    as_data,
    echo_json,
    hold_folder,
    load_and_report,
    open_docket,
)
from sightsize.delivery.ground import Replace
from sightsize.docket.store import Docket
from sightsize.errors import UnitError, UsageError
from sightsize.model.job import Job
from sightsize.plan.arrange import choose
from sightsize.plan.picture import UnopenedPicture
from sightsize.plan.sheet import FilePlan
from sightsize.report import dry_run, text
from sightsize.report.data import outcomes_data, prints_data
from sightsize.report.progress import Progress
from sightsize.run.batch import make_prints
from sightsize.run.planned_print import PlannedPrint
from sightsize.run.planner import plan_prints
from sightsize.run.protected import protected_files


@dataclass(frozen=True, kw_only=True)
class How:
    """How prints are made: by whom, in how much memory, and which files are replaced."""

    workers: int | None
    memory: str | None
    scheduler: str | None
    replace: Replace


def run(job_file: Path, only: Sequence[str], how: How, *, as_json: bool) -> int:
    """Make the prints that ``only`` names, or all."""
    memory_bytes = _memory_bytes(how)
    path = job_file.absolute() if how.scheduler else job_file
    job, files, names = _load(path, only, as_json=as_json)
    try:
        with (
            hold_folder(job.output, protected_files(job)),
            _hands(how, job.output, memory_bytes) as hands,
            open_docket(job.output) as docket,
        ):
            prints = plan_prints(job, files, docket=docket)
            about = list(docket_findings(docket, job, names))
            return _make(job, prints, about, docket, hands, how.replace, as_json)
    except KeyboardInterrupt:
        say("interrupted; run the same command to continue", err=True)
        return interrupts.exit_code()


def run_dry(
    job_file: Path, only: Sequence[str], how: How, *, lines: bool | None, as_json: bool
) -> int:
    """Print every computed dimension, one line a print where the job is long; write nothing."""
    _memory_bytes(how)
    job, files, names = _load(job_file, only, as_json=as_json)
    docket = open_docket(job.output)
    prints = plan_prints(job, files, docket=docket)
    about = list(docket_findings(docket, job, names))
    if as_json:
        echo_json(_data(job, about, prints_data(prints)))
    else:
        in_lines = len(prints) > dry_run.LONG_JOB if lines is None else lines
        for each in prints:
            if in_lines:
                say(dry_run.plan_line(each))
            else:
                say_lines(dry_run.plan_text(each, job) + "\n")
        _say_each([*sentences(about), *(text.finding_lines(prints) if in_lines else ())])
        say_lines(dry_run.totals_text(prints))
    return 1 if any(each.refused for each in prints) else 0


def _load(
    job_file: Path, only: Sequence[str], *, as_json: bool
) -> tuple[Job, Sequence[FilePlan[UnopenedPicture]], list[str]]:
    """A job, those of its files that ``only`` names, and the names of all."""
    job, files = load_and_report(job_file, as_json=as_json)
    chosen = choose(files, only)
    if not chosen:
        raise UsageError(f"no print of {job_file} matches --only {' '.join(only)}")
    return job, chosen, [each.name for each in files]


def _memory_bytes(how: How) -> int | None:
    """The memory for prints made together here. Raises UsageError for options that clash."""
    if how.scheduler is not None and (how.workers is not None or how.memory is not None):
        raise UsageError(
            "--workers and --memory apply to this machine only; leave them out with --scheduler"
        )
    if how.memory is None:
        all_of_it = machine_bytes()
        return all_of_it // 2 if all_of_it else None
    try:
        return parse_size_bytes(how.memory)
    except UnitError as error:
        raise UsageError(f"--memory {error}") from error


@contextmanager
def _hands(how: How, folder: Path, memory_bytes: int | None) -> Iterator[dict[str, Any]]:
    """Who makes the prints, as ``make_prints`` takes it."""
    if how.scheduler is None:
        yield {"workers": how.workers, "memory_bytes": memory_bytes}
        return
    from sightsize.run.dask import join_cluster

    with join_cluster(how.scheduler, folder) as far:
        yield {
            "workers": far.prints_at_once,
            "executor": far.executor,
            "make": far.make,
            "lost": far.lost,
        }


def _make(
    job: Job,
    prints: list[PlannedPrint],
    about: list[Finding],
    docket: Docket,
    hands: dict[str, Any],
    replace: Replace,
    as_json: bool,
) -> int:
    if not as_json:
        _say_each([*sentences(about), *text.finding_lines(prints)])
    with Progress(len(prints), silent=as_json) as progress:
        outcomes = make_prints(
            job,
            prints,
            replace=replace,
            started=progress.start,
            finished=lambda each: progress.finish(each.planned.name, text.outcome_line(each)),
            winding_up=progress.wind_up,
            docket=docket,
            **hands,
        )
    if as_json:
        echo_json(_data(job, about, outcomes_data(outcomes)))
    else:
        _say_each(text.accepted_when_made(outcomes))
        there = any(outcome.status in ("made", "kept") for outcome in outcomes)
        files = f"; files in {job.output}" if there else ""
        say(f"{text.outcomes_text(outcomes)}{files}")
    return 0 if all(outcome.status in ("made", "kept") for outcome in outcomes) else 1


def _data(job: Job, about: list[Finding], prints: list[dict[str, Any]]) -> dict[str, Any]:
    return {"job": str(job.path), "findings": as_data(about), "prints": prints}


def _say_each(lines: Sequence[str]) -> None:
    for line in lines:
        say(line)
