"""``.docket.json``: the mirror of a docket, and the journal of the run that adds to it.

Each line is a table in JSON. The first says by its hash which docket is mirrored; then come the
records of that docket, read some twenty times faster than TOML, and the prints that a run has noted
and that are not in the docket yet. What is noted is appended, so that a print costs the same in a
folder of ten and of ten thousand. A line is begun, not ended, by its newline: one that was cut off
spoils no other.
"""

import errno
import json
import os
import re
import stat
from collections.abc import Iterable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any, NamedTuple

from sightsize.base.atomic import write_whole
from sightsize.base.reading import open_plain, read_plain
from sightsize.docket.docket_file import MOST_BYTES, record_shape
from sightsize.docket.versions import VERSION, Record
from sightsize.errors import DocketError

NAME = ".docket.json"
_MIRRORED, _NOTED = "print", "noted"


class Hidden(NamedTuple):
    """What stands in the file; ``is_ours`` is False where it cannot be gone on with."""

    is_ours: bool = False
    mirrors: str = ""
    prints: int = 0
    lines: tuple[str, ...] = ()

    def mirrored(self, sha256: str) -> dict[str, Record] | None:
        """Return the records of the docket of a hash, None when another one is mirrored.

        They are held to the same rules as the docket.
        """
        if not sha256 or self.mirrors != sha256:
            return None
        records = [_record(line, _MIRRORED) for line in self._of(_MIRRORED)]
        found = {each["file"]: each for each in records if each is not None}
        return found if len(found) == len(records) == self.prints else None

    def noted(self) -> list[Record]:
        """Return the prints that were noted and are not in the docket, in their order."""
        records = (_record(line, _NOTED) for line in self._of(_NOTED))
        return [each for each in records if each is not None]

    def _of(self, key: str) -> Iterator[str]:
        return (line for line in self.lines if line.startswith(f'{{"{key}": '))


def read_hidden(path: Path) -> Hidden:
    """Return what stands in the file; it may be missing, damaged, or another program's."""
    try:
        text = read_plain(path, 2 * MOST_BYTES).decode("utf-8", "replace")
    except OSError:
        return Hidden()
    first, *lines = text.split("\n")
    head = _loaded(first)
    if not isinstance(head, dict) or head.get("docket") != VERSION:
        return Hidden()
    return Hidden(True, str(head.get("mirrors")), head.get("prints", 0), tuple(lines))


def _loaded(line: str) -> Any:
    try:
        return json.loads(line)
    except (ValueError, RecursionError):
        return None


def _record(line: str, key: str) -> Record | None:
    """The record of a line, None when the line was cut off or holds another thing."""
    table = _loaded(line)
    record = table.get(key) if isinstance(table, dict) else None
    return None if record_shape().fault(record) else record


def append(path: Path, record: Record) -> bool:
    """Note a print in the file and have it on the disk; return whether there is such a file.

    Raises OSError.
    """
    flags = os.O_WRONLY | os.O_APPEND | getattr(os, "O_BINARY", 0)
    careful = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
    try:
        descriptor = os.open(path, flags | careful)
    except FileNotFoundError:
        return False
    with os.fdopen(descriptor, "ab") as file:
        status = os.fstat(descriptor)
        if not stat.S_ISREG(status.st_mode) or status.st_nlink > 1:
            raise OSError(errno.EINVAL, f"{path.name} is not a plain file of its own")
        if status.st_size > MOST_BYTES:
            raise OSError(errno.EFBIG, f"{path.name} holds too many prints")
        file.write(f"\n{_line(_NOTED, record)}".encode())
        file.flush()
        os.fsync(descriptor)
    return True


def write_hidden(
    path: Path, mirrors: str, mirrored: Iterable[Record], noted: Iterable[Record] = ()
) -> None:
    """Write the file anew. Raises OSError."""
    prints = [_line(_MIRRORED, each) for each in mirrored]
    head = json.dumps({"docket": VERSION, "mirrors": mirrors, "prints": len(prints)})
    lines = [head, *prints, *(_line(_NOTED, each) for each in noted)]
    write_whole(path, "\n".join(lines).encode())


def _line(key: str, record: Record) -> str:
    return json.dumps({key: record})


def refuse_strange(path: Path) -> None:
    """Raise DocketError for a file that no run wrote; an empty one, or one cut off, is ours."""
    try:
        with open_plain(path) as file:
            begin = file.read(len(_BEGIN))
    except OSError:
        return  # what cannot be read is told when it is to be written
    if not (_BEGIN.startswith(begin) or re.match(rb"\[\d", begin)):
        raise DocketError(f"{path} is not a file that a run wrote; move it away")


_BEGIN = b'{"docket": '
"""A mirror of an earlier version begins as a list of numbers."""


def refuse_links(*paths: Path) -> None:
    """Raise DocketError for a file that is to be written and is a link, or none at all."""
    for path in paths:
        with suppress(FileNotFoundError, NotADirectoryError):
            status = path.lstat()
            if stat.S_ISLNK(status.st_mode) or (
                stat.S_ISREG(status.st_mode) and status.st_nlink > 1
            ):
                raise DocketError(f"{path} is a link to another file; remove the link")
            if not stat.S_ISREG(status.st_mode):
                raise DocketError(f"{path} is not a plain file; move it away")
