"""SHA-256 of files, read once as long as they stay the same."""

import hashlib
from functools import lru_cache
from pathlib import Path

from sightsize.base.reading import open_plain


def file_sha256(path: Path) -> str:
    """Return the SHA-256 of a plain file's bytes. Raises OSError, for anything else as well."""
    with open_plain(path) as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


Stamp = tuple[int, int, int, int]
"""Size, time, time of any change, and number of a file; the third cannot be put back."""


def stamp_of(path: Path) -> Stamp:
    """Return what tells whether a file is still the same. Raises OSError."""
    status = path.stat()
    return status.st_size, status.st_mtime_ns, status.st_ctime_ns, status.st_ino


def unchanged_sha256(path: Path) -> str:
    """Return the SHA-256 of a file, read once as long as its stamp stays the same."""
    return _sha256_of(path, stamp_of(path))


@lru_cache(maxsize=64)
def _sha256_of(path: Path, _stamp: Stamp) -> str:
    return file_sha256(path)
