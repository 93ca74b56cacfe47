"""The record of a print: its sources, hashes, versions, plan, masters and its own job."""

from collections.abc import Mapping
from dataclasses import asdict
from datetime import UTC, datetime
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sightsize import __version__
from sightsize.base.hashes import unchanged_sha256
from sightsize.delivery.delivered import Master
from sightsize.docket.store import Record, relative
from sightsize.docket.versions import without_serials
from sightsize.model.settings import BUILT_IN_PROFILES
from sightsize.plan.file_names import masters_of
from sightsize.plan.picture import PicturePlan
from sightsize.plan.sheet import FilePlan, PlacedPicture

if TYPE_CHECKING:
    from sightsize.delivery.delivered import Delivered

_PACKAGES = ("pyvips", "pyvips-binary", "numpy", "scipy", "rawpy")


def print_record(
    file: FilePlan[PicturePlan], delivered: "Delivered", seconds: float, folder: Path
) -> Record:
    """Return the record of a print that was delivered into ``folder``.

    It has the serial numbers of cameras only where the job keeps them.
    """
    output = delivered.path.stat()
    record = {
        "file": file.name,
        "made": datetime.now(UTC).isoformat(timespec="seconds"),
        "seconds": round(seconds, 3),
        "identity": delivered.identity,
        "accepted": list(file.request.thresholds.accept),
        "notes": [each.sentence() for each in delivered.findings],
        "output": {
            "sha256": delivered.sha256,
            "pixels_sha256": delivered.pixels_sha256,
            "bytes": output.st_size,
            "changed_ns": output.st_mtime_ns,
        },
        "sources": [_source(each.picture, delivered.sources, folder) for each in file.pictures],
        "profile": profile_record(file.delivery.profile),
        "versions": versions(),
        "plan": _numbers(file),
        **_master_records(file, delivered),
        "job": _own_job(file, folder),
    }
    return without_serials(record)


def _source(plan: PicturePlan, hashes: Mapping[Path, str], folder: Path) -> dict[str, Any]:
    """A picture's source as it was when the print was made."""
    source = plan.look.picture.source
    status = source.stat()
    return {
        "picture": plan.look.picture.name,
        "path": relative(source, folder),
        "sha256": hashes[source],
        "bytes": status.st_size,
        "changed_ns": status.st_mtime_ns,
        "header": asdict(plan.header),
    }


def _master_records(file: FilePlan[PicturePlan], delivered: "Delivered") -> dict[str, Any]:
    """The masters of a print's pictures, nothing when none were kept."""
    if not delivered.masters:
        return {}
    paths = masters_of(delivered.path, len(file.pictures))
    names = (each.picture.look.picture.name for each in file.pictures)
    rows = zip(names, paths, delivered.masters, strict=True)
    return {"masters": [_master(*row, delivered.path.parent) for row in rows]}


def _master(picture: str, path: Path, master: Master, folder: Path) -> dict[str, Any]:
    status = path.stat()
    facts: dict[str, Any] = {
        "picture": picture,
        "file": relative(path, folder),
        "sha256": master.sha256,
        "pixels_sha256": master.pixels_sha256,
        "bytes": status.st_size,
        "changed_ns": status.st_mtime_ns,
    }
    if master.gain is not None:
        facts["sharpening"] = {"gain": master.gain, "noise_floor": master.noise_floor}
    return facts


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

        from sightsize.imaging.colour.light import built_in_profile

        return {"name": profile, "sha256": hashlib.sha256(built_in_profile(profile)).hexdigest()}
    return {"name": Path(profile).name, "sha256": unchanged_sha256(Path(profile))}


def _numbers(file: FilePlan[PicturePlan]) -> dict[str, Any]:
    """The numbers that people look up: pixels as they are, mm as decimals."""
    stock = file.sheet.stock
    return {
        "sheet_px": list(stock.size_px),
        "sheet_mm": [_decimal(length) for length in stock.size_mm],
        "ppi": _decimal(stock.ppi),
        "pictures": [_picture_numbers(each) for each in file.pictures],
    }


def _picture_numbers(placed: PlacedPicture[PicturePlan]) -> dict[str, Any]:
    plan, box, crop = placed.picture, placed.place.box, placed.picture.crop
    return {
        "picture": plan.look.picture.name,
        "picture_px": [box.left, box.top, box.width, box.height],
        "picture_mm": [_decimal(length) for length in plan.size.image_mm],
        "crop_px": [crop.box.left, crop.box.top, crop.box.width, crop.box.height],
        "crop_loss": _decimal(crop.crop_loss),
        "effective_ppi": _decimal(crop.effective_ppi),
    }


def _decimal(number: Any) -> float:
    return round(float(number), 4)


def _own_job(file: FilePlan[PicturePlan], folder: Path) -> dict[str, Any]:
    """A print's own job with its file's name, and with its paths written from the docket.

    The camera that a picture was found to be from is named, so that no serial number is needed.
    """
    own = file.request.own_job
    plans = {each.picture.look.picture.name: each.picture for each in file.pictures}
    pictures, cameras = {}, {}
    for name, facts in own["pictures"].items():
        source, camera = plans[name].look.picture.source, plans[name].dust_of
        pictures[name] = {**facts, "source": relative(source, folder)}
        dust = own["cameras"][camera].get("dust") if camera else None
        if dust:
            pictures[name]["camera"] = camera
            cameras[camera] = {"dust": dust}
    delivery = {**own["delivery"], "name": Path(file.name).stem}
    kept = {key: table for key, table in own.items() if key != "cameras"}
    named = {"cameras": cameras} if cameras else {}
    return {**kept, "delivery": delivery, **named, "pictures": pictures}
