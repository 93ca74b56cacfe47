"""The job in a print's record: whether it makes that print again, and nothing but that.

A docket may have been edited, or come from a stranger. The rest of a job is judged as it is loaded.
"""

from pathlib import Path
from typing import Any

from sightsize.docket.store import Record
from sightsize.errors import FileNameError
from sightsize.plan.file_names import fill_template

_TABLES = ("delivery", "sharpen", "pictures")
"""Tables of a job that are looked into before it is loaded."""
_PRINT_KEYS = {"picture", "copies", "frame"}
_ENDINGS = {"jpeg": ".jpg", "tiff": ".tif"}


def why_unusable(record: Record, *, match: bool) -> str:
    """Return why a record's job cannot make its print again; nothing when it can, or may.

    With ``match`` the print is made from its masters.
    """
    if len(record["sources"]) > 1:
        said = "a sheet of several pictures cannot be made again from its docket yet"
        return f"{said}; make it with its job"
    (source,), own = record["sources"], record["job"]
    if not _has_tables(own) or list(own["pictures"]) != [source["picture"]]:
        return "its job in the docket is incomplete; fix it by hand"
    if not _prints_it(own, source["picture"]):
        return "its job in the docket makes other prints than this one; fix it by hand"
    if match and [each["picture"] for each in record.get("masters", [source])] != [
        source["picture"]
    ]:
        return "its masters in the docket are not those of its picture; fix them by hand"
    return _why_another_name(record["file"], own["delivery"])


def _has_tables(own: dict[str, Any]) -> bool:
    tables = all(isinstance(own.get(key), dict) for key in _TABLES)
    return (
        tables
        and isinstance(own["delivery"].get("profile"), str)
        and all(isinstance(each, dict) for each in own["pictures"].values())
    )


def _prints_it(own: dict[str, Any], picture: str) -> bool:
    """Whether a job has one print, of the one picture: no pattern of files, and no ladder."""
    match own.get("prints"):
        case [dict() as one]:
            return one.keys() <= _PRINT_KEYS and one.get("picture") == picture
    return False


def _why_another_name(file: str, delivery: dict[str, Any]) -> str:
    stem, ending = Path(file).stem, Path(file).suffix
    if ending != _ENDINGS.get(str(delivery.get("format"))):
        return f"its job in the docket does not make a {ending} file; fix delivery.format by hand"
    try:
        name = fill_template(stem, {})
    except FileNameError as error:
        return f"{error}; it cannot be made again under this name"
    return "" if name == stem else f"the name {stem!r} is none that prints have; fix it by hand"


def own_job(record: Record) -> dict[str, Any]:
    """Return a record's job under the name of its print, whatever else it says."""
    own = record["job"]
    return {**own, "delivery": {**own["delivery"], "name": Path(record["file"]).stem}}
