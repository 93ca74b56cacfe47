"""A job file held against the schema: its values, read, or everything that is wrong with them."""

import re
from collections.abc import Callable, Iterator
from functools import cache, partial
from itertools import islice
from math import isnan
from typing import Any, NamedTuple, cast

from jsonschema import Draft202012Validator, ValidationError
from jsonschema.validators import extend

from sightsize.base.findings import Finding, KeyPath, key_text
from sightsize.base.plain_text import acts
from sightsize.base.schemas import Node, follow, node_at, schema
from sightsize.errors import JobError
from sightsize.job.messages import in_brackets, missing_keys, say, say_unreadable, show
from sightsize.job.toml_file import Document
from sightsize.job.unknown_keys import say_unknown
from sightsize.job.values import Table, Unreadable, read_values

MOST_FINDINGS = 50
"""Told of one job file; who makes more mistakes has most often made the same one again."""
_MOST_ERRORS = 2_000
"""Of the schema that are looked at for it: it finds them in another order than that of the file."""
_NO_CONTROLS = "this text contains a control character; remove it."


class _Slip(NamedTuple):
    """A mistake: the path it is about, and its finding, which is only worded when it is told."""

    path: KeyPath
    tell: Callable[[], Finding | None]


def validate(document: Document, check_ids: frozenset[str]) -> Table:
    """Return the values of a document with their texts read.

    Raises JobError with what is wrong, in the order of the file. ``check_ids`` are the ids that
    ``checks.accept`` may name.
    """
    values, unreadable = read_values(document.values, check_ids)
    findings = _told(document, list(_slips(document, unreadable)))
    if findings:
        raise JobError(findings)
    return values


def say_more(document: Document, path: KeyPath, count: int) -> Finding:
    """Return the finding that stands for those that are too many to be told."""
    mistakes = "1 more mistake" if count == 1 else f"{count} more mistakes"
    place = document.place(path)
    return Finding(
        level="refuse", check="grammar", message=f"{mistakes} from here on; mend the others first."
    ).at(str(document.path), place.line, place.column, "")


def _told(document: Document, slips: list[_Slip]) -> list[Finding]:
    """The findings of the first slips in the file, once each, and how many there are besides."""
    slips.sort(key=lambda slip: _order(document, slip.path))
    findings: dict[Finding, None] = {}
    told: set[KeyPath] = set()
    for slip in slips:
        if len(findings) == MOST_FINDINGS:
            break
        found = slip.tell()
        # What no keyword of the schema keeps out comes last; a key is not told about twice.
        if found is not None:
            findings[found] = None
            told.add(slip.path)
    left = {slip.path: None for slip in slips if slip.path not in told}
    if len(findings) < MOST_FINDINGS or not left:
        return list(findings)
    return [*findings, say_more(document, next(iter(left)), len(left))]


def _order(document: Document, path: KeyPath) -> tuple[int, int]:
    place = document.place(path)
    return place.line, place.column


def _slips(document: Document, unreadable: list[Unreadable]) -> Iterator[_Slip]:
    """Yield every mistake of a document, in no order; of one place, the plainest first."""
    said: set[KeyPath] = set()
    for unread in unreadable:
        said.add(unread.path)
        yield _Slip(unread.path, partial(_unreadable_finding, document, unread))
    for error in islice(_validator().iter_errors(document.values), _MOST_ERRORS):
        for slip in _of_schema(document, error):
            said.add(slip.path)
            yield slip
    for path, message in _unsayable(document.values, ()):
        if path not in said:
            yield _Slip(path, partial(grammar_finding, document, path, message))


@cache
def _validator() -> Draft202012Validator:
    """The schema's, which does not look into a list that is too long anyway."""
    rules = {key: _of_short_lists(Draft202012Validator.VALIDATORS[key]) for key in _OF_LISTS}
    extended = extend(Draft202012Validator, rules)  # type: ignore[no-untyped-call]
    return cast(Draft202012Validator, extended(schema()))


_OF_LISTS = ("items", "uniqueItems")


def _of_short_lists(rule: Any) -> Any:
    def checked(validator: Any, wanted: Any, value: Any, node: Any) -> Iterator[ValidationError]:
        if not isinstance(value, list) or len(value) <= node.get("maxItems", len(value)):
            yield from rule(validator, wanted, value, node) or ()

    return checked


def _unsayable(value: object, path: KeyPath) -> Iterator[tuple[KeyPath, str]]:
    """Yield where a document holds what TOML has, and no keyword of the schema keeps out."""
    if isinstance(value, dict):
        for key, child in value.items():
            if acts(key):
                yield (*path, key), _NO_CONTROLS
            yield from _unsayable(child, (*path, key))
    elif isinstance(value, list):
        for index, child in enumerate(value):
            yield from _unsayable(child, (*path, index))
    elif isinstance(value, float) and isnan(value):
        yield path, "found nan, which is not a number; write a number."
    elif isinstance(value, str) and acts(re.sub(r"[\t\r\n]", "", value)):
        yield path, _NO_CONTROLS


def _unreadable_finding(document: Document, unread: Unreadable) -> Finding:
    message, allowed = say_unreadable(unread.why, unread.format)
    return grammar_finding(document, unread.path, message, allowed=allowed, found=show(unread.text))


def _of_schema(document: Document, error: ValidationError) -> Iterator[_Slip]:
    """Yield the mistakes that one error of the schema stands for."""
    path: KeyPath = tuple(error.absolute_path)
    if error.validator == "additionalProperties":
        node = cast(Node, error.schema)
        for key in cast(Node, error.instance):
            if key not in node["properties"]:
                yield _Slip((*path, key), partial(_unknown_finding, document, node, (*path, key)))
        return
    points = _flat_points(document, error)
    yield _Slip(points or path, partial(_schema_finding, document, error, points))


def _unknown_finding(document: Document, node: Node, path: KeyPath) -> Finding:
    message, guess = say_unknown(document, node, path)
    known = ", ".join(node["properties"])
    found = str(path[-1])
    return grammar_finding(document, path, message, found=found, allowed=known, nearest=guess)


def _schema_finding(document: Document, error: ValidationError, points: KeyPath) -> Finding | None:
    path: KeyPath = tuple(error.absolute_path)
    if points:
        numbers = _value_at(document.values, points)
        message = f"found {show(numbers)}; {in_brackets(numbers)}"
        return grammar_finding(document, points, message)
    if error.validator == "required" and not missing_keys(error):
        return None
    message, allowed = say(error)
    return grammar_finding(document, path, message, allowed=allowed, found=show(error.instance))


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


def _value_at(values: Any, path: KeyPath) -> Any:
    for part in path:
        values = values[part]
    return values
