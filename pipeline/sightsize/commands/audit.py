"""Read everything delivered again and hold it against the docket, and the job if given."""

from pathlib import Path

from sightsize.archive.audit import audit_docket, audit_text
from sightsize.base.paths import is_file, is_folder
from sightsize.base.terminal import say, say_lines
from sightsize.commands.shared import echo_json, load_and_report, open_docket
from sightsize.docket.store import NAME, Docket
from sightsize.errors import UsageError
from sightsize.run.planner import plan_prints


def run(path: Path, *, as_json: bool) -> int:
    """Audit a docket, or the docket of a job beside that job."""
    if path.name == NAME:
        docket, prints, job = find_docket(path), [], None
    else:
        refuse_neither(path)
        job, files = load_and_report(path, as_json=as_json)
        docket = find_docket(job.output / NAME)
        prints = plan_prints(job, files, docket=docket)
    found = audit_docket(docket, prints, job)
    if as_json:
        told = [each._asdict() for each in found]
        echo_json({"docket": str(docket.path), "files": told, "faults": docket.faults})
    else:
        say_lines(audit_text(docket, found))
    good = all(each.state in ("whole", "dropped") for each in found)
    return 0 if good and not docket.faults else 1


def find_docket(path: Path) -> Docket:
    """Return a docket that must be there; what is spoilt in it is told, and stops no other print.

    Raises UsageError and DocketError.
    """
    docket = open_docket(path.parent, whole=False)
    if not docket.records and not is_file(path):
        raise UsageError(f"there is no docket {path}; make the prints first")
    for fault in docket.faults:
        say(fault, err=True)
    return docket


def refuse_neither(path: Path) -> None:
    """Raise UsageError where no file stands that could be a job or a docket."""
    if is_folder(path):
        docket = f" such as {path / NAME}" if is_file(path / NAME) else ""
        raise UsageError(f"{path} is a folder; name a job file or a docket{docket}")
    if not is_file(path):
        raise UsageError(f"there is no file {path}; name a job file or a docket")
