"""The command line: arguments and options only; what a command does stands in ``commands/``.

Exit codes: 0 all well; 1 a print failed or was refused; 2 the job or the command line is wrong;
3 a fault of the program; 130 interrupted, 143 told to stop, 129 its terminal closed.
"""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from io import StringIO
from pathlib import Path
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from sightsize import ending
from sightsize.base import interrupts
from sightsize.base.terminal import say, say_lines
from sightsize.errors import SightsizeError

_WrongCommandLine: Any = typer.BadParameter.__base__
"""Any mistake in arguments and options; typer gives it no public name."""


@contextmanager
def _told_interrupts() -> Iterator[None]:
    """Typer ends on an interrupt without a word."""
    try:
        yield
    except KeyboardInterrupt as error:
        raise typer.Exit(ending.tell(error)) from None


class _Commands(TyperGroup):
    """Commands whose errors are a sentence on standard error, and their kind's exit code."""

    def main(self, *args: Any, **options: Any) -> Any:
        """Run a command; what is wrong with the command line itself ends in 2."""
        standalone_mode = options.pop("standalone_mode", True)
        try:
            code = super().main(*args, **{**options, "standalone_mode": False})
        except _WrongCommandLine as error:
            with StringIO() as told:
                error.show(told)
                say_lines(told.getvalue().rstrip("\n"), err=True)
            code = error.exit_code
        except SightsizeError as error:
            code = ending.tell(error)
        if interrupts.came():
            code = interrupts.exit_code()
        return sys.exit(code) if standalone_mode else code

    def make_context(self, *args: Any, **options: Any) -> Any:
        """Read the command line."""
        with _told_interrupts():
            return super().make_context(*args, **options)

    def invoke(self, ctx: Any) -> Any:
        """Run a command."""
        with _told_interrupts():
            return super().invoke(ctx)


app = typer.Typer(
    cls=_Commands,
    help="Make print files sized to measured mat openings.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

JobFile = Annotated[Path, typer.Argument(metavar="JOB", help="Job file (TOML).")]
JobFiles = Annotated[list[Path], typer.Argument(metavar="JOB...", help="Job files (TOML).")]
AsJson = Annotated[bool, typer.Option("--json", help="Print the report as JSON.")]


def command_line() -> int:
    """Run the command line; return its exit code. Raises what is a fault, and OSError."""
    # Calling app itself would have typer take over what Python does about faults.
    return int(typer.main.get_command(app).main(standalone_mode=False) or 0)


def main() -> None:
    """Run the command line in this process as it is; ``__main__`` prepares one of its own."""
    sys.exit(ending.run(command_line))


@app.callback(invoke_without_command=True)
def _top(
    version: Annotated[bool, typer.Option("--version", help="Show the version and exit.")] = False,
) -> None:
    if version:
        from sightsize import __version__

        say(f"sightsize {__version__}")
        raise typer.Exit


@app.command()
def new(
    folder: Annotated[Path, typer.Argument(help="Folder of pictures.")],
    job: Annotated[Path, typer.Option("--job", help="Job file to write.")] = Path("job.toml"),
) -> None:
    """Write a starter job for a folder of pictures."""
    from sightsize.commands import new as command

    raise typer.Exit(command.run(folder, job))


@app.command()
def check(
    jobs: JobFiles,
    pictures: Annotated[
        bool, typer.Option("--pictures/--no-pictures", help="Check each picture's header too.")
    ] = True,
    as_json: AsJson = False,
    junit: Annotated[
        Path | None,
        typer.Option("--junit", metavar="FILE", help="Also write the result as JUnit XML."),
    ] = None,
) -> None:
    """Check jobs for mistakes: keys, pictures, sizes."""
    from sightsize.commands import check as command

    raise typer.Exit(command.run(jobs, pictures=pictures, as_json=as_json, junit=junit))


@app.command()
def make(
    job_file: JobFile,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Show every computed dimension; write nothing.")
    ] = False,
    only: Annotated[
        list[str] | None,
        typer.Option(
            "--only", help="Only the prints with this file name, picture, frame or number."
        ),
    ] = None,
    workers: Annotated[
        int | None,
        typer.Option(
            "--workers",
            min=1,
            max=64,
            help="Prints to make at the same time; by default one per core.",
        ),
    ] = None,
    memory: Annotated[
        str | None,
        typer.Option(
            "--memory",
            metavar="SIZE",
            help='Memory for prints made at the same time, such as "2 GiB"; by default half of '
            "this machine's. A print that needs more is made alone.",
        ),
    ] = None,
    scheduler: Annotated[
        str | None,
        typer.Option(
            "--scheduler",
            metavar="ADDRESS",
            help="Let the workers of this Dask scheduler make the prints.",
        ),
    ] = None,
    redo: Annotated[
        bool,
        typer.Option("--redo", help="Replace prints made with other settings, if unaltered."),
    ] = False,
    replace: Annotated[
        bool,
        typer.Option("--replace", help="Like --redo, and replace prints altered by hand as well."),
    ] = False,
    lines: Annotated[
        bool | None,
        typer.Option("--lines/--full", help="Dry run: one line per print, or full details."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Make the print files of a job."""
    from sightsize.commands import make as command

    how = command.How(
        workers=workers,
        memory=memory,
        scheduler=scheduler,
        replace="altered too" if replace else "unaltered" if redo else "nothing",
    )
    if dry_run:
        code = command.run_dry(job_file, only or [], how, lines=lines, as_json=as_json)
    else:
        code = command.run(job_file, only or [], how, as_json=as_json)
    raise typer.Exit(code)


@app.command()
def audit(
    path: Annotated[Path, typer.Argument(metavar="JOB|DOCKET", help="Job file or docket.")],
    as_json: AsJson = False,
) -> None:
    """Check every delivered file against the docket, and against the job if you name one."""
    from sightsize.commands import audit as command

    raise typer.Exit(command.run(path, as_json=as_json))


@app.command()
def reprint(
    docket_file: Annotated[Path, typer.Argument(metavar="DOCKET", help="Docket of the prints.")],
    only: Annotated[
        list[str] | None,
        typer.Option("--only", help="Only the prints with this file name or pattern."),
    ] = None,
    look_in: Annotated[
        list[Path] | None,
        typer.Option("--look-in", help="Folder to search for sources that have moved."),
    ] = None,
    match: Annotated[
        bool,
        typer.Option("--match", help="Make the prints from their masters, without the sources."),
    ] = False,
    output: Annotated[
        Path | None,
        typer.Option(
            "--output", help="Folder for the new prints; by default reprints, beside the docket."
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Make the same prints again, bit for bit, or report exactly what differs."""
    from sightsize.commands import reprint as command

    code = command.run(docket_file, only or [], look_in or [], output, match=match, as_json=as_json)
    raise typer.Exit(code)


@app.command()
def explain(
    words: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[KEY]",
            help="A key such as tone.grade, a table, a check, or a word such as contrast.",
        ),
    ] = None,
) -> None:
    """Explain a key: what it does, its unit, range and default. Without one, list all keys."""
    from sightsize.commands import explain as command

    raise typer.Exit(command.run(words or []))
