"""The source pictures, each made once, by a script in a process of its own, and kept."""

import shutil
import subprocess
import sys
from pathlib import Path

from spec import GIGAPIXEL, MONO_24X16, Size

HERE = Path(__file__).parent
BYTES_A_PIXEL = 3
SPARE_BYTES = 4 * 10**9
"""Left on the disk for prints beside the largest source."""


class NoSourceError(Exception):
    """A source that cannot be made here; the message says why."""


def run_script(script: str, *arguments: object) -> str:
    """Run a script that handles pictures outside this process, which has to stay small."""
    command = [sys.executable, str(HERE / script), *map(str, arguments)]
    return subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True).stdout


def photograph(folder: Path, size: Size) -> Path:
    """Return the colour picture of a size that compresses as a photograph does."""
    path = folder / f"source-{size.width}x{size.height}.jpg"
    if not path.exists():
        _make(path, "source_picture.py", *size)
    return path


def gigapixel(folder: Path) -> Path:
    """Return the tiled BigTIFF of the largest spec. Raises NoSourceError where it has no room."""
    size = GIGAPIXEL.source
    path = folder / f"source-{size.width}x{size.height}.tif"
    if not path.exists():
        piece = photograph(folder, MONO_24X16.source)
        needed = size.width * size.height * BYTES_A_PIXEL + SPARE_BYTES
        free = shutil.disk_usage(folder).free
        if free < needed:
            raise NoSourceError(f"{needed / 1e9:.1f} GB are needed, {free / 1e9:.1f} GB are free")
        _make(path, "source_pieces.py", "mosaic", piece, *size)
    return path


def small_pictures(folder: Path, count: int) -> Path:
    """Return a folder of that many small pictures, each another piece of the photograph."""
    path = folder / f"small-{count}"
    if not path.exists():
        _make(path, "source_pieces.py", "small", photograph(folder, MONO_24X16.source), count)
    return path


def _make(path: Path, script: str, *arguments: object) -> None:
    """Have a script make what gets its name only once all of it is there."""
    path.parent.mkdir(parents=True, exist_ok=True)
    unfinished = path.with_suffix(".part")
    run_script(script, unfinished, *arguments)
    unfinished.replace(path)
