"""Texts and numbers in a TIFF structure (TIFF 6.0), as Exif blocks and most raw files are too."""

import struct
from collections.abc import Iterator, Mapping
from typing import BinaryIO

_TEXT_KINDS = (2, 129)
"""ASCII of TIFF 6.0 and UTF-8 of Exif 3.0 (the latter from memory)."""
_SHORT, _LONG = 3, 4
_EXIF_DIRECTORY = 0x8769
_MOST_ENTRIES = 1000
_LONGEST_READ = 2**20

Entry = tuple[int, int, int, int, int]


def text_places(file: BinaryIO, names: Mapping[int, str]) -> Iterator[tuple[str, int, int]]:
    """Yield name, offset and length of each text whose tag has a name.

    The first directory is read, and the Exif directory that it points to.
    """
    head = file.read(8)
    order = {b"II*\0": "<", b"MM\0*": ">"}.get(head[:4])
    if order is None:
        return
    entries: list[Entry] = []
    try:
        (directory,) = struct.unpack(order + "I", head[4:])
        entries += _entries(file, order, directory)
        for nested in [each[3] for each in entries if each[:2] == (_EXIF_DIRECTORY, _LONG)][:1]:
            entries += _entries(file, order, nested)
    except struct.error:
        pass  # what came before the damage counts
    for tag, kind, length, offset, inline in entries:
        if tag in names and kind in _TEXT_KINDS and 0 < length <= _LONGEST_READ:
            # A text of up to four bytes stands in the entry itself.
            yield names[tag], inline if length <= 4 else offset, length


def whole_number(file: BinaryIO, tag: int) -> int | None:
    """Return the number under a tag of the first directory; None where there is none such."""
    head = file.read(8)
    order = {b"II*\0": "<", b"MM\0*": ">"}.get(head[:4])
    if order is None:
        return None
    try:
        (directory,) = struct.unpack(order + "I", head[4:])
        for found, kind, count, value, place in _entries(file, order, directory):
            if found == tag and count == 1 and kind in (_SHORT, _LONG):
                file.seek(place)
                return value if kind == _LONG else int(struct.unpack(order + "H", file.read(2))[0])
    except struct.error:
        pass
    return None


def _entries(file: BinaryIO, order: str, directory: int) -> list[Entry]:
    """Tag, kind, count and value of each entry of a directory, and where the value stands."""
    file.seek(directory)
    (count,) = struct.unpack(order + "H", file.read(2))
    table = file.read(12 * min(count, _MOST_ENTRIES))
    return [
        (*struct.unpack_from(order + "HHII", table, at), directory + 2 + at + 8)
        for at in range(0, len(table) - 11, 12)
    ]


def texts(file: BinaryIO, names: Mapping[int, str]) -> dict[str, str]:
    """Return the texts whose tags have names."""
    found = {}
    for name, offset, length in list(text_places(file, names)):
        file.seek(offset)
        found[name] = decoded_text(file.read(length))
    return found


def decoded_text(raw: bytes) -> str:
    """Return the text of a tag: UTF-8 as most programs write, Latin-1 where it is not."""
    raw = raw.split(b"\0")[0]
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        return raw.decode("latin-1")
