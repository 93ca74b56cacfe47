"""The cascade of settings: schema default < job < recipe < frame < print, merged key by key."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from sightsize.base.findings import KeyPath
from sightsize.base.schemas import RECIPE_TABLES, table_node
from sightsize.job.values import table_defaults


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
        for other in _replaced_by(str(path[-1]), key):
            table.pop(other, None)
    for key, value in given.items():
        table[key] = value
        origins[f"{path[-1]}.{key}"] = (*path, key)


@cache
def _replaced_by(table: str, key: str) -> tuple[str, ...]:
    """What a key takes away from the levels before: what excludes it, or only changed it."""
    return tuple(table_node(table)["properties"][key].get("x-replaces", ()))
