"""The sentences about a job's keys: what one takes, what was found, what was probably meant.

A schema error of each kind gets one sentence in a photographer's words.
"""

import json
import re
from fractions import Fraction
from itertools import islice
from typing import Any, cast

from jsonschema import ValidationError

from sightsize.base.findings import KeyPath, nearest, quoted_key
from sightsize.base.schemas import Node, follow, holds_tables, node_at

_KINDS = {
    "string": "text",
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

_MOST_GUESSES = 50
"""Unknown keys of a table that may each be a misspelt one."""

_ROMAN = ("I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX")


def say(error: ValidationError) -> tuple[str, str]:
    """Return the sentence for one schema error and what would have been allowed."""
    value: Any = error.instance
    rule: Any = error.validator_value
    node = cast(Node, error.schema)
    found = show(value)
    match error.validator:
        case "type":
            allowed = say_wanted(node)
            hint = _kind_hint(value, node, tuple(error.absolute_path))
            return f"found {found}, but this takes {allowed}.{hint}", allowed
        case "enum":
            key_node = node_at(error.absolute_path)
            moved = say_moved(value, key_node)
            if moved:
                return moved, kind_text(key_node)
            hint = _choice_hint(value, rule)
            allowed = say_wanted(key_node)
            return f"found {found}, but this takes {allowed}.{hint}", allowed
        case "const":
            allowed = f"{error.absolute_path[-1]} = {show(rule)}"
            return f"found {found}, but this version reads only {allowed}; write that.", allowed
        case "required":
            missing = [_write_key(key, node) for key in missing_keys(error)]
            verb, them = ("is", "it") if len(missing) == 1 else ("are", "them")
            lines = [_lines_hint(key, node) for key in missing_keys(error)]
            said = f"{all_of(missing)} {verb} missing; add {them}.{''.join(lines)}"
            return said, ", ".join(rule)
        case "minimum" | "maximum" | "exclusiveMinimum" | "exclusiveMaximum":
            allowed = key_range(node)
            return f"found {found}, but the range is {allowed}.{_share_hint(value, node)}", allowed
        case "minItems" | "maxItems":
            allowed = _item_count(node)
            entries = "1 entry" if len(value) == 1 else f"{len(value)} entries"
            return f"found {entries}, but this takes {allowed}.", allowed
        case "uniqueItems":
            return "the same entry appears twice; remove one.", "entries that differ"
        case "minLength":
            return "found empty text; write something or remove the key.", "text"
        case "maxLength":
            return f"found {len(value)} characters; the limit is {rule}.", f"<= {rule}"
    return f"{error.message}.", ""


def _choice_hint(value: object, choices: list[object]) -> str:
    """Return which of the choices was probably meant, as a sentence or nothing."""
    bare = [choice for choice in choices if str(choice) == str(value).strip()]
    if bare and isinstance(value, str) and not isinstance(bare[0], str):
        return f" Write {show(bare[0])} without quotes."
    words = [choice for choice in choices if isinstance(choice, str)]
    guess = nearest(value, words) if isinstance(value, str) else ""
    return f" Did you mean {guess!r}?" if guess else ""


def say_moved(value: object, node: Node) -> str:
    """Return the sentence for a value that has another name by now, or nothing."""
    moved = node.get("x-moved", {}).get(str(value))
    return f"{show(value)} is now called {show(moved)}." if moved else ""


def say_unreadable(why: str, form: str) -> tuple[str, str]:
    """Return the sentence for a text that cannot be read and what would have been allowed."""
    return f"{why}{'' if why.endswith('?') else '.'}", _FORMAT_KINDS.get(form, "")


def missing_keys(error: ValidationError) -> list[str]:
    """Return the required keys that a table lacks; one that it misspells is reported as such."""
    given, known = cast(Node, error.instance), cast(Node, error.schema)["properties"]
    unknown = (key for key in given if key not in known)
    meant = {nearest(key, known) for key in islice(unknown, _MOST_GUESSES)}
    return [key for key in cast(list[str], error.validator_value) if key not in {*given, *meant}]


def _write_key(key: str, node: Node) -> str:
    """Return a missing key as it would stand in the file."""
    child = follow(node["properties"][key])
    if "const" in child:
        return f"{key} = {show(child['const'])}"
    return f"[[{key}]]" if holds_tables(child) else key


def _lines_hint(key: str, node: Node) -> str:
    """Return the lines that a missing entry takes, as a sentence or nothing."""
    lines = node["properties"][key].get("x-lines", [])
    return f" Write at the end of the file, each on a line: {'   '.join(lines)}" if lines else ""


def in_brackets(numbers: list[Any]) -> str:
    """Return how points are written, with the numbers given if they make up a few of them."""
    pairs = [list(pair) for pair in zip(numbers[::2], numbers[1::2], strict=False)]
    whole = len(numbers) % 2 == 0 and 2 <= len(pairs) <= 4
    shown = f"[{', '.join(map(show, pairs))}]" if whole else "[[x, y], [x, y]]"
    return f"each point needs its own brackets: write {shown}."


def kind_text(node: Node) -> str:
    """Return what kind of value a key takes."""
    kinds = node.get("type", [])
    kinds = [kinds] if isinstance(kinds, str) else kinds
    texts = [text for kind in kinds for text in _kind_texts(kind, node)]
    return one_of(texts or [show(choice) for choice in node.get("enum", [node.get("const")])])


def _kind_texts(kind: str, node: Node) -> list[str]:
    """Return one kind of value in words, or its choices."""
    match kind:
        case "string":
            choices = node.get("then", {}).get("enum")
            kind_words = _FORMAT_KINDS.get(node.get("format", ""), _KINDS[kind])
            return [show(choice) for choice in choices] if choices else [kind_words]
        case "object" if "required" in node:
            return [f"a table of {all_of(node['required'])}"]
        case "array" if "minItems" in node and node["minItems"] == node.get("maxItems"):
            points = follow(node["items"]).get("type") == "array"
            return [f"a list of {node['minItems']} {'points' if points else 'numbers'}"]
    return [_KINDS[kind]]


def say_wanted(node: Node) -> str:
    """Return what a key takes in words, with its range."""
    return f"{kind_text(node)}, {key_range(node)}" if "maximum" in node else kind_text(node)


def _kind_hint(value: object, node: Node, path: KeyPath) -> str:
    """Return what was probably meant by a value of the wrong kind, as a sentence or nothing."""
    kinds = node["type"]
    if isinstance(value, dict) and holds_tables(node):
        inline = f", or {path[-1]} = [{{ ... }}]" if len(path) > 1 else ""
        return f" Write [[{table_header(path)}]] in double brackets, once for each entry{inline}."
    if isinstance(value, list) and value and isinstance(value[0], dict) and "object" in kinds:
        return f" Write [{table_header(path)}] in single brackets, once."
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        return ""
    if isinstance(value, str):
        return _quotes_hint(value, node)
    if node.get("format") in ("length", "resolution", "sharpen-radius"):
        unit = "ppi" if node["format"] == "resolution" else "mm"
        return f' A number needs its unit: write "{value} {unit}" if you mean {unit}.'
    return f' Write it in quotes: "{value}".' if "string" in kinds and "then" not in node else ""


def table_header(path: KeyPath) -> str:
    """Return a table's name as its header has it."""
    return ".".join(quoted_key(part) for part in path if isinstance(part, str))


def _quotes_hint(text: str, node: Node) -> str:
    kinds = node["type"]
    if "array" in kinds:
        return f" Write [{show(text)}] for a list of one."
    if "boolean" in kinds:
        meant = text if text in ("true", "false") else ""
    else:
        plain = re.fullmatch(r"[-+]?\d+(\.\d+)?", text)
        meant = text if plain else _guess_number(text.strip(), node)
    return f" Write {meant} without quotes." if meant else ""


def _guess_number(text: str, node: Node) -> str:
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
        return f" For {value:g} %, write {value / 100:g}."
    if "x-unit" in node:
        return " For half, write 0.5."
    return " Divide pixels by the picture's width and height; for half, write 0.5."


def _item_count(node: Node) -> str:
    low, high = node.get("minItems"), node.get("maxItems")
    if low == high:
        return f"exactly {low}"
    if low is None:
        return f"at most {high}"
    return f"{low} to {high}" if high is not None else f"at least {low}"


def show(value: object) -> str:
    """Return a value as TOML would spell it, shortened."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        shown = value[:60] + ("..." if len(value) > 60 else "")
        return json.dumps(shown, ensure_ascii=not shown.isprintable())
    if isinstance(value, dict):
        return "a table"
    text = f"[{', '.join(map(show, value))}]" if isinstance(value, list) else str(value)
    return text if len(text) <= 60 else f"{text[:60]}..."


def one_of(words: list[str]) -> str:
    """Return words as a list of which one holds."""
    return _join(words, "or")


def all_of(words: list[str]) -> str:
    """Return words as a list that holds as a whole."""
    return _join(words, "and")


def _join(words: list[str], last: str) -> str:
    if len(words) < 2:
        return "".join(words)
    comma = "," if any("," in word for word in words) else ""
    return f"{', '.join(words[:-1])}{comma} {last} {words[-1]}"
