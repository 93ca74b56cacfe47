"""Files written whole or not at all, and leftovers of dead runs removed."""

import os
import re
import secrets
from contextlib import suppress
from pathlib import Path

from sightsize.base.lock import runs

PART = ".part"
_PART_NAME = re.compile(rf"\..+\.([0-9]{{1,9}})-[0-9a-f]+{re.escape(PART)}")


def part_of(path: Path) -> Path:
    """Return where a file is written before it has its name; the name tells this process."""
    return path.with_name(f".{path.name}.{os.getpid()}-{secrets.token_hex(4)}{PART}")


def process_of(part: Path) -> int | None:
    """Return the process that a part file's name tells, None for a file of another name."""
    match = _PART_NAME.fullmatch(part.name)
    return int(match[1]) if match else None


def write_whole(path: Path, data: bytes) -> None:
    """Write a file beside its place, have it on the disk, and put it there in one step."""
    part = part_of(path)
    try:
        with part.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def remove_if_empty(*folders: Path) -> None:
    """Remove folders in which nothing stands, one after another."""
    for each in folders:
        with suppress(OSError):  # it holds something, or is not there
            each.rmdir()


def remove_leftovers(*folders: Path) -> None:
    """Remove part files of folders whose process no longer runs.

    It is called between prints. One of this process's own number was left by an earlier one:
    numbers come round again, and in a container often at once.
    """
    for part in (part for folder in folders for part in folder.glob(f".*{PART}")):
        process = process_of(part)
        if process is None or not part.is_file():
            continue
        if process == os.getpid() or not runs(process):
            part.unlink(missing_ok=True)
