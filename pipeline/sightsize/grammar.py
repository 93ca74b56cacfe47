"""The job grammar: the schema's keys, defaults and help text, and validation in plain sentences.

``schemas/job.schema.json`` is the one source of every key, range, default and description. This
module reads it, holds a document against it and says what is wrong in a photographer's words.
"""

import json
import re
from collections.abc import Callable, Iterable, Iterator
from fractions import Fraction
from functools import cache
from importlib.resources import files
from math import isnan
from pathlib import Path
from typing import Any, cast

from jsonschema import Draft202012Validator, FormatChecker, ValidationError

from sightsize.document import Document
from sightsize.errors import UnitError
from sightsize.findings import Finding, KeyPath, key_text, nearest, quoted_key
from sightsize.media import parse_size_mm
from sightsize.paths import has_controls, read_path
from sightsize.units import parse_length_mm, parse_resolution_ppi

Node = dict[str, Any]

RECIPE_TABLES = (
    "aperture",
    "paper",
    "mono",
    "tone",
    "local_contrast",
    "toner",
    "sharpen",
    "grain",
    "delivery",
    "checks",
)
"""Tables that may stand in a job, a recipe, a frame or a print and are merged key by key."""

BY_VIEWING_DISTANCE = "viewing_distance"
"""What ``sharpen.radius`` may be in place of a length."""

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
    "paper-size": 'a paper size, such as "12x10 in"',
    "sharpen-radius": '"viewing_distance", or a length such as "0.10 mm"',
}


_NUMBER_AND_UNIT = re.compile(
    r"(?P<sign>[-+]?)(?:(?:(?P<whole>\d{1,9}) )?(?P<fraction>\d{1,9}/[1-9]\d{0,8})"
    r"|(?P<decimal>\d{1,9}(?:\.\d{1,9})?|\.\d{1,9})) *(?P<unit>[^\d\s.,/][^\d.,/]*)?"
)
_ROMAN = ("I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX")

_NO_CONTROLS = "a control character stands in this text; write it without."


def schema() -> Node:
    """Return the job schema."""
    return schema_file("job")


@cache
def schema_file(name: str) -> Node:
    """Return a schema, from the installed package or from the checkout beside it."""
    shipped = files("sightsize") / "schemas" / f"{name}.schema.json"
    if shipped.is_file():
        text = shipped.read_text(encoding="utf-8")
    else:
        checkout = Path(__file__).parents[2] / "schemas" / f"{name}.schema.json"
        text = checkout.read_text(encoding="utf-8")
    return dict(json.loads(text))


def follow(node: Node) -> Node:
    """Return a schema node with its reference resolved; keys beside the reference win."""
    if "$ref" not in node:
        return node
    target: Node = schema()["$defs"][node["$ref"].rsplit("/", 1)[1]]
    return {**follow(target), **{key: value for key, value in node.items() if key != "$ref"}}


def table_defaults(name: str) -> Node:
    """Return the defaults of the keys of one table of ``$defs`` that have one, to be changed."""
    return dict(_table_defaults(name))


@cache
def _table_defaults(name: str) -> Node:
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
        # paper.tone has the name of a table but is a value.
        if prefix and key in RECIPE_TABLES and "properties" in child:
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
    # The schema reports each missing key by itself; one sentence names them all.
    findings = list(dict.fromkeys(each for error in errors for each in _findings(document, error)))
    said = {(each.line, each.column) for each in findings}
    more = (
        grammar_finding(document, path, message)
        for path, message in _unsayable(document.values, ())
    )
    findings += [each for each in more if (each.line, each.column) not in said]
    return sorted(findings, key=lambda finding: (finding.line, finding.column))


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
        yield path, "found nan, which is not a number; write one."
    elif isinstance(value, str) and has_controls(re.sub(r"[\t\r\n]", "", value)):
        yield path, _NO_CONTROLS


def _format_checker(check_ids: frozenset[str]) -> FormatChecker:
    checker = FormatChecker(formats=())
    readers: dict[str, Callable[[str], object]] = {
        "length": parse_length_mm,
        "resolution": parse_resolution_ppi,
        "paper-size": _read_paper_size,
        "sharpen-radius": _read_sharpen_radius,
        "path": read_path,
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
            "'auto' is not yet available: it needs a lab sheet. Name the paper, as in '12x10 in'"
        )
    parse_size_mm(text)


def _read_sharpen_radius(text: str) -> None:
    if text != BY_VIEWING_DISTANCE:
        parse_length_mm(text)


def _read_check_id(text: str, check_ids: frozenset[str]) -> None:
    if text not in check_ids:
        guess = nearest(text, check_ids)
        hint = f"did you mean {guess!r}?" if guess else f"the checks are {_or(sorted(check_ids))}"
        raise ValueError(f"there is no check {text!r}; {hint}")


def _findings(document: Document, error: ValidationError) -> Iterator[Finding]:
    path: KeyPath = tuple(error.absolute_path)
    points = _flat_points(document, error)
    if error.validator == "additionalProperties":
        yield from _unknown_keys(document, error, path)
    elif points:
        message = (
            f"found {_show(_value_at(document.values, points))}; {_in_brackets(document, points)}"
        )
        yield grammar_finding(document, points, message)
    elif error.validator != "required" or _missing(error):
        message, allowed = _say(error)
        yield grammar_finding(document, path, message, allowed=allowed, found=_show(error.instance))


def _flat_points(document: Document, error: ValidationError) -> KeyPath:
    """Return the path of a list of numbers where points should be, if an error is about one."""
    path: KeyPath = tuple(error.absolute_path)
    if error.validator == "type" and path and isinstance(path[-1], int):
        path = path[:-1]
    elif error.validator not in ("minItems", "maxItems"):
        return ()
    item = follow(_node_at(path).get("items", {}))
    numbers = _value_at(document.values, path)
    flat = all(isinstance(each, int | float) for each in numbers) and len(numbers) > 0
    return path if flat and item.get("type") == "array" else ()


def _value_at(values: Any, path: KeyPath) -> Any:
    for part in path:
        values = values[part]
    return values


def _in_brackets(document: Document, path: KeyPath) -> str:
    """Return how points are written, with the numbers at a path if they make up a few of them."""
    numbers = _value_at(document.values, path)
    pairs = [list(pair) for pair in zip(numbers[::2], numbers[1::2], strict=False)]
    whole = len(numbers) % 2 == 0 and 2 <= len(pairs) <= 4
    shown = f"[{', '.join(map(_show, pairs))}]" if whole else "[[x, y], [x, y]]"
    return f"each point has brackets of its own: write {shown}."


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
        guess = node.get("x-moved", {}).get(key) or _home(key) or nearest(key, known)
        place = _picture_place(document, path, key)
        if key in node.get("x-later", ()):
            message = "not yet available in this version; remove the key."
        elif place:
            message = f"unknown key; it is a picture's: write it as {place}."
        elif key in RECIPE_TABLES:
            message = (
                f"unknown key here; {key} belongs to the job, where it stands above the first "
                f"[table] or as [{key}], or to a recipe, a frame or a print."
            )
        elif guess:
            message = f"unknown key; did you mean {guess!r}?"
        else:
            table = "this table" if path else "a job file"
            message = f"unknown key; {table} takes {_or(known)}."
        yield grammar_finding(
            document, (*path, key), message, found=key, allowed=", ".join(known), nearest=guess
        )


def _picture_place(document: Document, path: KeyPath, key: str) -> str:
    """Return where a picture's key stands that was written in the job or a print, or nothing."""
    child = follow(schema()["$defs"]["picture"]["properties"].get(key, {}))
    in_print = path[:1] == ("prints",) and len(path) == 2
    of_print = key in schema()["$defs"]["print"]["properties"]
    if not child or of_print or (path and not in_print):
        return ""
    pictures = document.values.get("pictures", {})
    named = _value_at(document.values, path).get("picture", "")
    names = list(pictures) if isinstance(pictures, dict) else []
    names = [named] if named and isinstance(named, str) else names
    header = _header(("pictures", names[0] if len(names) == 1 else "NAME"))
    return f"[[{header}.{key}]]" if _holds_tables(child) else f"{header}.{key}"


def _home(key: str) -> str:
    """Return the full name of a key that stands in the wrong table, when only one table has it."""
    if key in RECIPE_TABLES:
        return ""
    homes = [name for name in RECIPE_TABLES if key in schema()["$defs"][name]["properties"]]
    return f"{homes[0]}.{key}" if len(homes) == 1 else ""


def _missing(error: ValidationError) -> list[str]:
    """Return the required keys that a table lacks; one that it misspells is reported as such."""
    given, known = cast(Node, error.instance), cast(Node, error.schema)["properties"]
    meant = {nearest(key, known) for key in given if key not in known}
    return [key for key in cast(list[str], error.validator_value) if key not in {*given, *meant}]


def _say(error: ValidationError) -> tuple[str, str]:
    """Return the sentence for one schema error and what would have been allowed."""
    value: Any = error.instance
    rule: Any = error.validator_value
    node = cast(Node, error.schema)
    found = _show(value)
    match error.validator:
        case "type":
            allowed = _wanted(node)
            hint = _kind_hint(value, node, tuple(error.absolute_path))
            return f"found {found}, but this takes {allowed}.{hint}", allowed
        case "enum":
            guess = nearest(str(value), [str(choice) for choice in rule])
            hint = f" Did you mean {guess!r}?" if guess else ""
            allowed = _wanted(_node_at(error.absolute_path))
            return f"found {found}, but this takes {allowed}.{hint}", allowed
        case "const":
            allowed = f"{error.absolute_path[-1]} = {_show(rule)}"
            return f"found {found}, but this version reads {allowed} only; write that.", allowed
        case "format":
            reason = str(error.cause)
            return f"{reason}{'' if reason.endswith('?') else '.'}", _FORMAT_KINDS.get(rule, "")
        case "required":
            missing = [_as_written(key, node) for key in _missing(error)]
            verb, them = ("is", "it") if len(missing) == 1 else ("are", "them")
            return f"{_and(missing)} {verb} missing; add {them}.", ", ".join(rule)
        case "minimum" | "maximum" | "exclusiveMinimum" | "exclusiveMaximum":
            allowed = key_range(node)
            return f"found {found}, but the range is {allowed}.{_share_hint(value, node)}", allowed
        case "minItems" | "maxItems":
            allowed = _item_count(node)
            entries = "1 entry" if len(value) == 1 else f"{len(value)} entries"
            return f"found {entries}, but this takes {allowed}.", allowed
        case "uniqueItems":
            return "an entry stands here twice; remove one.", "entries that differ"
        case "minLength":
            return "found an empty text; write something or remove the key.", "a text"
        case "maxLength":
            return f"found a text of {len(value)} characters; at most {rule} fit.", f"<= {rule}"
    return f"{error.message}.", ""


def _node_at(path: Iterable[str | int]) -> Node:
    """Return the schema's node for a key path of a job."""
    node = schema()
    for part in path:
        if isinstance(part, int):
            node = follow(node["items"])
        else:
            node = follow(node.get("properties", {}).get(part) or node["additionalProperties"])
    return node


def _as_written(key: str, node: Node) -> str:
    """Return a missing key as it would stand in the file."""
    child = follow(node["properties"][key])
    if "const" in child:
        return f"{key} = {_show(child['const'])}"
    return f"[[{key}]]" if _holds_tables(child) else key


def _holds_tables(node: Node) -> bool:
    return bool(follow(node.get("items", {})).get("type") == "object")


def kind_text(node: Node) -> str:
    """Return what kind of value a key takes."""
    kinds = node.get("type", [])
    kinds = [kinds] if isinstance(kinds, str) else kinds
    texts = [text for kind in kinds for text in _kind_texts(kind, node)]
    return _or(texts or [_show(choice) for choice in node.get("enum", [node.get("const")])])


def _kind_texts(kind: str, node: Node) -> list[str]:
    """Return one kind of value in words, or its choices."""
    match kind:
        case "string":
            choices = node.get("then", {}).get("enum")
            kind_words = _FORMAT_KINDS.get(node.get("format", ""), _KINDS[kind])
            return [_show(choice) for choice in choices] if choices else [kind_words]
        case "object" if "required" in node:
            return [f"a table of {_and(node['required'])}"]
        case "array" if "minItems" in node and node["minItems"] == node.get("maxItems"):
            points = follow(node["items"]).get("type") == "array"
            return [f"a list of {node['minItems']} {'points' if points else 'numbers'}"]
    return [_KINDS[kind]]


def _wanted(node: Node) -> str:
    """Return what a key takes, with its range."""
    return f"{kind_text(node)}, {key_range(node)}" if "maximum" in node else kind_text(node)


def _kind_hint(value: object, node: Node, path: KeyPath) -> str:
    """Return what was probably meant by a value of the wrong kind, as a sentence or nothing."""
    kinds = node["type"]
    if isinstance(value, dict) and _holds_tables(node):
        inline = f", or {path[-1]} = [{{ ... }}]" if len(path) > 1 else ""
        return f" Write [[{_header(path)}]] in double brackets, once for each{inline}."
    if isinstance(value, list) and value and isinstance(value[0], dict) and "object" in kinds:
        return f" Write [{_header(path)}] in single brackets, once."
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        return ""
    if isinstance(value, str):
        return _quotes_hint(value, node)
    if node.get("format") in ("length", "resolution", "sharpen-radius"):
        unit = "ppi" if node["format"] == "resolution" else "mm"
        return f' A bare number could mean any unit: write "{value} {unit}" if that is meant.'
    return f' Write it in quotes: "{value}".' if "string" in kinds and "then" not in node else ""


def _header(path: KeyPath) -> str:
    """Return a table's name as its header has it."""
    return ".".join(quoted_key(part) for part in path if isinstance(part, str))


def _quotes_hint(text: str, node: Node) -> str:
    kinds = node["type"]
    if "array" in kinds:
        return f" Write [{_show(text)}] for a list of one."
    if "boolean" in kinds:
        meant = text if text in ("true", "false") else ""
    else:
        plain = re.fullmatch(r"[-+]?\d+(\.\d+)?", text)
        meant = text if plain else _number_meant(text.strip(), node)
    return f" Write {meant} without quotes." if meant else ""


def _number_meant(text: str, node: Node) -> str:
    """Return the number that a text with a unit, a fraction or a Roman numeral stands for."""
    unit = node.get("x-unit", "")
    if unit == "zone" and text in _ROMAN:
        return str(_ROMAN.index(text) + 1)
    match = _NUMBER_AND_UNIT.fullmatch(text)
    if match is None or "number" not in node["type"]:
        return ""
    number = int(match["whole"] or 0) + Fraction(match["fraction"] or match["decimal"])
    written = (match["unit"] or "").rstrip("s")
    if written == "%" and unit in ("share", "ratio", ""):
        number /= 100
    elif written not in ("", *(word.rstrip("s") for word in unit.split())):
        return ""
    value = -number if match["sign"] == "-" else number
    inside = node.get("minimum", 0) <= value <= node.get("maximum", value)
    return f"{round(float(value), 4):g}" if inside else ""


def key_range(node: Node) -> str:
    """Return a number's range with its unit."""
    unit = f" ({node['x-unit']})" if "x-unit" in node else ""
    if "exclusiveMinimum" in node:
        return f"above {node['exclusiveMinimum']}, up to {node['maximum']}{unit}"
    return f"{node['minimum']} to {node['maximum']}{unit}"


def _share_hint(value: float, node: Node) -> str:
    """Return how a share is written where a percentage or pixels were."""
    if value <= 1 or (node.get("maximum") != 1 and node.get("x-unit") != "ratio"):
        return ""
    if value <= 100:
        return f" {value:g} % is written {value / 100:g}."
    if "x-unit" in node:
        return " Half is written 0.5."
    return " Divide pixels by the picture's width and height; half is written 0.5."


def _item_count(node: Node) -> str:
    low, high = node.get("minItems"), node.get("maxItems")
    if low == high:
        return f"exactly {low}"
    if low is None:
        return f"at most {high}"
    return f"{low} to {high}" if high is not None else f"at least {low}"


def _show(value: object) -> str:
    """Return a value as TOML would spell it, shortened."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        shown = value[:60] + ("..." if len(value) > 60 else "")
        return json.dumps(shown, ensure_ascii=not shown.isprintable())
    if isinstance(value, dict):
        return "a table"
    text = f"[{', '.join(map(_show, value))}]" if isinstance(value, list) else str(value)
    return text if len(text) <= 60 else f"{text[:60]}..."


def _or(words: list[str]) -> str:
    return _joined(words, "or")


def _and(words: list[str]) -> str:
    return _joined(words, "and")


def _joined(words: list[str], last: str) -> str:
    if len(words) < 2:
        return "".join(words)
    comma = "," if any("," in word for word in words) else ""
    return f"{', '.join(words[:-1])}{comma} {last} {words[-1]}"
