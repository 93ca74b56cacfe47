"""Masters: finished pictures kept beside their prints, before they have a size on paper."""

from dataclasses import dataclass
from pathlib import Path

from sightsize.plan import AnyPicture, FilePlan

FOLDER = "masters"
"""Where masters stand, inside the folder of the prints."""


@dataclass(frozen=True, kw_only=True)
class Master:
    """A master as written, and the sharpening that its print got, if some of it was measured."""

    sha256: str
    pixels_sha256: str
    gain: float | None
    noise_floor: float | None


def masters_of(target: Path, count: int) -> list[Path]:
    """Return where the masters of a print's pictures stand; of several each has its number."""
    numbers = [""] if count == 1 else [f"-{number}" for number in range(1, count + 1)]
    return [target.parent / FOLDER / f"{target.stem}{number}.tif" for number in numbers]


def files_of(file: FilePlan[AnyPicture], folder: Path) -> list[Path]:
    """Return the files that a print in ``folder`` comes to: itself, and its masters if wanted."""
    target = folder / file.name
    kept = masters_of(target, len(file.pictures)) if file.delivery.keep_master else []
    return [target, *kept]
