"""Records of earlier versions, brought to today's form.

A docket of version 1 knew one source and one master for each print, and its jobs had keys by names
that the schema now answers with others (``x-moved``). Version 2 kept the serial number of a camera
unasked, at first.
"""

from datetime import date, datetime
from typing import Any

from sightsize.base.schemas import RECIPE_TABLES, Node, child_node, schema

Record = dict[str, Any]

VERSION = 2
"""The version of the dockets that are written."""
READ = (1, 2)
"""The versions of the dockets that are read."""


def of_today(record: Any, version: int) -> Any:
    """Return a print's record in today's form; what is not whole stays as it is.

    A date that somebody wrote without quotes, as TOML has them, is the text it looks like.
    """
    if not isinstance(record, dict):
        return record
    measured = record.get("measured")
    if isinstance(measured, dict) and isinstance(measured.get("on"), date):
        on = measured["on"].date() if isinstance(measured["on"], datetime) else measured["on"]
        record = {**record, "measured": {**measured, "on": on.isoformat()}}
    return _from_version_1(record) if version == 1 else record


def _from_version_1(record: Record) -> Record:
    """A print's record with lists of sources and masters, its job in today's words."""
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
            if isinstance(placed.get(home, {}), dict):
                placed[home] = {**placed.get(home, {}), key: table[full]}
    return placed


def without_serials(record: Record) -> Record:
    """Return a record without the serial numbers of cameras, unless its job keeps them.

    It is the same one when it holds none.
    """
    delivery = record["job"].get("delivery")
    asked = isinstance(delivery, dict) and delivery.get("serial_numbers") is True
    if asked or not any(each["header"].get("camera_serial") for each in record["sources"]):
        return record
    sources = [{**each, "header": _without_serial(each["header"])} for each in record["sources"]]
    return {**record, "sources": sources}


def _without_serial(header: dict[str, Any]) -> dict[str, Any]:
    """A header that leaves it open whether there is a serial number."""
    if not header.get("camera_serial"):
        return header
    return {key: each for key, each in header.items() if key != "camera_serial"}
