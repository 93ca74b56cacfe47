"""Whether sources, prints and plans are still those recorded; nothing is decoded."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from sightsize.base.paths import follow_links
from sightsize.docket.store import Record
from sightsize.model.header import Header
from sightsize.model.picture import Picture
from sightsize.plan.file_names import masters_of
from sightsize.plan.identity import print_identity
from sightsize.plan.picture import PicturePlan
from sightsize.plan.sheet import FilePlan


def recall_header(record: Record | None, picture: Picture, folder: Path) -> Header | None:
    """Return the header that a record holds of a picture's source.

    None when the file is another now, or the record does not say all that the picture asks for: the
    file itself is asked then.
    """
    noted = _find_source(record, picture.source, folder)
    if noted is None or not _is_same(picture.source, noted):
        return None
    header = noted["header"]
    asked = any(camera.serial for camera in picture.cameras)
    if header.get("bytes") != noted["bytes"] or (asked and "camera_serial" not in header):
        return None
    try:
        return Header(**header)
    except TypeError:  # not all of a header
        return None


def _find_source(record: Record | None, source: Path, folder: Path) -> dict[str, Any] | None:
    """What a record holds of a source."""
    for noted in record["sources"] if record is not None else ():
        if follow_links(folder / noted["path"]) == follow_links(source):
            return dict(noted)
    return None


def _source_hashes(record: Record, file: FilePlan[PicturePlan], folder: Path) -> dict[Path, str]:
    """The SHA-256 of sources: as recorded while size and time of the file are the same."""
    hashes = {}
    for each in file.pictures:
        source = each.picture.look.picture.source
        noted = _find_source(record, source, folder)
        if noted is not None and _is_same(source, noted):
            hashes[source] = str(noted["sha256"])
    return hashes


def is_recorded(record: Record | None, file: FilePlan[PicturePlan], target: Path) -> bool:
    """Return whether the file at ``target`` is the one recorded, made from this very plan.

    So must its masters be, where they are wanted. Files are told by size and time; nothing is
    decoded.
    """
    if record is None or target.is_symlink() or not _is_same(target, record["output"]):
        return False
    if file.delivery.keep_master and not _has_masters(record, file, target):
        return False
    return is_same_print(record, file, target.parent)


def is_same_print(record: Record, file: FilePlan[PicturePlan], folder: Path) -> bool:
    """Return whether a plan would make the very print that was recorded in ``folder``."""
    hashes = _source_hashes(record, file, folder)
    return bool(print_identity(file, hashes) == record["identity"])


def _has_masters(record: Record, file: FilePlan[PicturePlan], target: Path) -> bool:
    paths, noted = masters_of(target, len(file.pictures)), record.get("masters", [])
    return len(paths) == len(noted) and all(
        not path.is_symlink() and _is_same(path, each)
        for path, each in zip(paths, noted, strict=True)
    )


def _is_same(path: Path, recorded: Mapping[str, Any]) -> bool:
    try:
        status = path.stat()
    except OSError:
        return False
    return (status.st_size, status.st_mtime_ns) == (recorded["bytes"], recorded["changed_ns"])
