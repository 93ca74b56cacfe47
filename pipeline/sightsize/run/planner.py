"""Prints planned and checked: each picture's header is read, no pixel decoded."""

from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from sightsize.base.alarm import Alarm
from sightsize.base.findings import Finding
from sightsize.base.paths import places
from sightsize.checks.run import check_file, check_opened
from sightsize.docket.recall import recall_header
from sightsize.docket.store import Docket, Record
from sightsize.errors import OutOfTimeError, SourceError
from sightsize.model.header import Header
from sightsize.model.job import Job, PrintRequest
from sightsize.model.picture import Picture
from sightsize.plan.file_names import files_of
from sightsize.plan.picture import PicturePlan, UnopenedPicture, plan_picture
from sightsize.plan.sheet import FilePlan, PlacedPicture
from sightsize.run.planned_print import PlannedPrint
from sightsize.run.protected import protected_files

_SECONDS = 60
"""For the headers of one print's pictures; most take a few milliseconds."""


def plan_prints(
    job: Job,
    files: Iterable[FilePlan[UnopenedPicture]],
    *,
    pictures: bool = True,
    docket: Docket | None = None,
) -> list[PlannedPrint]:
    """Plan and check a job's files; without ``pictures`` no file but the job is opened.

    What a docket says of a picture that has not changed since is not read again.
    """
    records = docket.records if docket else {}
    protected = protected_files(job, docket)
    return [_plan(job, each, pictures, records.get(each.name), protected) for each in files]


def _plan(
    job: Job,
    file: FilePlan[UnopenedPicture],
    pictures: bool,
    record: Record | None,
    protected: Mapping[Path, str],
) -> PlannedPrint:
    opened, findings = _open_in_time(job, file, record) if pictures else (None, [])
    findings += [*check_file(file, str(job.path)), *_hits(job, file, protected)]
    if opened is not None:
        findings += check_opened(opened, str(job.path))
    return PlannedPrint(file, opened, tuple(findings))


def _open_in_time(
    job: Job, file: FilePlan[UnopenedPicture], record: Record | None
) -> tuple[FilePlan[PicturePlan] | None, list[Finding]]:
    """What ``_open_pictures`` returns, or that it took too long."""
    said = f"its header could not be read within {_SECONDS} s; is the file damaged?"
    try:
        with Alarm(_SECONDS, said):
            return _open_pictures(job, file, record)
    except OutOfTimeError as error:
        return None, [_source_finding(job, file.request, "picture.source", str(error))]


def _open_pictures(
    job: Job, file: FilePlan[UnopenedPicture], record: Record | None
) -> tuple[FilePlan[PicturePlan] | None, list[Finding]]:
    """The file with its pictures opened, or what is wrong with those that cannot be."""
    if any(each.picture.size.is_empty for each in file.pictures):
        return None, []  # of an opening that leaves no picture, the opening itself is told
    placed, findings = [], []
    for each in file.pictures:
        look = each.request.look
        try:
            header = _header(record, look.picture, job.output)
        except SourceError as error:
            findings.append(_source_finding(job, each.request, "picture.source", str(error)))
            continue
        picture = plan_picture(look, header, each.picture.size)
        placed.append(PlacedPicture(request=each.request, picture=picture, place=each.place))
    return (None, findings) if findings else (file.with_pictures(tuple(placed)), [])


def _header(record: Record | None, picture: Picture, folder: Path) -> Header:
    """A picture's header: as recorded, or read. Raises SourceError."""
    recalled = recall_header(record, picture, folder)
    if recalled is not None:
        return recalled
    # Imported here so that a check without pictures, and a rerun, never load libvips.
    from sightsize.imaging.source.open_upright import read_header

    return read_header(picture.source)


def _hits(
    job: Job, file: FilePlan[UnopenedPicture], protected: Mapping[Path, str]
) -> Iterator[Finding]:
    """Yield each file of a print that would be written over one that is protected."""
    for each in files_of(file, job.output):
        for hit in protected.keys() & places(each):
            name = each.relative_to(job.output).as_posix()
            said = f"{name} is {protected[hit]}; choose another name or job.output"
            yield _source_finding(job, file.request, "delivery.name", said)


def _source_finding(job: Job, request: PrintRequest, key: str, message: str) -> Finding:
    said = message if message.endswith("?") else f"{message}."
    return request.refuse(str(job.path), key, "source", said)
