"""Deliver a print: written beside its target, flushed, re-opened and verified, then renamed.

A file under a final name is always whole and verified. The order is stricter than writing, renaming
and then looking: what fails never had the name.
"""

import os
from collections.abc import Mapping, Sequence, Set
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace as replace_fields
from pathlib import Path
from typing import Literal

import pyvips

from sightsize.base.atomic import part_of
from sightsize.base.deadline import check_time, stop_in_time
from sightsize.base.findings import Finding
from sightsize.base.hashes import file_sha256, unchanged_sha256
from sightsize.base.paths import is_file, places
from sightsize.checks.finished import FinishedPicture
from sightsize.checks.run import check_finished
from sightsize.delivery.delivered import Delivered, Master
from sightsize.delivery.encode import write_file
from sightsize.delivery.metadata import captions_of, identity_of, save_tiff, tag
from sightsize.delivery.verify import Seen, verify_file, verify_master
from sightsize.errors import DeliveryError, SourceError
from sightsize.imaging.analysis.study import Study
from sightsize.imaging.colour.master_colour import master_profile
from sightsize.imaging.render import master_image
from sightsize.plan.file_names import MASTERS, files_of
from sightsize.plan.identity import print_identity
from sightsize.plan.picture import PicturePlan
from sightsize.plan.sheet import FilePlan


def deliver(
    file: FilePlan[PicturePlan],
    folder: Path,
    sources: Set[Path],
    *,
    replace: bool,
    noted: tuple[str, str] | None = None,
) -> Delivered:
    """Make a print under its final name in ``folder``, with its masters where they are wanted.

    ``sources`` are the resolved paths of the job's pictures, which are never written. A print
    whose masters are wanted is always made, and the masters with it. ``noted`` are the identity
    and the SHA-256 with which a print of this name was delivered before. Raises DeliveryError,
    SourceError or pyvips.Error; no file is then left under a final name, and one that stood there
    before stays as it was.
    """
    targets = files_of(file, folder)
    target = targets[0]
    for each in targets:
        _refuse_sources(each, sources)
    before = _stamps(file)
    hashes = {source: unchanged_sha256(source) for source in before}
    identity = print_identity(file, hashes)
    if noted is not None and noted[0] == identity and not replace:
        _refuse_altered(target, noted[1])
    standing = _find_standing(target, file, identity, replace)
    if standing is not None and targets == [target]:
        return _describe(target, "kept", (), identity, hashes, standing)
    for each in targets[1:]:
        _make_folder(each.parent)
    parts = [part_of(each) for each in targets]
    try:
        found, seen = _write_sheet(file, parts[0], identity)
        masters = _write_masters(file, found, parts[1:], identity)
        _refuse_changed(before, _stamps(file))
        findings = _findings(file, found, seen)
        if standing is not None and noted is None and not replace:
            _refuse_altered(target, file_sha256(parts[0]))
        for path, master in zip(targets[1:], masters, strict=True):
            _refuse_another_master(path, master, replace)
        check_time()
        for part, path in zip(reversed(parts), reversed(targets), strict=True):
            part.replace(path)
    except (OSError, SourceError, pyvips.Error):
        _refuse_changed(before, _stamps(file))  # which then is why
        raise
    finally:
        for part in parts:
            part.unlink(missing_ok=True)
    for each in targets:
        _flush(each.parent)
    done = _describe(target, "made", findings, identity, hashes, seen)
    return replace_fields(done, masters=masters)


def _refuse_altered(target: Path, sha256: str) -> None:
    """Refuse to keep or write over a print that somebody has worked on."""
    if is_file(target) and file_sha256(target) != sha256:
        raise DeliveryError(
            f"{target.name} was changed after it was made; use --replace to make it again, or "
            "move it away"
        )


def _find_standing(
    target: Path, file: FilePlan[PicturePlan], identity: str, replace: bool
) -> Seen | None:
    """What stands under a print's name if it is that print, whole; anything else is refused."""
    if not os.path.lexists(target):
        return None
    if not target.is_symlink() and identity_of(target) == identity:
        seen = verify_file(target, file)
        if not seen.differences:
            return seen
    if not replace:
        raise DeliveryError(
            f"{target.name} exists and was made with other settings or by another version; use "
            "--replace to make it again, or move it away"
        )
    return None


def _write_sheet(
    file: FilePlan[PicturePlan], part: Path, identity: str
) -> tuple[tuple[Study, ...], Seen]:
    """Write and verify the sheet; return what was found in its pictures, and in the file."""
    found = write_file(file, part, identity)
    with ThreadPoolExecutor(max_workers=1) as beside:
        flushed = beside.submit(_flush, part)
        seen = verify_file(part, file)
        flushed.result()
    _refuse_differences(file.name, seen)
    return found, seen


def _write_masters(
    file: FilePlan[PicturePlan], found: Sequence[Study], parts: Sequence[Path], identity: str
) -> tuple[Master, ...]:
    """Write and verify the master of each picture, where parts are given for them."""
    if not parts:
        return ()
    rows = zip(file.pictures, found, parts, strict=True)
    return tuple(
        _write_master(file, placed.picture, study, part, identity) for placed, study, part in rows
    )


def _write_master(
    file: FilePlan[PicturePlan], plan: PicturePlan, found: Study, part: Path, identity: str
) -> Master:
    """Write and verify a picture's master."""
    source, image = plan.look.picture.source, master_image(plan, file.delivery, found)
    profile = master_profile(image.bands)
    delivery = replace_fields(
        file.delivery, format="tiff", bit_depth=16, profile="", ppi=plan.crop.effective_ppi
    )
    image = stop_in_time(tag(image, delivery, profile, source, captions_of(source), identity))
    save_tiff(image, part)
    _flush(part)
    seen = verify_master(part, image, profile)
    _refuse_differences(f"the master of {file.name}", seen)
    sharpening = found.sharpening if plan.sharpen is not None and plan.sharpen.is_measured else None
    return Master(
        sha256=file_sha256(part),
        pixels_sha256=seen.pixels_sha256,
        gain=sharpening.gain if sharpening else None,
        noise_floor=sharpening.noise_floor if sharpening else None,
    )


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(exist_ok=True)
    except FileExistsError:
        raise DeliveryError(
            f"{folder.name} is not a folder, so masters cannot be kept in it; move it away"
        ) from None


def _refuse_differences(what: str, seen: Seen) -> None:
    if seen.differences:
        raise DeliveryError(f"{what} was not written as planned: {seen.differences[0].message}")


def _refuse_another_master(path: Path, master: Master, replace: bool) -> None:
    """Refuse to write over a master of other bytes, which somebody may have worked on."""
    if replace or not os.path.lexists(path):
        return
    if path.is_symlink() or not is_file(path) or file_sha256(path) != master.sha256:
        raise DeliveryError(
            f"{MASTERS}/{path.name} exists and is not this print's master; use --replace to make "
            "it again, or move it away"
        )


def _stamps(file: FilePlan[PicturePlan]) -> dict[Path, tuple[int, int]]:
    """Size and time of each source; raises SourceError for one that is not the file planned."""
    stamps = {}
    for each in file.pictures:
        source, header = each.picture.look.picture.source, each.picture.header
        status = source.stat()
        if status.st_size != header.bytes:
            raise SourceError(_say_changed(source))
        stamps[source] = status.st_size, status.st_mtime_ns
    return stamps


def _refuse_changed(
    before: Mapping[Path, tuple[int, int]], after: Mapping[Path, tuple[int, int]]
) -> None:
    for source, stamp in after.items():
        if before[source] != stamp:
            raise SourceError(_say_changed(source))


def _say_changed(source: Path) -> str:
    return f"{source.name} changed while the job was running; run it again"


def _describe(
    target: Path,
    status: Literal["made", "kept"],
    findings: tuple[Finding, ...],
    identity: str,
    sources: Mapping[Path, str],
    seen: Seen,
) -> Delivered:
    return Delivered(
        path=target,
        status=status,
        bytes=target.stat().st_size,
        findings=findings,
        identity=identity,
        sources=sources,
        sha256=file_sha256(target),
        pixels_sha256=seen.pixels_sha256,
    )


def _findings(
    file: FilePlan[PicturePlan], found: Sequence[Study], seen: Seen
) -> tuple[Finding, ...]:
    """What there is to say of a finished print. Raises DeliveryError for a refusal."""
    finished = [
        FinishedPicture(
            placed=placed,
            marks_left=study.marks_left,
            missed_share=study.missed_share,
            perceptual_may_help=study.perceptual_may_help,
            white_share=white,
            black_share=black,
        )
        for placed, study, (white, black) in zip(file.pictures, found, seen.clipped, strict=True)
    ]
    findings = tuple(check_finished(finished))
    for each in findings:
        if each.level == "refuse":
            raise DeliveryError(each.sentence().removeprefix("refuse "))
    return findings


def _refuse_sources(target: Path, sources: Set[Path]) -> None:
    if sources & places(target):
        raise DeliveryError(f"{target.name} is a source picture of this job; choose another name")


def _flush(path: Path) -> None:
    """Have the system write a file or folder through to the disk."""
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
