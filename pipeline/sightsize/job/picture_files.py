"""The pictures of a job: files found by name or pattern, and what the job says of them.

Paths start at the job file's folder.
"""

import re
from collections.abc import Callable, Iterable, Mapping
from functools import cached_property
from glob import has_magic
from pathlib import Path
from typing import Any

from sightsize.base.findings import KeyPath, quoted_key
from sightsize.base.paths import NO_BACKSLASH, follow_links, is_file, is_folder, read_path
from sightsize.job.build import build
from sightsize.job.patterns import Patterns
from sightsize.job.values import Table
from sightsize.model.picture import Camera, Picture, Shade
from sightsize.model.settings import BUILT_IN_PROFILES

Refuse = Callable[[KeyPath, str], None]


def natural_order(name: str) -> tuple[list[tuple[int, int, str]], str]:
    """Return a sort key that puts ``2.jpg`` before ``10.jpg``, and both before ``a.jpg``."""
    parts = [part for part in re.split(r"(\d+)", name.casefold()) if part]
    numbers_first = [(0, int(part), "") if part.isdecimal() else (1, 0, part) for part in parts]
    # The name itself settles what differs only in case or in leading zeros.
    return numbers_first, name


def profile_of(profile: str, folder: Path) -> str:
    """Return a profile's name, or its path from the job file's folder in full."""
    return profile if profile in BUILT_IN_PROFILES else str(follow_links(folder / profile))


class Sources:
    """The pictures of a job's values; what is wrong with a print's is told to ``refuse``."""

    def __init__(self, values: Table, folder: Path, output: Path, refuse: Refuse) -> None:
        self._values = values
        self._folder = folder
        self._output = output
        self._refuse = refuse
        self._patterns = Patterns(folder)

    def find(self, path: KeyPath, pattern: str) -> list[Picture]:
        """Return the pictures that the ``source`` of the print at ``path`` finds, in order."""
        try:
            names = self._names(pattern)
        except ValueError as error:
            self._refuse((*path, "source"), f"{pattern!r}: {error}.")
            return []
        problem = self._problem(pattern, names)
        if problem:
            self._refuse((*path, "source"), problem)
        if is_folder(self._folder / pattern):
            return []
        return [
            self.picture(Path(name).stem, {**self._facts(path, name), "source": name})
            for name in sorted(names, key=natural_order)
            if self._has_a_name(path, name)
        ]

    def _names(self, pattern: str) -> list[str]:
        # A file whose name has brackets is meant as itself before it is read as a pattern.
        if is_file(self._folder / pattern) or not has_magic(pattern):
            return [pattern]
        return self._patterns.files(pattern)

    def _problem(self, pattern: str, names: list[str]) -> str:
        """Return what is wrong with what a pattern finds, or nothing."""
        if is_folder(self._folder / pattern):
            every = f"{pattern.rstrip('/')}/*.jpg"
            return f'{pattern!r} is a folder; for all its JPEGs, write "{every}".'
        if not names and "\\" in pattern:
            return f"no picture matches '{pattern}'; {NO_BACKSLASH}."
        if not names:
            return f"no picture matches {pattern!r}; paths are relative to the job file's folder."
        if has_magic(pattern) and self._in_output(names):
            return (
                f"{pattern!r} includes the output folder, so the next run would print its own "
                "prints; choose another job.output."
            )
        return ""

    def _in_output(self, names: Iterable[str]) -> bool:
        return any(follow_links(self._folder / name).parent == self._output for name in names)

    def _has_a_name(self, path: KeyPath, name: str) -> bool:
        """Whether a file that a pattern found has a name that can be shown and kept."""
        try:
            read_path(name)
        except ValueError as error:
            self._refuse((*path, "source"), f"{error}.")
            return False
        return True

    # What the job says of a file.

    def _facts(self, path: KeyPath, name: str) -> dict[str, Any]:
        """What a picture's table says of a file that a print names itself."""
        tables = self._tables_of(self._folder / name)
        if len(tables) > 1:
            which = " and ".join(f"pictures.{quoted_key(each)}" for each in tables)
            self._refuse(
                (*path, "source"),
                f"{which} both describe {name}; name one of them with picture =.",
            )
        return {**self._values["pictures"][tables[0]]} if tables else {}

    @cached_property
    def _described(self) -> dict[Path, list[str]]:
        """The names of the tables that describe each file, which few jobs need."""
        names: dict[Path, list[str]] = {}
        for name, table in self._values.get("pictures", {}).items():
            names.setdefault(follow_links(self._folder / table["source"]), []).append(name)
        return names

    def _tables_of(self, source: Path) -> list[str]:
        """The names of the tables that describe a file."""
        return self._described.get(follow_links(source), []) if self._described else []

    def table_of(self, entry: Mapping[str, Any], picture: Picture) -> str | None:
        """Return the name of the table that describes a print's picture, if any."""
        if "picture" in entry:
            return str(entry["picture"])
        return next(iter(self._tables_of(picture.source)), None)

    def picture(self, name: str, table: Table) -> Picture:
        """Return a picture by its table, which names its file."""
        assume = table.get("assume_profile")
        middle = {} if "centre_on" in table else {"centre_on": None}
        return build(
            Picture,
            "picture",
            table,
            name=name,
            source=self._folder / table["source"],
            assume_profile=profile_of(assume, self._folder) if assume else None,
            cameras=self._cameras(table.get("camera")),
            shades=tuple(_shades(table)),
            **middle,
        )

    def _cameras(self, name: str | None) -> tuple[Camera, ...]:
        """The camera a picture names, which then needs no match, or all with one to match."""
        cameras = self._values.get("cameras", {})
        if name is not None:
            named = {"dust": cameras[name].get("dust", [])}
            return (build(Camera, "camera", named, name=name),)
        return self._cameras_to_match

    @cached_property
    def _cameras_to_match(self) -> tuple[Camera, ...]:
        cameras = self._values.get("cameras", {})
        every = [build(Camera, "camera", table, name=each) for each, table in cameras.items()]
        return tuple(camera for camera in every if camera.model or camera.serial)


def _shades(table: Table) -> list[Shade]:
    """A picture's dodges, and its burns, which are written positive too."""
    return [
        build(Shade, "shade", each, stops=sign * float(each["stops"]))
        for key, sign in (("dodge", 1), ("burn", -1))
        for each in table.get(key, [])
    ]
