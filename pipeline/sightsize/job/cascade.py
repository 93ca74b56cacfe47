"""The cascade of settings: schema default < job < recipe < frame < print, merged key by key."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from sightsize.base.findings import KeyPath
from sightsize.base.schemas import RECIPE_TABLES
from sightsize.job.values import table_defaults

_REPLACES = {
    "overlap": ("reveal",),
    "reveal": ("overlap",),
    "grade": ("split_grade",),
    "split_grade": ("grade",),
    "kind": ("hue", "chroma", "dark", "light"),
}
"""What a key takes away of the levels before: what excludes it, or only changed another value."""


@dataclass(frozen=True)
class Settings:
    """Merged tables of one print, and for each ``table.key`` the path that set it."""

    tables: Mapping[str, dict[str, Any]]
    mono_wanted: bool
    origins: Mapping[str, KeyPath] = field(default_factory=dict)


def merge(levels: list[tuple[KeyPath, Mapping[str, Any]]]) -> Settings:
    """Merge the recipe tables of ``levels``, weakest first, over the schema's defaults.

    Each level is the path of a table in the job file and its values.
    """
    tables = {name: table_defaults(name) for name in RECIPE_TABLES}
    origins: dict[str, KeyPath] = {}
    mono_wanted = False
    for path, values in levels:
        for name in RECIPE_TABLES:
            given = values.get(name)
            if given is None:
                continue
            if name == "mono":
                mono_wanted = given is not False
            if isinstance(given, dict):
                _lay_over(tables[name], given, (*path, name), origins)
    return Settings(tables, mono_wanted, origins)


def _lay_over(
    table: dict[str, Any], given: dict[str, Any], path: KeyPath, origins: dict[str, KeyPath]
) -> None:
    for key in given:
        for other in _REPLACES.get(key, ()):
            table.pop(other, None)
    for key, value in given.items():
        table[key] = value
        origins[f"{path[-1]}.{key}"] = (*path, key)
