"""Masters: finished pictures kept beside their prints, before they have a size on paper."""

from dataclasses import dataclass
from pathlib import Path

from sightsize.job import PrintRequest

FOLDER = "masters"
"""Where masters stand, inside the folder of the prints."""


@dataclass(frozen=True, kw_only=True)
class Master:
    """A master as written, and the sharpening that its print got, if some of it was measured."""

    sha256: str
    pixels_sha256: str
    gain: float | None
    noise_floor: float | None


def master_of(target: Path) -> Path:
    """Return where the master of a print stands."""
    return target.parent / FOLDER / f"{target.stem}.tif"


def files_of(request: PrintRequest, folder: Path) -> list[Path]:
    """Return the files that a print in ``folder`` comes to: itself, and its master if wanted."""
    target = folder / request.name
    return [target, master_of(target)] if request.delivery.keep_master else [target]
