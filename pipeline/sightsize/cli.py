"""Commands only: read the command line, call the pipeline, print, and choose the exit code.

0 all well; 1 a print failed or was refused; 2 the job or the command line is wrong;
130 interrupted.
"""

import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer

if TYPE_CHECKING:
    from sightsize.batch import PlannedPrint
    from sightsize.docket import Docket
    from sightsize.job import Job
    from sightsize.plan import FilePlan, UnopenedPicture

    Files = Sequence[FilePlan[UnopenedPicture]]

app = typer.Typer(
    help="From a job file to print files that drop into frames the client already owns.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

_OBJECTS_BETWEEN_COLLECTIONS = 100_000

JobFile = Annotated[Path, typer.Argument(metavar="JOB", help="Job file (TOML).")]
JobFiles = Annotated[list[Path], typer.Argument(metavar="JOB...", help="Job files (TOML).")]
AsJson = Annotated[bool, typer.Option("--json", help="Report as JSON on standard output.")]


def main() -> None:
    """Run the command line; what cannot be said on a full or closed output is no traceback."""
    try:
        app()
    except OSError as error:
        if sys.__stdout__ is not None:  # what it still holds has nowhere to go
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.__stdout__.fileno())
        where = f" ({error.filename})" if error.filename else ""
        sys.exit(f"cannot go on: {(error.strerror or str(error)).lower()}{where}")


@app.callback(invoke_without_command=True)
def _top(
    version: Annotated[bool, typer.Option("--version", help="Show the version and leave.")] = False,
) -> None:
    if version:
        from sightsize import __version__

        typer.echo(f"sightsize {__version__}")
        raise typer.Exit


def _load(path: Path) -> "tuple[Job, Files]":
    """A job and the files that it comes to."""
    from sightsize.arrange import arrange
    from sightsize.checks.run import check_ids
    from sightsize.load import load_job

    job = load_job(path, check_ids())
    return job, arrange(job)


def _load_or_exit(path: Path, as_json: bool) -> "tuple[Job, Files]":
    from sightsize.findings import JobError

    try:
        return _load(path)
    except JobError as error:
        if as_json:
            _echo_json({"job": str(path), "findings": _as_data(error.findings), "prints": []})
        else:
            for finding in error.findings:
                typer.echo(finding.sentence())
        raise typer.Exit(2) from None


def _as_data(findings: Any) -> list[dict[str, Any]]:
    from dataclasses import asdict

    return [asdict(finding) for finding in findings]


def _echo_json(data: object) -> None:
    from sightsize.report import as_json

    typer.echo(as_json(data))


@app.command()
def new(
    folder: Annotated[Path, typer.Argument(help="Folder of pictures.")],
    job: Annotated[Path, typer.Option("--job", help="Job file to write.")] = Path("job.toml"),
) -> None:
    """Write a starter job for a folder of pictures."""
    from sightsize.report import counted
    from sightsize.starter import StarterError, write_starter

    try:
        count = write_starter(folder, job)
    except StarterError as error:
        typer.echo(f"{error}", err=True)
        raise typer.Exit(2) from None
    pictures = counted(count, "picture")
    typer.echo(f"wrote {job} with {pictures}; measure the frame, then: sightsize check {job}")


@app.command()
def check(
    jobs: JobFiles,
    pictures: Annotated[
        bool, typer.Option("--pictures/--no-pictures", help="Open the pictures' headers too.")
    ] = True,
    as_json: AsJson = False,
    junit: Annotated[
        Path | None, typer.Option("--junit", metavar="FILE", help="Write JUnit XML as well.")
    ] = None,
) -> None:
    """Say whether jobs still validate: grammar, pictures, geometry."""
    from sightsize.batch import plan_prints
    from sightsize.findings import JobError
    from sightsize.report import finding_lines, junit_xml, prints_data

    code = 0
    data: list[dict[str, Any]] = []
    cases: dict[str, Any] = {}
    for path in jobs:
        try:
            job, files = _load(path)
        except JobError as error:
            code = 2
            data.append({"job": str(path), "findings": _as_data(error.findings), "prints": []})
            cases[str(path)] = [("job file", error.findings)]
            lines = [finding.sentence() for finding in error.findings]
            _say_findings(str(path), lines, len(lines), 0, as_json)
            continue
        prints = plan_prints(job, files, pictures=pictures)
        refused = sum(each.refused for each in prints)
        code = max(code, 1 if refused else 0)
        if as_json:
            data.append({"job": str(path), "findings": [], "prints": prints_data(prints)})
        cases[str(path)] = [(each.name, each.findings) for each in prints]
        _say_findings(str(path), finding_lines(prints), refused, len(prints), as_json)
    if as_json:
        _echo_json(data)
    if junit:
        _write_junit(junit, junit_xml(cases))
    raise typer.Exit(code)


def _write_junit(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        typer.echo(f"cannot write {path}: {(error.strerror or str(error)).lower()}", err=True)
        raise typer.Exit(2) from None


def _say_findings(path: str, lines: list[str], wrong: int, prints: int, as_json: bool) -> None:
    from sightsize.report import counted

    if as_json:
        return
    for line in lines:
        typer.echo(line)
    verdict = "valid" if not wrong else f"{wrong} to mend" if not prints else f"{wrong} refused"
    typer.echo(f"{path}: {verdict}" + (f", {counted(prints, 'print')}" if prints else ""))


@app.command()
def make(
    job_file: JobFile,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Print every computed dimension, write nothing.")
    ] = False,
    only: Annotated[
        list[str] | None,
        typer.Option("--only", help="Only prints of this file name, picture, frame or number."),
    ] = None,
    workers: Annotated[
        int | None,
        typer.Option(
            "--workers",
            min=1,
            max=64,
            help="Prints made at the same time here, one for each core unless given.",
        ),
    ] = None,
    memory: Annotated[
        str | None,
        typer.Option(
            "--memory",
            metavar="SIZE",
            help='Memory for the prints made at the same time, such as "2 GiB"; half of this '
            "machine's unless given. A print that needs more is made alone.",
        ),
    ] = None,
    scheduler: Annotated[
        str | None,
        typer.Option(
            "--scheduler",
            metavar="ADDRESS",
            help="Have the workers of this Dask scheduler make the prints.",
        ),
    ] = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Overwrite files made from another plan.")
    ] = False,
    lines: Annotated[
        bool | None,
        typer.Option("--lines/--full", help="Dry run with one line a print, or in full."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Make the print files of a job."""
    from sightsize.arrange import chosen
    from sightsize.batch import plan_prints
    from sightsize.docket import NAME as DOCKET

    if scheduler is not None and (workers is not None or memory is not None):
        _leave(2, "--workers and --memory are about this machine; leave them out with --scheduler")
    memory_bytes = _memory_or_exit(memory)
    job, files = _load_or_exit(job_file.absolute() if scheduler else job_file, as_json)
    files = chosen(files, only or [])
    if not files:
        _leave(2, f"no print of {job_file} matches --only {' '.join(only or [])}")
    if dry_run:
        prints = plan_prints(job, files, docket=_docket_or_exit(job.output / DOCKET))
        _show_dry_run(job, prints, lines, as_json)
        raise typer.Exit(1 if any(each.refused for each in prints) else 0)
    with _one_run(job.output), _hands(scheduler, job.output, workers, memory_bytes) as hands:
        docket = _docket_or_exit(job.output / DOCKET)
        prints = plan_prints(job, files, docket=docket)
        code = _make(job, prints, docket, hands, replace, as_json)
    raise typer.Exit(code)


def _leave(code: int, sentence: str) -> NoReturn:
    typer.echo(sentence, err=True)
    raise typer.Exit(code)


def _memory_or_exit(text: str | None) -> int | None:
    from sightsize.memory import machine_bytes, parse_size_bytes
    from sightsize.units import UnitError

    if text is None:
        all_of_it = machine_bytes()
        return all_of_it // 2 if all_of_it else None
    try:
        return parse_size_bytes(text)
    except UnitError as error:
        _leave(2, f"--memory {error}")


@contextmanager
def _one_run(folder: Path) -> Iterator[None]:
    """Hold the output folder for this run, without what a dead one or a dead worker left there.

    A folder that the run makes and puts nothing in is taken away again.
    """
    from sightsize.lock import LockedError, locked
    from sightsize.whole import remove_if_empty, remove_leftovers

    with ExitStack() as held:
        if not folder.exists():
            held.callback(remove_if_empty, folder)
        try:
            folder.mkdir(parents=True, exist_ok=True)
            held.enter_context(locked(folder))
            remove_leftovers(folder)
        except LockedError as error:
            _leave(1, f"{error}")
        except OSError as error:
            _leave(1, f"cannot write in {folder}: {(error.strerror or str(error)).lower()}")
        try:
            yield
        except KeyboardInterrupt:
            _leave(130, "interrupted; the same command goes on where it stopped")
        remove_leftovers(folder)


@contextmanager
def _hands(
    scheduler: str | None, folder: Path, workers: int | None, memory_bytes: int | None
) -> Iterator[dict[str, Any]]:
    """Who makes the prints, as ``make_prints`` takes it."""
    if scheduler is None:
        yield {"workers": workers, "memory_bytes": memory_bytes}
        return
    from sightsize.cluster import ClusterError, joined

    try:
        with joined(scheduler, folder) as far:
            yield {"workers": far.prints_at_once, "executor": far.executor, "make": far.make}
    except ClusterError as error:
        _leave(2, f"{error}")


def _docket_or_exit(path: Path) -> "Docket":
    from sightsize.docket import Docket, DocketError

    try:
        return Docket(path)
    except DocketError as error:
        _leave(2, f"{error}")


def _show_dry_run(
    job: "Job", prints: "list[PlannedPrint]", lines: bool | None, as_json: bool
) -> None:
    from sightsize import report

    if as_json:
        _echo_json({"job": str(job.path), "prints": report.prints_data(prints)})
        return
    if lines is None:
        lines = len(prints) > report.LONG_JOB
    for each in prints:
        typer.echo(report.plan_line(each) if lines else report.plan_text(each, job) + "\n")
    typer.echo(report.totals_text(prints))


def _make(
    job: "Job",
    prints: "list[PlannedPrint]",
    docket: "Docket",
    hands: dict[str, Any],
    replace: bool,
    as_json: bool,
) -> int:
    from sightsize import report
    from sightsize.batch import make_prints
    from sightsize.progress import Progress

    for line in report.finding_lines(prints):
        typer.echo(line, err=True)
    with Progress(len(prints)) as progress:
        outcomes = make_prints(
            job,
            prints,
            replace=replace,
            started=progress.started,
            finished=progress.finished,
            docket=docket,
            **hands,
        )
    if as_json:
        _echo_json({"job": str(job.path), "prints": report.outcomes_data(outcomes)})
    else:
        for outcome in outcomes:
            typer.echo(report.outcome_line(outcome))
        there = any(outcome.status in ("made", "kept") for outcome in outcomes)
        files = f"; files in {job.output}" if there else ""
        typer.echo(f"{report.outcomes_text(outcomes)}{files}")
    return 0 if all(outcome.status in ("made", "kept") for outcome in outcomes) else 1


@app.command()
def audit(
    path: Annotated[Path, typer.Argument(metavar="JOB|DOCKET", help="Job file or docket.")],
    as_json: AsJson = False,
) -> None:
    """Re-read everything delivered and hold it against the docket, and against the job if given."""
    from sightsize.audit import audit_text, audited
    from sightsize.batch import plan_prints

    docket, loaded = _docket_of(path, as_json)
    found = audited(docket, plan_prints(*loaded, docket=docket) if loaded else ())
    if as_json:
        _echo_json({"docket": str(docket.path), "files": [each._asdict() for each in found]})
    else:
        typer.echo(audit_text(docket, found))
    raise typer.Exit(0 if all(each.state == "whole" for each in found) else 1)


def _docket_of(path: Path, as_json: bool) -> "tuple[Docket, tuple[Job, Files] | None]":
    """The docket given, or the one of a job given, and that job."""
    from sightsize.docket import NAME as DOCKET

    loaded = None
    if path.name != DOCKET:
        _refuse_neither(path)
        loaded = _load_or_exit(path, as_json)
    docket_path = path if loaded is None else loaded[0].output / DOCKET
    if not docket_path.is_file():
        typer.echo(f"there is no docket {docket_path}; make the prints first", err=True)
        raise typer.Exit(2)
    return _docket_or_exit(docket_path), loaded


def _refuse_neither(path: Path) -> None:
    """Leave when no file stands where a job or a docket should."""
    from sightsize.docket import NAME as DOCKET
    from sightsize.paths import is_file, is_folder

    if is_folder(path):
        docket = f" such as {path / DOCKET}" if is_file(path / DOCKET) else ""
        _leave(2, f"{path} is a folder; name a job file or a docket{docket}")
    if not is_file(path):
        _leave(2, f"there is no file {path}; name a job file or a docket")


@app.command()
def reprint(
    docket_file: Annotated[Path, typer.Argument(metavar="DOCKET", help="Docket of the prints.")],
    only: Annotated[
        list[str] | None, typer.Option("--only", help="Only prints of this file name or pattern.")
    ] = None,
    look_in: Annotated[
        list[Path] | None,
        typer.Option("--look-in", help="Folder to look for sources that have moved."),
    ] = None,
    match: Annotated[
        bool,
        typer.Option("--match", help="Match the old prints from their masters, without sources."),
    ] = False,
    output: Annotated[
        Path | None, typer.Option("--output", help="Folder for the new prints.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Make the same prints again, bit for bit, or say exactly what is not the same."""
    from sightsize.paths import resolved
    from sightsize.reprint import reprint_line, reprint_totals, reprinted

    if match and look_in:
        _leave(2, "--match needs no sources; leave --look-in out, or make the prints without it")
    docket, _ = _docket_of(docket_file, as_json)
    folder = output or docket.path.parent / "reprints"
    if resolved(folder) == resolved(docket.path.parent):
        _leave(2, f"the first prints stand in {folder}; name another folder with --output")
    with _one_run(folder):
        results = list(reprinted(docket, only or [], look_in or [], folder, match=match))
    if not results:
        typer.echo(f"no print of {docket.path} matches --only {' '.join(only or [])}", err=True)
        raise typer.Exit(2)
    if as_json:
        _echo_json([each._asdict() for each in results])
    else:
        for each in results:
            typer.echo(reprint_line(each))
        typer.echo(reprint_totals(results, folder))
    raise typer.Exit(0 if all(each.state in ("identical", "matched") for each in results) else 1)


@app.command()
def explain(
    key: Annotated[
        str | None, typer.Argument(help="A key such as tone.grade, a table, or a check's id.")
    ] = None,
) -> None:
    """Say what a key means: its unit, range and default, from the schema."""
    from sightsize.explain import UnknownKeyError, explain_text

    try:
        typer.echo(explain_text(key))
    except UnknownKeyError as error:
        typer.echo(str(error), err=True)
        raise typer.Exit(2) from None
