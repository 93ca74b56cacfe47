"""One run at a time on an output folder: a lock that the system lets go of with its process.

The file names its holder for people. It is the system's lock on it that counts, so that what a
dead run left behind never stands in the way.
"""

import errno
import os
import re
import socket
import stat
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from sightsize.base.reading import read_plain
from sightsize.errors import LockedError

NAME = ".run.lock"
_NO_LOCKS = {errno.ENOLCK, errno.ENOTSUP, errno.ENOSYS}
_BUSY = {errno.EACCES, errno.EAGAIN, errno.EDEADLK}
_BEYOND_THE_TEXT = 2**20
_LONGEST = 400
_HOLDER = r"process (\d+) on (.+)"


@contextmanager
def hold_lock(folder: Path) -> Iterator[None]:
    """Hold a folder for this run. Raises LockedError when another run does, and OSError."""
    path = folder / NAME
    _refuse_strange(path)
    descriptor = _take_lock(path)
    try:
        _write(descriptor, f"process {os.getpid()} on {socket.gethostname()}")
        yield
    finally:
        _let_go(path, descriptor)


def _refuse_strange(path: Path) -> None:
    """What is no lock of ours would be written over, and then removed."""
    with suppress(FileNotFoundError):
        status = path.lstat()
        if stat.S_ISLNK(status.st_mode) or (status.st_nlink > 1 and stat.S_ISREG(status.st_mode)):
            raise LockedError(f"{path} is a link to another file; remove it")
        try:
            written = read_plain(path, _LONGEST).decode("utf-8", "replace")
        except OSError:
            written = "not ours"
        if written and not re.fullmatch(_HOLDER, written):
            raise LockedError(f"{path} is not a lock that a run wrote; move it away")


def _take_lock(path: Path) -> int:
    """Lock the file that stands under the name now, not one that its holder has just removed."""
    while True:
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
        try:
            _lock(descriptor)
        except OSError as error:
            holder = _read(descriptor)
            if error.errno in _NO_LOCKS and not _runs_here(holder):
                return descriptor
            os.close(descriptor)
            if error.errno not in _BUSY | _NO_LOCKS:
                raise
            raise LockedError(
                f"{holder or 'another run'} is making prints in {path.parent}; wait until it "
                "finishes, or stop it"
            ) from None
        if _stands_at(path, descriptor):
            return descriptor
        os.close(descriptor)


def _write(descriptor: int, text: str) -> None:
    os.ftruncate(descriptor, 0)
    os.lseek(descriptor, 0, os.SEEK_SET)
    os.write(descriptor, text.encode())


def _read(descriptor: int) -> str:
    os.lseek(descriptor, 0, os.SEEK_SET)
    return os.read(descriptor, _LONGEST).decode("utf-8", "replace")


def _runs_here(holder: str) -> bool:
    """What the file says, for file systems that know no locks; other machines are not asked."""
    match = re.fullmatch(_HOLDER, holder)
    return bool(match and match[2] == socket.gethostname() and runs(int(match[1])))


def runs(process: int) -> bool:
    """Return whether a process runs on this machine; True where that cannot be asked."""
    if os.name != "posix":  # where signal 0 is not a question
        return True
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


def _stands_at(path: Path, descriptor: int) -> bool:
    try:
        return os.path.samestat(path.stat(), os.fstat(descriptor))
    except FileNotFoundError:
        return False


def _let_go(path: Path, descriptor: int) -> None:
    """Remove the file while it is still locked; where an open file cannot be, afterwards.

    Another that stands there by now is left: the folder was renamed, and another run has its name.
    """
    ours = _stands_at(path, descriptor)
    if ours and os.name == "posix":
        path.unlink(missing_ok=True)
    os.close(descriptor)
    if ours and os.name != "posix":
        with suppress(OSError):
            path.unlink()


if sys.platform == "win32":
    import msvcrt

    def _lock(descriptor: int) -> None:
        os.lseek(descriptor, _BEYOND_THE_TEXT, os.SEEK_SET)  # locked bytes cannot be read
        msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)

else:
    import fcntl

    def _lock(descriptor: int) -> None:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
