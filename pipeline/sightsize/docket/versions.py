"""Dockets of earlier versions, brought to today's form.

A docket of version 1 knew one source and one master for each print, and its jobs had keys by names
that the schema now answers with others (``x-moved``).
"""

from typing import Any

from sightsize.base.schemas import RECIPE_TABLES, Node, child_node, schema

VERSION = 2
"""The version of the dockets that are written."""


def of_today(values: dict[str, Any]) -> dict[str, Any]:
    """Return a docket's values in today's form; what is not whole stays as it is."""
    prints = values.get("prints")
    if values.get("docket") != 1 or not isinstance(prints, list):
        return values
    return {**values, "docket": VERSION, "prints": [_from_version_1(each) for each in prints]}


def _from_version_1(record: Any) -> Any:
    """A print's record with lists of sources and masters, its job in today's words."""
    if not isinstance(record, dict):
        return record
    picture = _picture_of(record.get("job"))
    kept = {key: each for key, each in record.items() if key not in ("source", "master")}
    for one, several in (("source", "sources"), ("master", "masters")):
        if isinstance(record.get(one), dict):
            kept[several] = [{"picture": picture, **record[one]}]
    if isinstance(kept.get("job"), dict):
        kept["job"] = _in_todays_tables(_in_todays_words(kept["job"], schema()))
    if isinstance(kept.get("profile"), dict) and kept["profile"].get("name") == "gray":
        kept["profile"] = {**kept["profile"], "name": "grey"}
    return kept


def _picture_of(job: Any) -> str:
    """The name of the one picture of a print's own job."""
    pictures = job.get("pictures") if isinstance(job, dict) else None
    return next(iter(pictures), "") if isinstance(pictures, dict) else ""


def _in_todays_words(value: Any, node: Node) -> Any:
    """A value of a job with the keys and the words that have moved since under their new names."""
    moved = node.get("x-moved", {})
    if isinstance(value, dict):
        named = {moved.get(key, key): child for key, child in value.items()}
        return {key: _in_todays_words(child, child_node(node, key)) for key, child in named.items()}
    if isinstance(value, list):
        return [_in_todays_words(each, child_node(node, 0)) for each in value]
    return moved.get(value, value) if isinstance(value, str) else value


def _in_todays_tables(job: dict[str, Any]) -> dict[str, Any]:
    """A job with each key that has a full name by now, ``limits.seconds`` say, in its table."""
    tables = {name: job[name] for name in RECIPE_TABLES if isinstance(job.get(name), dict)}
    placed = dict(job)
    for name, table in tables.items():
        placed[name] = {key: each for key, each in table.items() if "." not in key}
        for full in table.keys() - placed[name].keys():
            home, _, key = full.partition(".")
            placed[home] = {**placed.get(home, {}), key: table[full]}
    return placed
