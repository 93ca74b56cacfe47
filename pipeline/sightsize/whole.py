"""Small files that are there whole or not at all."""

import os
import re
import secrets
from pathlib import Path

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
