"""A job file held against the schema: its values, read, or everything that is wrong with them."""

import re
from collections.abc import Iterator
from functools import cache
from math import isnan
from typing import Any, cast

from jsonschema import Draft202012Validator, ValidationError

from sightsize.base.findings import Finding, KeyPath, key_text, nearest
from sightsize.base.paths import has_controls
from sightsize.base.schemas import (
    RECIPE_TABLES,
    Node,
    follow,
    holds_tables,
    moved_names,
    node_at,
    schema,
    table_node,
)
from sightsize.errors import JobError
from sightsize.job.messages import (
    in_brackets,
    missing_keys,
    one_of,
    say,
    say_unreadable,
    show,
    table_header,
)
from sightsize.job.toml_file import Document
from sightsize.job.values import Table, Unreadable, read_values

_NO_CONTROLS = "this text contains a control character; remove it."
_IN_PRINT = "write {} below the print's [[prints]]"


def validate(document: Document, check_ids: frozenset[str]) -> Table:
    """Return the values of a document with their texts read.

    Raises JobError with every finding, in the order of the file. ``check_ids`` are the ids that
    ``checks.accept`` may name.
    """
    values, unreadable = read_values(document.values, check_ids)
    findings = _all_findings(document, unreadable)
    if findings:
        raise JobError(sorted(findings, key=lambda finding: (finding.line, finding.column)))
    return values


def _all_findings(document: Document, unreadable: list[Unreadable]) -> list[Finding]:
    findings = [_unreadable_finding(document, each) for each in unreadable]
    for error in Draft202012Validator(schema()).iter_errors(document.values):
        findings += _findings(document, error)
    # The schema reports each missing key by itself; one sentence names them all.
    findings = list(dict.fromkeys(findings))
    said = {(each.line, each.column) for each in findings}
    more = (
        grammar_finding(document, path, message)
        for path, message in _unsayable(document.values, ())
    )
    return findings + [each for each in more if (each.line, each.column) not in said]


def _unsayable(value: object, path: KeyPath) -> Iterator[tuple[KeyPath, str]]:
    """Yield where a document holds what TOML has, and no keyword of the schema keeps out."""
    if isinstance(value, dict):
        for key, child in value.items():
            if has_controls(key):
                yield (*path, key), _NO_CONTROLS
            yield from _unsayable(child, (*path, key))
    elif isinstance(value, list):
        for index, child in enumerate(value):
            yield from _unsayable(child, (*path, index))
    elif isinstance(value, float) and isnan(value):
        yield path, "found nan, which is not a number; write a number."
    elif isinstance(value, str) and has_controls(re.sub(r"[\t\r\n]", "", value)):
        yield path, _NO_CONTROLS


def _unreadable_finding(document: Document, unread: Unreadable) -> Finding:
    message, allowed = say_unreadable(unread.why, unread.format)
    return grammar_finding(document, unread.path, message, allowed=allowed, found=show(unread.text))


def _findings(document: Document, error: ValidationError) -> Iterator[Finding]:
    path: KeyPath = tuple(error.absolute_path)
    points = _flat_points(document, error)
    if error.validator == "additionalProperties":
        yield from _unknown_keys(document, error, path)
    elif points:
        numbers = _value_at(document.values, points)
        message = f"found {show(numbers)}; {in_brackets(numbers)}"
        yield grammar_finding(document, points, message)
    elif error.validator != "required" or missing_keys(error):
        message, allowed = say(error)
        yield grammar_finding(document, path, message, allowed=allowed, found=show(error.instance))


def _flat_points(document: Document, error: ValidationError) -> KeyPath:
    """Return the path of a list of numbers where points should be, if an error is about one."""
    path: KeyPath = tuple(error.absolute_path)
    if error.validator == "type" and path and isinstance(path[-1], int):
        path = path[:-1]
    elif error.validator not in ("minItems", "maxItems"):
        return ()
    item = follow(node_at(path).get("items", {}))
    numbers = _value_at(document.values, path)
    flat = all(isinstance(each, int | float) for each in numbers) and len(numbers) > 0
    return path if flat and item.get("type") == "array" else ()


def grammar_finding(
    document: Document,
    path: KeyPath,
    message: str,
    *,
    found: str = "",
    allowed: str = "",
    nearest: str = "",
) -> Finding:
    """Return a finding about a key of a document, placed where the key stands."""
    place = document.place(path)
    return Finding(
        level="refuse",
        check="grammar",
        message=message,
        found=found,
        allowed=allowed,
        nearest=nearest,
    ).at(str(document.path), place.line, place.column, key_text(path))


def _unknown_keys(document: Document, error: ValidationError, path: KeyPath) -> Iterator[Finding]:
    node = cast(Node, error.schema)
    known = list(node.get("properties", {}))
    for key in cast(Node, error.instance):
        if key not in known:
            message, guess = _say_unknown(document, node, (*path, key))
            yield grammar_finding(
                document, (*path, key), message, found=key, allowed=", ".join(known), nearest=guess
            )


def _say_unknown(document: Document, node: Node, path: KeyPath) -> tuple[str, str]:
    """Return the sentence for a key that its table does not have, and what was probably meant."""
    *table, key = cast(tuple[str, ...], path)
    known = list(node.get("properties", {}))
    guess = _home(key) or nearest(key, known)
    if key in node.get("x-later", ()):
        return "not available in this version yet; remove the key.", guess
    if key in node.get("x-moved", {}):
        return f"this key is now called {node['x-moved'][key]!r}.", node["x-moved"][key]
    if key in _moved_keys():
        return _say_moved_key(document, path, _moved_keys()[key])
    place = _picture_place(document, path, key)
    if place:
        return f"unknown key here; it belongs to a picture: write {place}.", guess
    if key == "ladder":
        return f"unknown key here; it belongs to a print: {_IN_PRINT.format(key)}.", guess
    if key in RECIPE_TABLES:
        return (
            f"unknown key here; put {key} at the top of the job, above the first [table] or "
            f"as [{key}], or in a recipe, a frame or a print."
        ), guess
    if guess:
        return f"unknown key; did you mean {guess!r}?", guess
    return f"unknown key; {'this table' if table else 'a job file'} takes {one_of(known)}.", ""


@cache
def _moved_keys() -> dict[str, str]:
    """The keys of earlier versions, each with the full name of today."""
    return {old.rpartition(".")[2]: key for old, new, key in moved_names() if new == key}


def _say_moved_key(document: Document, path: KeyPath, today: str) -> tuple[str, str]:
    """Return the sentence for a renamed key in a table that never had it, and the key of today."""
    home, _, name = today.rpartition(".")
    if home == "pictures.NAME":
        today = _write_picture_key(document, path, name)
        owner, place = "a picture", f"write it as {today}"
    elif home == "prints":
        owner, place = "a print", _IN_PRINT.format(name)
    else:
        owner, place = home, f"write it as {today}"
    return f"{path[-1]} is now called {name}, and it belongs to {owner}: {place}.", today


def _picture_place(document: Document, path: KeyPath, key: str) -> str:
    """Return where a picture's key stands that was written elsewhere in the job, or nothing."""
    of_picture = key in table_node("picture")["properties"]
    of_print = key in table_node("print")["properties"]
    in_level = len(path) == 1 or (len(path) == 3 and path[0] in ("prints", "recipes", "frames"))
    return (
        _write_picture_key(document, path, key) if of_picture and not of_print and in_level else ""
    )


def _write_picture_key(document: Document, path: KeyPath, key: str) -> str:
    """Return a picture's key in full, by the name of the picture that it is probably about."""
    pictures = document.values.get("pictures", {})
    names = list(pictures) if isinstance(pictures, dict) else []
    if path[0] == "prints" and len(path) > 2:
        named = _value_at(document.values, path[:2]).get("picture", "")
        names = [named] if named and isinstance(named, str) else names
    elif path[0] == "pictures" and len(path) > 2:
        names = [path[1]]
    header = table_header(("pictures", names[0] if len(names) == 1 else "NAME"))
    child = follow(table_node("picture")["properties"][key])
    return f"[[{header}.{key}]]" if holds_tables(child) else f"{header}.{key}"


def _home(key: str) -> str:
    """Return the full name of a key that stands in the wrong table, when only one table has it."""
    if key in RECIPE_TABLES:
        return ""
    homes = [name for name in RECIPE_TABLES if key in table_node(name)["properties"]]
    return f"{homes[0]}.{key}" if len(homes) == 1 else ""


def _value_at(values: Any, path: KeyPath) -> Any:
    for part in path:
        values = values[part]
    return values
