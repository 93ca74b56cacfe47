"""The job grammar: the schema's keys, defaults and help text, and validation in plain sentences.

``schemas/job.schema.json`` is the one source of every key, range, default and description. This
module reads it, holds a document against it and says what is wrong in a photographer's words.
"""

import json
from collections.abc import Callable, Iterator
from functools import cache
from importlib.resources import files
from math import isnan
from pathlib import Path
from typing import Any, cast

from jsonschema import Draft202012Validator, FormatChecker, ValidationError

from sightsize.document import Document
from sightsize.findings import Finding, KeyPath, key_text, nearest
from sightsize.media import parse_size_mm
from sightsize.units import UnitError, parse_length_mm, parse_resolution_ppi

Node = dict[str, Any]

RECIPE_TABLES = ("aperture", "paper", "mono", "tone", "sharpen", "delivery", "checks")
"""Tables that may stand in a job, a recipe, a frame or a print and are merged key by key."""

_KINDS = {
    "string": "a text",
    "number": "a number",
    "integer": "a whole number",
    "boolean": "true or false",
    "array": "a list",
    "object": "a table",
}

_FORMAT_KINDS = {
    "length": 'a length with a unit, such as "3 mm" or "7 1/4 in"',
    "resolution": 'a resolution, such as "300 ppi"',
    "paper-size": 'a paper size, such as "20x16 in"',
}


@cache
def schema() -> Node:
    """Return the job schema, from the installed package or from the checkout beside it."""
    shipped = files("sightsize") / "schemas" / "job.schema.json"
    if shipped.is_file():
        text = shipped.read_text(encoding="utf-8")
    else:
        checkout = Path(__file__).parents[2] / "schemas" / "job.schema.json"
        text = checkout.read_text(encoding="utf-8")
    return dict(json.loads(text))


def follow(node: Node) -> Node:
    """Return a schema node with its reference resolved; keys beside the reference win."""
    if "$ref" not in node:
        return node
    target: Node = schema()["$defs"][node["$ref"].rsplit("/", 1)[1]]
    return {**follow(target), **{key: value for key, value in node.items() if key != "$ref"}}


def table_defaults(name: str) -> Node:
    """Return the defaults of the keys of one table of ``$defs`` that have one."""
    properties = schema()["$defs"][name]["properties"]
    return {
        key: follow(node)["default"]
        for key, node in properties.items()
        if "default" in follow(node)
    }


def known_keys() -> Iterator[tuple[str, Node]]:
    """Yield every key of the grammar as a dotted name with its node, in the schema's order.

    Names that the job chooses stand as ``NAME``; the tables a recipe, frame or print may repeat
    are listed once, at the top.
    """
    yield from _known_keys("", schema())


def _known_keys(prefix: str, node: Node) -> Iterator[tuple[str, Node]]:
    for key, child in _children(node):
        if prefix and key in RECIPE_TABLES:
            continue
        name = f"{prefix}.{key}" if prefix else key
        yield name, child
        yield from _known_keys(name, child)


def _children(node: Node) -> Iterator[tuple[str, Node]]:
    for key, child in node.get("properties", {}).items():
        yield key, follow(child)
    named = node.get("additionalProperties")
    if isinstance(named, dict):
        yield "NAME", follow(named)
    items = follow(node.get("items", {}))
    yield from ((key, follow(child)) for key, child in items.get("properties", {}).items())


def validate(document: Document, check_ids: frozenset[str]) -> list[Finding]:
    """Return every finding of the schema about a document, in the order of the file.

    ``check_ids`` are the ids that ``checks.accept`` may name.
    """
    validator = Draft202012Validator(schema(), format_checker=_format_checker(check_ids))
    errors = validator.iter_errors(document.values)
    findings = [finding for error in errors for finding in _findings(document, error)]
    findings += [
        grammar_finding(document, path, "found nan, which is not a number; write one.")
        for path in _nan_paths(document.values, ())
    ]
    return sorted(findings, key=lambda finding: (finding.line, finding.column))


def _nan_paths(value: object, path: KeyPath) -> Iterator[KeyPath]:
    # TOML has nan, and no range of a JSON Schema keeps it out.
    if isinstance(value, dict):
        for key, child in value.items():
            yield from _nan_paths(child, (*path, key))
    elif isinstance(value, list):
        for index, child in enumerate(value):
            yield from _nan_paths(child, (*path, index))
    elif isinstance(value, float) and isnan(value):
        yield path


def _format_checker(check_ids: frozenset[str]) -> FormatChecker:
    checker = FormatChecker(formats=())
    readers: dict[str, Callable[[str], object]] = {
        "length": parse_length_mm,
        "resolution": parse_resolution_ppi,
        "paper-size": _read_paper_size,
        "check-id": lambda text: _read_check_id(text, check_ids),
    }
    for name, read in readers.items():
        checker.checks(name, raises=ValueError)(_accepts(read))
    return checker


def _accepts(read: Callable[[str], object]) -> Callable[[object], bool]:
    def accepts(value: object) -> bool:
        if isinstance(value, str):
            read(value)
        return True

    return accepts


def _read_paper_size(text: str) -> None:
    if text.strip() == "auto":
        raise UnitError(
            "'auto' is not yet available: it needs a lab sheet. Name the paper, as in '20x16 in'"
        )
    parse_size_mm(text)


def _read_check_id(text: str, check_ids: frozenset[str]) -> None:
    if text not in check_ids:
        guess = nearest(text, check_ids)
        hint = f"did you mean {guess!r}?" if guess else f"the checks are {_or(sorted(check_ids))}"
        raise ValueError(f"there is no check {text!r}; {hint}")


def _findings(document: Document, error: ValidationError) -> Iterator[Finding]:
    path: KeyPath = tuple(error.absolute_path)
    if error.validator == "additionalProperties":
        yield from _unknown_keys(document, error, path)
    else:
        message, allowed = _say(error)
        yield grammar_finding(document, path, message, allowed=allowed, found=_show(error.instance))


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
        level="stop",
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
        later = key in node.get("x-later", ())
        guess = nearest(key, known)
        if later:
            message = "not yet available in this version; remove the key."
        elif guess:
            message = f"unknown key; did you mean {guess!r}?"
        else:
            message = f"unknown key; this table takes {_or(known)}."
        yield grammar_finding(
            document, (*path, key), message, found=key, allowed=", ".join(known), nearest=guess
        )


def _say(error: ValidationError) -> tuple[str, str]:
    """Return the sentence for one schema error and what would have been allowed."""
    value: Any = error.instance
    rule: Any = error.validator_value
    node = cast(Node, error.schema)
    found = _show(value)
    match error.validator:
        case "type":
            allowed = kind_text(node)
            hint = _bare_number_hint(value, node)
            return f"found {found}, but this takes {allowed}.{hint}", allowed
        case "enum":
            guess = nearest(str(value), [str(choice) for choice in rule])
            hint = f" Did you mean {guess!r}?" if guess else ""
            allowed = _or([_show(choice) for choice in rule])
            return f"found {found}, but this takes {allowed}.{hint}", allowed
        case "const":
            return f"found {found}, but this version reads {_show(rule)} only.", _show(rule)
        case "format":
            reason = str(error.cause)
            return f"{reason}{'' if reason.endswith('?') else '.'}", _FORMAT_KINDS.get(rule, "")
        case "required":
            missing = [key for key in rule if key not in value]
            noun = "key is" if len(missing) == 1 else "keys are"
            return f"the {noun} missing: {', '.join(missing)}.", ", ".join(rule)
        case "minimum" | "maximum" | "exclusiveMinimum" | "exclusiveMaximum":
            allowed = key_range(node)
            return f"found {found}, but the range is {allowed}.", allowed
        case "minItems" | "maxItems":
            allowed = _item_count(node)
            return f"found {len(value)} entries, but this takes {allowed}.", allowed
        case "minLength":
            return "found an empty text; write something or remove the key.", "a text"
        case "maxLength":
            return f"found a text of {len(value)} characters; at most {rule} fit.", f"<= {rule}"
    return f"{error.message}.", ""


def kind_text(node: Node) -> str:
    """Return what kind of value a key takes."""
    kinds = node.get("type", [])
    kinds = [kinds] if isinstance(kinds, str) else kinds
    texts = [_FORMAT_KINDS.get(node.get("format", ""), _KINDS["string"]) if kind == "string"
             else _KINDS[kind] for kind in kinds]  # fmt: skip
    choices = node.get("then", {}).get("enum")
    if choices:
        texts[0] = _or([_show(choice) for choice in choices])
    return _or(texts)


def _bare_number_hint(value: object, node: Node) -> str:
    if node.get("format") not in ("length", "resolution") or isinstance(value, bool):
        return ""
    if not isinstance(value, int | float):
        return ""
    unit = "ppi" if node["format"] == "resolution" else "mm"
    return f' A bare number could mean any unit: write "{value} {unit}" if that is what you mean.'


def key_range(node: Node) -> str:
    """Return a number's range with its unit."""
    unit = f" {node['x-unit']}" if "x-unit" in node else ""
    low = node.get("minimum", node.get("exclusiveMinimum"))
    above = "above " if "exclusiveMinimum" in node else ""
    return f"{above}{low} to {node['maximum']}{unit}"


def _item_count(node: Node) -> str:
    low, high = node.get("minItems"), node.get("maxItems")
    if low == high:
        return f"exactly {low}"
    return f"{low} to {high}" if high is not None else f"at least {low}"


def _show(value: object) -> str:
    """Return a value as TOML would spell it, shortened."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value[:60] + ("..." if len(value) > 60 else ""), ensure_ascii=False)
    if isinstance(value, dict):
        return "a table"
    text = str(value)
    return text if len(text) <= 60 else f"{text[:60]}..."


def _or(words: list[str]) -> str:
    return " or ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
