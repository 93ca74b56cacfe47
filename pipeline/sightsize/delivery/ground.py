"""Where a print may be written: the one guard before a print or a master gets its name.

Nothing that stands under a name is written over, unless the docket calls it ours and the command
says so. A source, a job or a profile never is, and no link is followed.
"""

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from sightsize.base.atomic import Put, put_all
from sightsize.base.hashes import file_sha256
from sightsize.base.paths import follow_links, is_file, places
from sightsize.errors import DeliveryError

Replace = Literal["nothing", "unaltered", "altered too"]
"""Which of the files that the docket calls ours may be written over."""


@dataclass(frozen=True)
class Noted:
    """What the docket has of a print of this name: its identity, and its files with their SHA-256.

    The files are the print's and its masters', by their paths.
    """

    identity: str
    files: Mapping[Path, str]


@dataclass(frozen=True, kw_only=True)
class Ground:
    """A folder for prints, its links followed, and what stands there that must be left alone.

    ``protected`` are files that are never written over, by their resolved paths, each with what it
    is: ``a source picture of this job``.
    """

    folder: Path
    protected: Mapping[Path, str] = field(default_factory=dict)
    noted: Noted | None = None
    replace: Replace = "nothing"

    def refuse_protected(self, target: Path) -> None:
        """Raise DeliveryError where a file of this name would be written over one to protect."""
        for each in places(target):
            if each in self.protected:
                raise DeliveryError(
                    f"{self._shown(target)} is {self.protected[each]}; choose another name"
                )

    def refuse_strange(self, target: Path) -> None:
        """Raise DeliveryError unless there is nothing under a name, or what may be written over."""
        if os.path.lexists(target):
            self._require_ours(target, self._read(target))

    def is_altered(self, path: Path, identity: str) -> bool:
        """Whether a file of the print of this identity is not as the docket says it was made."""
        noted = self.noted
        if noted is None or noted.identity != identity or path not in noted.files:
            return False
        return file_sha256(path) != noted.files[path]

    def put(self, parts: Sequence[Path], targets: Sequence[Path]) -> None:
        """Give files their names, all or none of those that are new; one that is there is left.

        Raises DeliveryError where anything else stands under a name.
        """
        puts = [self._decide(*each) for each in zip(parts, targets, strict=True)]
        try:
            put_all([each for each in puts if each is not None])
        except FileExistsError as error:
            name = self._shown(Path(error.filename))
            raise DeliveryError(
                f"another file took the name {name} while the print was made; move it away"
            ) from None

    def _decide(self, part: Path, target: Path) -> Put | None:
        """How a file gets its name; None where the very same bytes stand there."""
        self._refuse_links(target)
        self.refuse_protected(target)
        if not os.path.lexists(target):
            return Put(part, target)
        standing = target.lstat()
        sha256 = self._read(target)
        if sha256 == file_sha256(part):
            return None
        self._require_ours(target, sha256)
        return Put(part, target, over=standing)

    def _read(self, target: Path) -> str:
        """The SHA-256 of what stands under a name."""
        if target.is_symlink() or not is_file(target):
            what = "a link" if target.is_symlink() else "not a plain file"
            raise DeliveryError(f"{self._shown(target)} is {what}; move it away")
        return file_sha256(target)

    def _require_ours(self, target: Path, sha256: str) -> None:
        """Refuse what is not in the docket, and what of it may not be written over."""
        name = self._shown(target)
        delivered = self.noted.files.get(target) if self.noted is not None else None
        if delivered is None:
            raise DeliveryError(f"{name} exists, but the docket does not have it; move it away")
        if sha256 != delivered and self.replace != "altered too":
            raise DeliveryError(
                f"{name} was changed after it was made; use --replace to make it again, or move it "
                "away"
            )
        if self.replace == "nothing":
            raise DeliveryError(
                f"{name} was made with other settings or by another version; use --redo to make it "
                "again, or move it away"
            )

    def _refuse_links(self, target: Path) -> None:
        if follow_links(target.parent) != target.parent:
            folder = self._shown(target.parent)
            raise DeliveryError(f"{folder} is a link by now; put a folder in its place")

    def _shown(self, path: Path) -> str:
        """A path as people look for it: from the folder of the prints, where it is inside."""
        inside = path != self.folder and path.is_relative_to(self.folder)
        return (path.relative_to(self.folder) if inside else path).as_posix()
