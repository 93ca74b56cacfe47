"""Deliver a print: written beside its target, flushed, re-opened, verified, then renamed.

A file under a final name is always whole and verified. The order is stricter than writing, renaming
and then looking: what fails never had the name.
"""

import os
import struct
from collections.abc import Sequence, Set
from dataclasses import dataclass
from mmap import mmap
from pathlib import Path
from typing import Literal

import pyvips

from sightsize import __version__
from sightsize.captions import (
    Captions,
    exif_placeholder,
    identity_in_xmp,
    read_captions,
    write_exif_words,
    xmp_packet,
)
from sightsize.checks import remark_finding
from sightsize.findings import Remark
from sightsize.identity import file_sha256, print_identity, unchanged_sha256
from sightsize.job import Delivery
from sightsize.lock import runs
from sightsize.memory import coding_bytes
from sightsize.paths import resolved
from sightsize.picture.chain import sheet_image
from sightsize.picture.finish import output_profile, paper_value
from sightsize.picture.source import SourceError
from sightsize.plan import Plan
from sightsize.units import MM_PER_INCH
from sightsize.verify import Seen, clipping_remarks, verify_file
from sightsize.whole import PART, part_of, process_of

_BIG_TIFF_ABOVE = 3 * 2**30
_SERIALS = ("exif-ifd2-BodySerialNumber", "exif-ifd2-LensSerialNumber")


class DeliveryError(Exception):
    """A print that was not delivered; the message is a sentence that says why."""


@dataclass(frozen=True)
class Delivered:
    """A print under its final name: just made, or kept from an earlier run of the same plan."""

    path: Path
    status: Literal["made", "kept"]
    bytes: int
    notes: tuple[str, ...] = ()
    identity: str = ""
    source_sha256: str = ""
    sha256: str = ""
    pixels_sha256: str = ""


def deliver(plan: Plan, folder: Path, sources: Set[Path], *, replace: bool) -> Delivered:
    """Make a print under its final name in ``folder``.

    ``sources`` are the resolved paths of the job's pictures, which are never written. Raises
    DeliveryError, SourceError or pyvips.Error; no file is then left under the final name, and one
    that stood there before stays as it was.
    """
    target, source = folder / plan.request.name, plan.request.picture.source
    _refuse_sources(target, sources)
    before = _stamp(source, plan)
    source_sha256 = unchanged_sha256(source)
    identity = print_identity(plan, source_sha256)
    if os.path.lexists(target):
        if not target.is_symlink() and _identity_of(target) == identity:
            seen = verify_file(target, plan, paper_value(plan.request))
            if not seen.differences:
                return _delivered(target, "kept", (), identity, source_sha256, seen)
        if not replace:
            raise DeliveryError(
                f"{target.name} exists and was made from another plan; use --replace to make it "
                "anew, or move it away"
            )
    part = part_of(target)
    try:
        remarks = _write(plan, part, identity)
        _flush(part)
        seen = verify_file(part, plan, paper_value(plan.request))
        if seen.differences:
            raise DeliveryError(f"{target.name} was not written as planned: {seen.differences[0]}")
        if _stamp(source, plan) != before:
            raise SourceError(_changed(source))
        notes = _weighed((*remarks, *clipping_remarks(seen, plan)), plan)
        part.replace(target)
    finally:
        part.unlink(missing_ok=True)
    _flush(folder)
    return _delivered(target, "made", notes, identity, source_sha256, seen)


def _stamp(source: Path, plan: Plan) -> tuple[int, int]:
    """Size and time of a source; raises SourceError when it is not the file that was planned."""
    status = source.stat()
    if plan.header is not None and status.st_size != plan.header.bytes:
        raise SourceError(_changed(source))
    return status.st_size, status.st_mtime_ns


def _changed(source: Path) -> str:
    return f"{source.name} has changed since it was planned; start again"


def _delivered(
    target: Path,
    status: Literal["made", "kept"],
    notes: tuple[str, ...],
    identity: str,
    source_sha256: str,
    seen: Seen,
) -> Delivered:
    size, sha256 = target.stat().st_size, file_sha256(target)
    return Delivered(
        target, status, size, notes, identity, source_sha256, sha256, seen.pixels_sha256
    )


def _weighed(remarks: Sequence[Remark], plan: Plan) -> tuple[str, ...]:
    """What there is to say of a print; a stop refuses it."""
    findings = [remark_finding(remark, plan) for remark in remarks]
    for each in findings:
        if each.level == "stop":
            raise DeliveryError(f"[{each.check}] {each.message}")
    return tuple(f"{each.level} [{each.check}] {each.message}" for each in findings)


def _refuse_sources(target: Path, sources: Set[Path]) -> None:
    if resolved(target) in sources or resolved(target.parent) / target.name in sources:
        raise DeliveryError(f"{target.name} is a source picture of this job; choose another name")


def _identity_of(path: Path) -> str:
    try:
        image = pyvips.Image.new_from_file(str(path), access="sequential")
    except pyvips.Error:
        return ""
    return identity_in_xmp(_blob(image, "xmp-data"))


def _blob(image: pyvips.Image, name: str) -> bytes:
    return bytes(image.get(name)) if image.get_typeof(name) else b""


def _write(plan: Plan, part: Path, identity: str) -> tuple[Remark, ...]:
    """Write the sheet; return what there is to say of it."""
    source = plan.request.picture.source
    header = _with_words(source)
    blocks = (_blob(header, name) for name in ("exif-data", "xmp-data", "iptc-data"))
    captions = read_captions(source, *blocks)
    sheet = sheet_image(plan)
    image = _tagged(sheet.image, plan, header, captions, identity)
    delivery = plan.request.delivery
    if delivery.format == "jpeg":
        image.jpegsave(
            str(part),
            Q=delivery.quality,
            subsample_mode="off",
            optimize_coding=coding_bytes(image.width, image.height) > 0,
            keep="all",
        )
        write_exif_words(part, captions)
        if image.bands in (1, 3):  # the colours that JFIF knows
            _insert_jfif(part, round(delivery.ppi))
    else:
        image.tiffsave(
            str(part),
            compression="deflate",
            predictor="horizontal",
            resunit="inch",
            bigtiff=image.width * image.height * image.bands * 2 > _BIG_TIFF_ABOVE,
            keep="all",
        )
    return sheet.remarks


def _with_words(source: Path) -> pyvips.Image:
    """A source as libvips opens it, for its words; an empty picture for raw files it cannot."""
    try:
        return pyvips.Image.new_from_file(str(source), access="sequential")
    except pyvips.Error:
        return pyvips.Image.black(1, 1)


def _insert_jfif(path: Path, ppi: int) -> None:
    """Put a JFIF 1.02 header with the density in front; libvips leaves it out beside Exif."""
    header = b"\xff\xe0" + struct.pack(">H5sHBHHBB", 16, b"JFIF\0", 0x0102, 1, ppi, ppi, 0, 0)
    size = path.stat().st_size
    with path.open("r+b") as file:
        file.truncate(size + len(header))
        with mmap(file.fileno(), 0) as held:
            held.move(2 + len(header), 2, size - 2)
            held[2 : 2 + len(header)] = header


def _tagged(
    sheet: pyvips.Image, plan: Plan, source: pyvips.Image, captions: Captions, identity: str
) -> pyvips.Image:
    """The sheet with its density, profile, words and identity, and nothing else of the source."""
    delivery = plan.request.delivery
    # JFIF knows whole numbers only, and Exif beside it should say the same.
    ppi = delivery.ppi if delivery.format == "tiff" else round(delivery.ppi)
    px_per_mm = float(ppi / MM_PER_INCH)
    image = sheet.copy(
        xres=px_per_mm, yres=px_per_mm, interpretation=_interpretation(sheet, delivery)
    )
    image = _without_metadata(image)
    image.set_type(pyvips.GValue.gstr_type, "resolution-unit", "in")
    _set_blob(image, "icc-profile-data", output_profile(delivery))
    _set_blob(image, "xmp-data", xmp_packet(captions, f"sightsize {__version__}", identity))
    for name, text in _exif_fields(source, delivery, captions).items():
        image.set_type(pyvips.GValue.gstr_type, name, text)
    if captions.caption:
        image.set_type(pyvips.GValue.gstr_type, "image-description", captions.caption)
    return image


def _interpretation(sheet: pyvips.Image, delivery: Delivery) -> str:
    eight = {1: "b-w", 3: "srgb", 4: "cmyk"}
    sixteen = {1: "grey16", 3: "rgb16", 4: "cmyk"}
    return (eight if delivery.bit_depth == 8 else sixteen)[sheet.bands]


def _without_metadata(image: pyvips.Image) -> pyvips.Image:
    image = image.copy()
    built_in = {
        "width", "height", "bands", "format", "coding", "interpretation", "xoffset", "yoffset",
        "xres", "yres", "filename",
    }  # fmt: skip
    for name in image.get_fields():
        if name not in built_in:
            image.remove(name)
    return image


def _set_blob(image: pyvips.Image, name: str, data: bytes) -> None:
    image.set_type(pyvips.GValue.blob_type, name, data)


def _exif_fields(source: pyvips.Image, delivery: Delivery, captions: Captions) -> dict[str, str]:
    fields = {
        "exif-ifd0-ImageDescription": exif_placeholder(captions.caption),
        "exif-ifd0-Artist": exif_placeholder(captions.creator),
        "exif-ifd0-Copyright": exif_placeholder(captions.copyright),
        "exif-ifd0-Orientation": "1",
        "exif-ifd2-ColorSpace": "1" if delivery.profile == "srgb" else "65535",
    }
    kept = [name for name in source.get_fields() if name.startswith("exif-ifd3-")]
    wanted = (kept if delivery.location else []) + list(_SERIALS if delivery.serial_numbers else ())
    for name in wanted:
        if source.get_typeof(name):
            fields[name] = str(source.get(name))
    return {name: text for name, text in fields.items() if text}


def _flush(path: Path) -> None:
    """Have the system write a file or folder through to the disk."""
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def remove_leftovers(folder: Path) -> None:
    """Remove part files in ``folder`` whose process no longer runs; called between prints.

    One of this process's own number was left by an earlier one: numbers come round again, and in
    a container often at once.
    """
    for part in folder.glob(f".*{PART}"):
        process = process_of(part)
        if process is None or not part.is_file():
            continue
        if process == os.getpid() or not runs(process):
            part.unlink(missing_ok=True)
