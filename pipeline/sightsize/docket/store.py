"""The docket: what a run leaves beside its prints, enough to make each of them again.

It is TOML for people and for programs, one table a print in the order in which they were made. A
run notes each print as it is finished in a hidden file beside it, and writes the docket itself when
it ends. A run that was killed leaves its notes, which are read with the docket and written into it
by the next run.
"""

import os
from collections.abc import Iterable, Mapping
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Self

from sightsize.base.atomic import write_whole
from sightsize.base.findings import key_text
from sightsize.docket import docket_file, hidden_file
from sightsize.docket.docket_file import NAME, Contents, Text, record_shape
from sightsize.docket.versions import Record, without_serials
from sightsize.errors import DocketError, SightsizeError, reason_of

__all__ = ["NAME", "Docket", "Record", "relative"]

_KEPT = ("measured", "masters")
"""What a record hands on to one of the same print."""
_MOST_SAID = 5


class Docket:
    """The records of a folder, by file name.

    A run that notes prints enters it, and closes it when it ends, in whatever way. Without that it
    is only read.
    """

    def __init__(self, path: Path, *, whole: bool = True) -> None:
        """Read a docket; one that is not there has no records. Raises DocketError.

        Unless it must be ``whole``, records that are spoilt stop no other; ``faults`` are sentences
        about them.
        """
        self.path = path
        self._hidden = path.with_name(hidden_file.NAME)
        # It is read first: a run that ends meanwhile writes the docket before it.
        hidden = hidden_file.read_hidden(self._hidden)
        standing = docket_file.read_text(path)
        mirrored = hidden.mirrored(standing.sha256)
        self._is_mirrored = mirrored is not None
        contents = _parsed(path, standing) if mirrored is None else Contents(mirrored)
        self._sha256, self._standing, self.faults = standing.sha256, *contents
        if whole:
            _refuse_faults(self.faults)
        self._noted = hidden.noted()
        self._goes_on = hidden.is_ours
        self._blocks: dict[str, tuple[Record, str]] = {}
        self.records = _laid_over(self._standing, self._noted)

    def __enter__(self) -> Self:
        """Begin to note prints. Raises DocketError where a file of the docket is a link."""
        hidden_file.refuse_links(self.path, self._hidden)
        hidden_file.refuse_strange(self._hidden)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        """Close the docket, whatever has ended the run."""
        self.close()

    def note(self, record: Record) -> None:
        """Note a print, in place of an earlier one of its name, and have that on the disk.

        What somebody measured on the earlier print is kept when the new one has the same pixels.
        Its masters are kept when it is the same print and none were made with the new one. Raises
        OSError, and DocketError for a record that could not be read again.
        """
        fault = record_shape().fault(record)
        if fault is not None:
            raise DocketError(f"{key_text(fault[0])}: {fault[1]}")
        if not (self._goes_on and hidden_file.append(self._hidden, record)):
            hidden_file.write_hidden(self._hidden, "", (), [*self._noted, record])
            self._goes_on = True
        self._noted.append(record)
        _lay_over(self.records, record)
        self._block(self.records[record["file"]])

    def close(self) -> None:
        """Write what was noted into the docket as it stands now, and its mirror.

        Raises SightsizeError where that cannot be; what was noted then stays in the hidden file.
        """
        try:
            if self._noted or self._holds_serials():
                self._write()
            elif self._sha256 and not self._is_mirrored:
                self._write_mirror()
        except DocketError as error:
            raise SightsizeError(f"{error}; {self._say_kept()}") from error
        except OSError as error:
            why = f"{self.path} cannot be written ({reason_of(error)})"
            raise SightsizeError(f"{why}; {self._say_kept()}") from error

    def _holds_serials(self) -> bool:
        return any(each is not without_serials(each) for each in self._standing.values())

    def _say_kept(self) -> str:
        return f"what was made stays noted in {self._hidden.name}, and the next run writes it down"

    def _write(self) -> None:
        """Write the docket whole: what was noted laid over what stands in it by now."""
        hidden_file.refuse_links(self.path, self._hidden)
        _refuse_faults(self.faults)
        standing = docket_file.read_text(self.path)
        if standing.sha256 not in ("", self._sha256):
            contents = docket_file.parse(self.path, standing.text)
            _refuse_faults(contents.faults)
            self._standing = contents.records
        kept = docket_file.standing_blocks(standing.text, self._standing)
        self.records = {}
        for name, record in _laid_over(self._standing, self._noted).items():
            self.records[name] = without_serials(record)
            if self.records[name] is not self._standing.get(name) or name not in kept:
                kept[name] = self._block(self.records[name])
        whole = docket_file.docket_text(kept[name] for name in self.records)
        write_whole(self.path, whole.text.encode())
        self._sha256, self._standing, self._noted = whole.sha256, dict(self.records), []
        self._write_mirror()

    def _write_mirror(self) -> None:
        """Write the mirror; without one the docket itself is read, and what is noted laid over."""
        with suppress(OSError):
            hidden_file.write_hidden(self._hidden, self._sha256, self.records.values())
            self._is_mirrored = self._goes_on = True

    def _block(self, record: Record) -> str:
        """A record as it is written, which is worked out once for each."""
        name = record["file"]
        if name not in self._blocks or self._blocks[name][0] != record:
            self._blocks[name] = record, docket_file.block_of(record)
        return self._blocks[name][1]


def _parsed(path: Path, standing: Text) -> Contents:
    return docket_file.parse(path, standing.text) if standing.sha256 else Contents({})


def _refuse_faults(faults: tuple[str, ...]) -> None:
    if faults:
        more = [f"and {len(faults) - _MOST_SAID} more"] if len(faults) > _MOST_SAID else []
        raise DocketError("\n".join([*faults[:_MOST_SAID], *more]))


def _laid_over(standing: Mapping[str, Record], noted: Iterable[Record]) -> dict[str, Record]:
    """The records of a docket with what was noted since, in the order in which prints were made."""
    records = dict(standing)
    for record in noted:
        _lay_over(records, record)
    return records


def _lay_over(records: dict[str, Record], record: Record) -> None:
    """Put a record in place of an earlier one of its name, and take over what is still true."""
    before = records.pop(record["file"], {})
    if before.get("identity") == record["identity"]:
        record = {key: before[key] for key in _KEPT if key in before} | record
    elif "measured" in before and _has_pixels_of(before, record):
        record = {"measured": before["measured"]} | record
    records[record["file"]] = record


def _has_pixels_of(before: Record, record: Record) -> bool:
    return bool(before["output"]["pixels_sha256"] == record["output"]["pixels_sha256"])


def relative(path: Path, folder: Path) -> str:
    """Return how a path is written in a docket: from the docket's folder, with forward slashes."""
    try:
        return Path(os.path.relpath(path, folder)).as_posix()
    except ValueError:  # another drive
        return path.as_posix()
