"""SHA-256 of files, read once as long as they stay the same."""

import hashlib
from functools import lru_cache
from pathlib import Path

from sightsize.base.reading import open_plain


def file_sha256(path: Path) -> str:
    """Return the SHA-256 of a plain file's bytes. Raises OSError, for anything else as well."""
    with open_plain(path) as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def unchanged_sha256(path: Path) -> str:
    """Return the SHA-256 of a file, read once as long as its size and time stay the same."""
    status = path.stat()
    return _sha256_of(path, status.st_size, status.st_mtime_ns)


@lru_cache(maxsize=64)
def _sha256_of(path: Path, _bytes: int, _changed_ns: int) -> str:
    return file_sha256(path)
