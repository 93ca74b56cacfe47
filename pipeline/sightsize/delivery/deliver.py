"""Deliver a print: written beside its target, flushed, re-opened and verified, then renamed.

A file under a final name is always whole and verified. The order is stricter than writing, renaming
and then looking: what fails never had the name.
"""

import os
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Literal

import pyvips

from sightsize.base.atomic import part_of
from sightsize.base.deadline import check_time, stop_in_time
from sightsize.base.findings import Finding
from sightsize.base.hashes import file_sha256, unchanged_sha256
from sightsize.base.paths import is_file
from sightsize.checks.finished import FinishedPicture
from sightsize.checks.run import check_finished
from sightsize.delivery.delivered import Delivered, Master
from sightsize.delivery.encode import write_file
from sightsize.delivery.ground import Ground
from sightsize.delivery.metadata import captions_of, identity_of, save_tiff, tag
from sightsize.delivery.verify import Seen, verify_file, verify_master
from sightsize.errors import DeliveryError, SourceError
from sightsize.imaging.analysis.study import Study
from sightsize.imaging.colour.master_colour import master_profile
from sightsize.imaging.render import master_image, render
from sightsize.plan.file_names import files_of
from sightsize.plan.identity import print_identity
from sightsize.plan.picture import PicturePlan
from sightsize.plan.sheet import FilePlan


def deliver(file: FilePlan[PicturePlan], ground: Ground) -> Delivered:
    """Make a print under its final name, with its masters where they are wanted.

    One that stands there whole is kept, and so are its masters. Raises DeliveryError, SourceError
    or pyvips.Error; no file is then left under a final name, and one that stood there before stays
    as it was.
    """
    targets = files_of(file, ground.folder)
    for each in targets:
        ground.refuse_protected(each)
    before = _stamps(file)
    hashes = {source: unchanged_sha256(source) for source in before}
    identity = print_identity(file, hashes)
    standing = _find_standing(targets[0], file, identity, ground)
    if standing is None:
        ground.refuse_strange(targets[0])
    else:
        masters = _find_masters(file, targets[1:], identity, ground)
        if masters is not None:
            return _describe(targets[0], "kept", (), identity, hashes, standing, masters)
    for each in targets[1:]:
        _make_folder(each.parent)
    parts = [part_of(each) for each in targets]
    try:
        found, seen = _write_sheet(file, parts[0], identity)
        masters = _write_masters(file, found, parts[1:], identity)
        _refuse_changed(before, _stamps(file))
        findings = _findings(file, found, seen)
        check_time()
        ground.put(parts, targets)
    except (OSError, SourceError, pyvips.Error):
        _refuse_changed(before, _stamps(file))  # which then is why
        raise
    finally:
        for part in parts:
            part.unlink(missing_ok=True)
    for each in targets:
        _flush(each.parent)
    return _describe(targets[0], "made", findings, identity, hashes, seen, masters)


def _find_standing(
    target: Path, file: FilePlan[PicturePlan], identity: str, ground: Ground
) -> Seen | None:
    """What stands under a print's name if it is that print, whole and as it was delivered."""
    if not _is_whole(target, identity, ground):
        return None
    seen = verify_file(target, file)
    return None if seen.differences else seen


def _is_whole(path: Path, identity: str, ground: Ground) -> bool:
    """Whether a file says that it is the print or the master wanted, and was not worked on."""
    if path.is_symlink() or not is_file(path) or identity_of(path) != identity:
        return False
    return not ground.is_altered(path, identity)


def _find_masters(
    file: FilePlan[PicturePlan], targets: Sequence[Path], identity: str, ground: Ground
) -> tuple[Master, ...] | None:
    """The masters that stand beside a print that is kept; None unless all are there, whole."""
    masters: list[Master] = []
    pictures = file.pictures if targets else ()
    for placed, path in zip(pictures, targets, strict=True):
        if not _is_whole(path, identity, ground):
            return None
        found = render(placed.picture, file.delivery).found
        image = master_image(placed.picture, file.delivery, found)
        seen = verify_master(path, image, master_profile(image.bands))
        if seen.differences:
            return None
        masters.append(_master(placed.picture, found, path, seen))
    return tuple(masters)


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
    delivery = replace(
        file.delivery, format="tiff", bit_depth=16, profile="", ppi=plan.crop.effective_ppi
    )
    image = stop_in_time(tag(image, delivery, profile, source, captions_of(source), identity))
    save_tiff(image, part)
    _flush(part)
    seen = verify_master(part, image, profile)
    _refuse_differences(f"the master of {file.name}", seen)
    return _master(plan, found, part, seen)


def _master(plan: PicturePlan, found: Study, path: Path, seen: Seen) -> Master:
    """The facts of a master that stands at ``path``."""
    sharpening = found.sharpening if plan.sharpen is not None and plan.sharpen.is_measured else None
    return Master(
        sha256=file_sha256(path),
        pixels_sha256=seen.pixels_sha256,
        gain=sharpening.gain if sharpening else None,
        noise_floor=sharpening.noise_floor if sharpening else None,
    )


def _make_folder(folder: Path) -> None:
    with suppress(FileExistsError):
        folder.mkdir()
    if folder.is_symlink() or not folder.is_dir():
        what = "a link" if folder.is_symlink() else "not a folder"
        raise DeliveryError(
            f"{folder.name} is {what}, so masters cannot be kept in it; move it away"
        )


def _refuse_differences(what: str, seen: Seen) -> None:
    if seen.differences:
        raise DeliveryError(
            f"{what} was not written as planned: {seen.differences[0].message}; please report it"
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
    masters: tuple[Master, ...],
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
        masters=masters,
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


def _flush(path: Path) -> None:
    """Have the system write a file or folder through to the disk."""
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
