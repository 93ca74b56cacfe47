"""Where the source of a print is now: the very bytes that it was made from."""

import os
import stat
from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from itertools import chain
from pathlib import Path
from typing import Any

from sightsize.base.hashes import file_sha256
from sightsize.base.paths import follow_links, is_folder
from sightsize.errors import UsageError


class Search:
    """Folders in which sources are looked for, each read once, when the first is missing."""

    def __init__(self, folders: Sequence[Path]) -> None:
        """Take the folders. Raises UsageError for what is none."""
        for each in folders:
            if not is_folder(each):
                raise UsageError(f"{each} is not a folder; name one that holds the sources")
        self._folders = [follow_links(each) for each in folders]

    def find(self, folder: Path, wanted: Mapping[str, Any]) -> Path | None:
        """Return a source as a record names it, from the docket's folder; None when it is lost."""
        where_it_was = follow_links(folder / wanted["path"])
        for path in chain([where_it_was], self._of_size(wanted["bytes"])):
            if _plain_bytes(path) == wanted["bytes"] and _sha256_of(path) == wanted["sha256"]:
                return path
        return None

    def _of_size(self, size: int) -> Iterator[Path]:
        yield from self._by_size.get(size, ())

    @cached_property
    def _by_size(self) -> dict[int, list[Path]]:
        """The plain files of the folders by their size; folders that are links are left out."""
        found: dict[int, list[Path]] = {}
        for folder in self._folders:
            for place, folders, names in os.walk(folder):
                folders.sort()
                for path in (Path(place, name) for name in sorted(names)):
                    size = _plain_bytes(path)
                    if size is not None:
                        found.setdefault(size, []).append(path)
        return found


def _plain_bytes(path: Path) -> int | None:
    """The size of a plain file, None for anything else, also for what is out of reach."""
    try:
        status = path.stat()
    except (OSError, ValueError):
        return None
    return status.st_size if stat.S_ISREG(status.st_mode) else None


def _sha256_of(path: Path) -> str:
    try:
        return file_sha256(path)
    except OSError:
        return ""
