"""The command line: arguments and options only; what a command does stands in ``commands/``.

Exit codes: 0 all well; 1 a print failed or was refused; 2 the job or the command line is wrong;
3 a fault of the program; 130 interrupted.
"""

import os
import sys
import tempfile
import traceback
from contextlib import suppress
from pathlib import Path
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from sightsize.errors import FAULT, INTERRUPTED, SightsizeError, reason_of


class _Commands(TyperGroup):
    """Commands whose errors are a sentence on standard error, and their kind's exit code."""

    def invoke(self, ctx: Any) -> Any:
        """Run a command."""
        try:
            return super().invoke(ctx)
        except SightsizeError as error:
            typer.echo(f"{error}", err=True)
            raise typer.Exit(error.exit_code) from None
        except KeyboardInterrupt:
            typer.echo("interrupted", err=True)
            raise typer.Exit(INTERRUPTED) from None


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


def main() -> None:
    """Run the command line; what goes wrong ends in a sentence and an exit code."""
    try:
        app()
    except KeyboardInterrupt:
        _leave("interrupted", INTERRUPTED)
    except OSError as error:
        _drop_output()
        where = f" ({error.filename})" if error.filename else ""
        _leave(f"cannot continue: {reason_of(error)}{where}", 1)
    except Exception as error:
        _leave(_fault(error), FAULT)


def _leave(sentence: str, code: int) -> None:
    with suppress(OSError):  # it may be closed or full
        typer.echo(sentence, err=True)
    sys.exit(code)


def _drop_output() -> None:
    """A full or closed output: what it still holds has nowhere to go."""
    if sys.__stdout__ is not None:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.__stdout__.fileno())


def _fault(error: Exception) -> str:
    """Write a report of a fault of the program; return the sentence that says where it lies."""
    from sightsize import __version__

    said = f"a fault in sightsize ({type(error).__name__})"
    text = f"sightsize {__version__}, Python {sys.version}\n{' '.join(sys.argv)}\n\n"
    text += "".join(traceback.format_exception(error))
    try:
        with tempfile.NamedTemporaryFile(
            "w", prefix="sightsize-fault-", suffix=".txt", delete=False, errors="backslashreplace"
        ) as file:
            file.write(text)
    except OSError:
        return f"{said}: {error}; please report it"
    return f"{said}; please report it with {file.name}"


@app.callback(invoke_without_command=True)
def _top(
    version: Annotated[bool, typer.Option("--version", help="Show the version and exit.")] = False,
) -> None:
    if version:
        from sightsize import __version__

        typer.echo(f"sightsize {__version__}")
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
