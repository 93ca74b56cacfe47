"""A job file held against the schema: its values, read, or everything that is wrong with them."""

import re
from collections.abc import Iterator
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
        if key in known:
            continue
        moved = node.get("x-moved", {}).get(key)
        guess = moved or _home(key) or nearest(key, known)
        place = _picture_place(document, path, key)
        if key in node.get("x-later", ()):
            message = "not available in this version yet; remove the key."
        elif moved:
            message = f"this key is now called {moved!r}."
        elif place:
            message = f"unknown key here; it belongs to a picture: write {place}."
        elif key in RECIPE_TABLES:
            message = (
                f"unknown key here; put {key} at the top of the job, above the first [table] or "
                f"as [{key}], or in a recipe, a frame or a print."
            )
        elif guess:
            message = f"unknown key; did you mean {guess!r}?"
        else:
            table = "this table" if path else "a job file"
            message = f"unknown key; {table} takes {one_of(known)}."
        yield grammar_finding(
            document, (*path, key), message, found=key, allowed=", ".join(known), nearest=guess
        )


def _picture_place(document: Document, path: KeyPath, key: str) -> str:
    """Return where a picture's key stands that was written in the job or a print, or nothing."""
    child = follow(table_node("picture")["properties"].get(key, {}))
    in_print = path[:1] == ("prints",) and len(path) == 2
    of_print = key in table_node("print")["properties"]
    if not child or of_print or (path and not in_print):
        return ""
    pictures = document.values.get("pictures", {})
    named = _value_at(document.values, path).get("picture", "")
    names = list(pictures) if isinstance(pictures, dict) else []
    names = [named] if named and isinstance(named, str) else names
    header = table_header(("pictures", names[0] if len(names) == 1 else "NAME"))
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
