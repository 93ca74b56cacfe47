"""What the docket keeps of a print, and whether a print on the disk is still the one recorded."""

from collections.abc import Mapping
from dataclasses import asdict
from datetime import UTC, datetime
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from sightsize import __version__
from sightsize.docket import Record, relative
from sightsize.header import Header
from sightsize.identity import print_identity, unchanged_sha256
from sightsize.job import BUILT_IN_PROFILES
from sightsize.masters import master_of
from sightsize.paths import resolved
from sightsize.plan import Plan

_PACKAGES = ("pyvips", "pyvips-binary", "numpy", "scipy", "rawpy")


def print_record(plan: Plan, delivered: Any, seconds: float, folder: Path) -> Record:
    """Return the record of a print that was delivered into ``folder``."""
    request, source = plan.request, plan.request.picture.source
    status, output = source.stat(), delivered.path.stat()
    return {
        "file": request.name,
        "made": datetime.now(UTC).isoformat(timespec="seconds"),
        "seconds": round(seconds, 3),
        "identity": delivered.identity,
        "accepted": list(request.thresholds.accept),
        "notes": list(delivered.notes),
        "output": {
            "sha256": delivered.sha256,
            "pixels_sha256": delivered.pixels_sha256,
            "bytes": output.st_size,
            "changed_ns": output.st_mtime_ns,
        },
        "source": {
            "path": relative(source, folder),
            "sha256": delivered.source_sha256,
            "bytes": status.st_size,
            "changed_ns": status.st_mtime_ns,
            "header": asdict(plan.header) if plan.header else {},
        },
        "profile": profile_record(request.delivery.profile),
        "versions": versions(),
        "plan": _numbers(plan),
        **_master_record(delivered),
        "job": _own_job(request.own_job, source, folder),
    }


def _master_record(delivered: Any) -> dict[str, Any]:
    """The master of a print, nothing when none was kept."""
    master = delivered.master
    if master is None:
        return {}
    path = master_of(delivered.path)
    status = path.stat()
    facts = {
        "file": relative(path, delivered.path.parent),
        "sha256": master.sha256,
        "pixels_sha256": master.pixels_sha256,
        "bytes": status.st_size,
        "changed_ns": status.st_mtime_ns,
    }
    if master.gain is not None:
        facts["sharpening"] = {"gain": master.gain, "noise_floor": master.noise_floor}
    return {"master": facts}


@cache
def versions() -> dict[str, str]:
    """Return the versions of everything that decides a print's bytes."""
    import pyvips

    found = {"sightsize": __version__}
    found["libvips"] = ".".join(str(pyvips.version(part)) for part in range(3))
    for package in _PACKAGES:
        try:
            found[package] = version(package)
        except PackageNotFoundError:
            continue
    return found


def profile_record(profile: str) -> dict[str, str]:
    """Return name and SHA-256 of an output profile, given by name or path."""
    if profile in BUILT_IN_PROFILES:
        import hashlib

        from sightsize.picture.light import built_in_profile

        return {"name": profile, "sha256": hashlib.sha256(built_in_profile(profile)).hexdigest()}
    return {"name": Path(profile).name, "sha256": unchanged_sha256(Path(profile))}


def _numbers(plan: Plan) -> dict[str, Any]:
    """The numbers that people look up: pixels as they are, mm as decimals."""
    box, sheet = plan.sheet.picture_box, plan.sheet
    numbers: dict[str, Any] = {
        "sheet_px": list(sheet.sheet_px),
        "sheet_mm": [_decimal(length) for length in sheet.sheet_mm],
        "picture_px": [box.left, box.top, box.width, box.height],
        "picture_mm": [_decimal(length) for length in sheet.image_mm],
        "ppi": _decimal(sheet.ppi),
    }
    if plan.crop is not None:
        crop = plan.crop.box
        numbers |= {
            "crop_px": [crop.left, crop.top, crop.width, crop.height],
            "crop_loss": _decimal(plan.crop.crop_loss),
            "effective_ppi": _decimal(plan.crop.effective_ppi),
        }
    return numbers


def _decimal(number: Any) -> float:
    return round(float(number), 4)


def _own_job(own: Mapping[str, Any], source: Path, folder: Path) -> dict[str, Any]:
    """A print's own job with its paths written from the docket."""
    (picture,) = own["pictures"]
    facts = {**own["pictures"][picture], "source": relative(source, folder)}
    return {**own, "pictures": {picture: facts}}


def recorded_header(record: Record | None, source: Path, folder: Path) -> Header | None:
    """Return the header that a record holds of a source, None when the file is another now."""
    if record is None or not record["source"]["header"]:
        return None
    if resolved(folder / record["source"]["path"]) != resolved(source):
        return None
    if not _is_same(source, record["source"]):
        return None
    try:
        return Header(**record["source"]["header"])
    except TypeError:  # not all of a header: the file itself is asked
        return None


def source_sha256(record: Record | None, source: Path) -> str:
    """Return a source's SHA-256: as recorded while size and time of the file are the same."""
    if record is not None and _is_same(source, record["source"]):
        return str(record["source"]["sha256"])
    return unchanged_sha256(source)


def is_recorded(record: Record | None, plan: Plan, target: Path) -> bool:
    """Return whether the file at ``target`` is the one recorded, made from this very plan.

    So must its master be, where one is wanted. Files are told by size and time; nothing is decoded.
    """
    if record is None or target.is_symlink() or not _is_same(target, record["output"]):
        return False
    if plan.request.delivery.keep_master and not _has_master(record, target):
        return False
    return is_same_print(record, plan)


def is_same_print(record: Record, plan: Plan) -> bool:
    """Return whether a plan would make the very print that was recorded."""
    source = plan.request.picture.source
    return bool(print_identity(plan, source_sha256(record, source)) == record["identity"])


def _has_master(record: Record, target: Path) -> bool:
    path = master_of(target)
    return "master" in record and not path.is_symlink() and _is_same(path, record["master"])


def _is_same(path: Path, recorded: Mapping[str, Any]) -> bool:
    try:
        status = path.stat()
    except OSError:
        return False
    return (status.st_size, status.st_mtime_ns) == (recorded["bytes"], recorded["changed_ns"])
