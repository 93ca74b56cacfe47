"""Files read with care: plain files only, and no more of one than is expected.

A pipe would wait for ever, a device or a file of ``/proc`` may never end.
"""

import errno
import os
import stat
from io import FileIO
from pathlib import Path

from sightsize.base.units import bytes_text


def open_plain(path: Path) -> FileIO:
    """Open a plain file for reading, not buffered. Raises OSError, for anything else as well."""
    # Without O_NONBLOCK, opening a pipe that nobody writes to would wait.
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    descriptor = os.open(path, flags)
    if not stat.S_ISREG(os.fstat(descriptor).st_mode):
        os.close(descriptor)
        raise OSError(errno.EINVAL, "it is not a plain file", str(path))
    return os.fdopen(descriptor, "rb", buffering=0)


def read_plain(path: Path, most_bytes: int) -> bytes:
    """Return the bytes of a plain file. Raises OSError, also for one of more than ``most_bytes``.

    The size that the system states is not asked: a file may grow, or state none.
    """
    parts, left = [], most_bytes + 1
    with open_plain(path) as file:
        while left and (part := file.read(min(left, 2**20))):
            parts.append(part)
            left -= len(part)
    if not left:
        raise OSError(errno.EFBIG, f"it has more than {bytes_text(most_bytes)}", str(path))
    return b"".join(parts)
