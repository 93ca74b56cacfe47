"""Files written whole or not at all, and leftovers of dead runs removed."""

import ctypes
import errno
import os
import re
import secrets
import sys
from collections.abc import Collection, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

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
    part = _write_part(path, data)
    try:
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def write_new(path: Path, data: bytes) -> None:
    """Write a whole file under a name that is free. Raises FileExistsError where it is not."""
    part = _write_part(path, data)
    try:
        _put_new(part, path)
    finally:
        part.unlink(missing_ok=True)


def _write_part(path: Path, data: bytes) -> Path:
    part = part_of(path)
    try:
        with part.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    return part


@dataclass(frozen=True)
class Put:
    """A part file and the name it gets: a free one, or that of the very file ``over``."""

    part: Path
    path: Path
    over: os.stat_result | None = None


def put_all(puts: Sequence[Put]) -> None:
    """Give part files their names, the first one last: who sees it finds the others beside it.

    Raises FileExistsError where another file has come under a name. Names that were free are then
    free again.
    """
    done: list[Path] = []
    try:
        for each in reversed(puts):
            if each.over is None:
                _put_new(each.part, each.path)
                done.append(each.path)
            else:
                _put_over(each.part, each.path, each.over)
    except BaseException:
        for path in done:
            path.unlink(missing_ok=True)
        raise


def _put_over(part: Path, path: Path, over: os.stat_result) -> None:
    """Put a file in the place of one, unless that is another by now."""
    now = path.lstat()
    if any(getattr(now, fact) != getattr(over, fact) for fact in _SAME_FILE):
        raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path))
    part.replace(path)


_SAME_FILE = ("st_dev", "st_ino", "st_size", "st_mtime_ns")


def _put_new(part: Path, path: Path) -> None:
    """Move a file to a name that is free; nothing that takes it meanwhile is written over."""
    try:
        os.link(part, path, follow_symlinks=False)
    except FileExistsError:
        raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path)) from None
    except (OSError, NotImplementedError):  # a file system that has no links, such as a card's
        _rename_new(part, path)
    else:
        part.unlink()


def _rename_new(part: Path, path: Path) -> None:
    rename = _linux_rename()
    if rename is not None:
        if not rename(_HERE, os.fsencode(part), _HERE, os.fsencode(path), _NO_REPLACE):
            return
        code = ctypes.get_errno()
        if code not in (errno.EINVAL, errno.ENOSYS, errno.ENOTSUP):
            raise OSError(code, os.strerror(code), str(path))
    # Without help from the system another file could take the name between these two lines.
    if os.path.lexists(path):
        raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path))
    part.rename(path)


_HERE = -100
_NO_REPLACE = 1
"""AT_FDCWD and RENAME_NOREPLACE of Linux's fcntl.h and stdio.h (from memory)."""


@cache
def _linux_rename() -> Any:
    """The C library's ``renameat2``, None where there is none."""
    if sys.platform != "linux":
        return None
    return getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None)


def remove_if_empty(*folders: Path) -> None:
    """Remove folders in which nothing stands, one after another."""
    for each in folders:
        with suppress(OSError):  # it holds something, or is not there
            each.rmdir()


def remove_leftovers(*folders: Path, keep: Collection[Path] = ()) -> None:
    """Remove part files of folders whose process no longer runs, but for those to ``keep``.

    A link is not followed.

    It is called between prints. One of this process's own number was left by an earlier one:
    numbers come round again, and in a container often at once.
    """
    here = [folder for folder in folders if not folder.is_symlink()]
    for part in (part for folder in here for part in folder.glob(f".*{PART}")):
        process = process_of(part)
        if process is None or not part.is_file() or part in keep:
            continue
        if process == os.getpid() or not runs(process):
            part.unlink(missing_ok=True)
