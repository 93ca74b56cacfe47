"""Make the same prints again, bit for bit, or say exactly what is not the same."""

from collections.abc import Sequence
from pathlib import Path

from sightsize.archive.reprint import Reprinted, reprint_docket, reprint_line, reprint_totals
from sightsize.base import interrupts
from sightsize.base.paths import follow_links
from sightsize.base.terminal import say
from sightsize.commands.audit import find_docket, refuse_neither
from sightsize.commands.shared import echo_json, hold_folder, load_and_report
from sightsize.docket.store import NAME
from sightsize.errors import UsageError
from sightsize.report.progress import Progress
from sightsize.run.protected import recorded_sources


def run(
    path: Path,
    only: Sequence[str],
    look_in: Sequence[Path],
    output: Path | None,
    *,
    match: bool,
    as_json: bool,
) -> int:
    """Reprint what a docket, or that of a job, records: what ``only`` names, or all."""
    if match and look_in:
        raise UsageError("--match uses no sources; remove --look-in or --match")
    docket = find_docket(_docket_path(path, as_json=as_json))
    folder = output or _beside(docket.path)
    if follow_links(folder) == follow_links(docket.path.parent):
        raise UsageError(f"{folder} holds the first prints; name another folder with --output")
    try:
        with (
            hold_folder(folder, recorded_sources(docket)),
            Progress(None, silent=as_json) as progress,
        ):
            results = []
            for each in reprint_docket(docket, only, look_in, folder, match=match):
                results.append(each)
                progress.finish(each.file, reprint_line(each))
    except KeyboardInterrupt:
        say("interrupted; run the same command to continue", err=True)
        return interrupts.exit_code()
    if not results and not docket.faults:
        raise UsageError(f"no print of {docket.path} matches --only {' '.join(only)}")
    _report(results, folder, as_json=as_json)
    good = all(each.state in ("identical", "matched") for each in results)
    return 0 if good and not docket.faults else 1


def _beside(docket: Path) -> Path:
    """The folder for reprints unless one is named. A link there may lead anywhere."""
    folder = docket.parent / "reprints"
    if folder.is_symlink():
        raise UsageError(f"{folder} is a link; name the folder that you mean with --output")
    return folder


def _docket_path(path: Path, *, as_json: bool) -> Path:
    """A docket as it is given, or that of a job."""
    if path.name == NAME:
        return path
    refuse_neither(path)
    job, _ = load_and_report(path, as_json=as_json)
    return job.output / NAME


def _report(results: Sequence[Reprinted], folder: Path, *, as_json: bool) -> None:
    if as_json:
        echo_json([each._asdict() for each in results])
    else:
        say(reprint_totals(results, folder))
