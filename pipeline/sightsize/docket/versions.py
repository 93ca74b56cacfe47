"""Dockets of earlier versions, brought to today's form.

A docket of version 1 knew one source and one master for each print.
"""

from typing import Any


def of_today(values: dict[str, Any]) -> dict[str, Any]:
    """Return a docket's values in today's form; what is not whole stays as it is."""
    prints = values.get("prints")
    if values.get("docket") != 1 or not isinstance(prints, list):
        return values
    return {**values, "docket": 2, "prints": [_from_version_1(each) for each in prints]}


def _from_version_1(record: Any) -> Any:
    """A print's record with lists of sources and masters."""
    if not isinstance(record, dict):
        return record
    picture = _picture_of(record.get("job"))
    kept = {key: each for key, each in record.items() if key not in ("source", "master")}
    for one, several in (("source", "sources"), ("master", "masters")):
        if isinstance(record.get(one), dict):
            kept[several] = [{"picture": picture, **record[one]}]
    return kept


def _picture_of(job: Any) -> str:
    """The name of the one picture of a print's own job."""
    pictures = job.get("pictures") if isinstance(job, dict) else None
    return next(iter(pictures), "") if isinstance(pictures, dict) else ""
