"""Whether a value has the form that a schema asks for, and if not, where and why, for people.

The schema is turned into functions once. They are far quicker than a general validator, so that the
docket and its mirror are held to the same rules; and they keep out what could be read but never
written again: numbers that are none, halves of characters, tables nested without end.
"""

import re
from collections.abc import Callable, Collection, Sequence
from math import isfinite
from typing import Any

from sightsize.base.findings import KeyPath, nearest
from sightsize.base.schemas import Node

Fault = tuple[KeyPath, str]
"""Where something is wrong, and a sentence about it without its full stop."""
Check = Callable[[Any, int], Fault | None]
"""Looks at a value of one type, in which so many levels of tables and lists may stand."""

DEEPEST = 20
"""Levels of tables and lists in a docket; what the program writes takes ten."""

_TYPES: dict[str, tuple[type, ...]] = {
    "object": (dict,),
    "array": (list,),
    "string": (str,),
    "integer": (int,),
    "number": (int, float),
    "boolean": (bool,),
}
_WORDS = {
    "object": "a table",
    "array": "a list",
    "string": "text in quotes",
    "integer": "a whole number",
    "number": "a number",
    "boolean": "true or false",
}
_KEYWORDS = {
    "object": {"properties", "additionalProperties", "required"},
    "array": {"items", "minItems", "maxItems"},
    "string": {"pattern", "minLength", "maxLength"},
    "integer": {"minimum", "maximum"},
    "number": {"minimum", "maximum"},
    "boolean": set[str](),
}
_SAID = {"$schema", "$id", "$defs", "title", "description", "x-takes"}
"""Keywords that ask for nothing by themselves."""
_TOO_DEEP: Fault = ((), "tables or lists are nested too deeply here")


class Shape(dict[type, Check]):
    """What a node of a schema asks for: the check of each type that a value may have."""

    takes = ""

    def __missing__(self, _: type) -> Check:
        """Return the check of a type that it may not have."""
        return lambda value, _: _say(value, self.takes)

    def fault(self, value: Any) -> Fault | None:
        """Return the first thing that is wrong with a value, None when nothing is."""
        return self[type(value)](value, DEEPEST)


def shape_of(root: Node) -> Shape:
    """Return the shape of a schema's root. Raises ValueError for keywords that it does not know."""
    return _Shapes(root["$defs"]).of(root)


class _Shapes:
    """The shapes of one schema; those of its ``$defs`` are made once, and may hold themselves."""

    def __init__(self, defs: Node) -> None:
        self._defs = defs
        self._made: dict[str, Shape] = {}

    def of(self, node: Node) -> Shape:
        if "$ref" not in node:
            return self._filled(Shape(), node)
        _refuse_unknown(node, {"$ref"})
        name = node["$ref"].rsplit("/", 1)[1]
        if name not in self._made:
            self._made[name] = Shape()
            self._filled(self._made[name], self._defs[name])
        return self._made[name]

    def _filled(self, shape: Shape, node: Node) -> Shape:
        if "enum" in node or "const" in node:
            _refuse_unknown(node, {"enum", "const"})
            words = node.get("enum") or [node["const"]]
            shape.takes = _either([show(each) for each in words])
            shape |= dict.fromkeys(map(type, words), _one_of(shape, words))
            return shape
        kinds = [node["type"]] if isinstance(node["type"], str) else node["type"]
        _refuse_unknown(node, {"type"}.union(*(_KEYWORDS[kind] for kind in kinds)))
        shape.takes = node.get("x-takes") or _either([_WORDS[kind] for kind in kinds])
        for kind in kinds:
            shape |= dict.fromkeys(_TYPES[kind], self._check(kind, node, shape))
        return shape

    def _check(self, kind: str, node: Node, shape: Shape) -> Check:
        if kind == "object":
            return self._table(node)
        if kind == "array":
            return self._list(node)
        if kind == "string":
            return _text(node, shape)
        return _number(node, shape) if kind != "boolean" else lambda _, __: None

    def _table(self, node: Node) -> Check:
        keys = {key: self.of(child) for key, child in node.get("properties", {}).items()}
        other = node.get("additionalProperties", False)
        others = self.of(other) if other else None
        required: Sequence[str] = node.get("required", ())

        def check(value: Any, levels: int) -> Fault | None:
            if not levels:
                return _TOO_DEEP
            for key, child in value.items():
                shape = keys.get(key, others)
                if shape is None:
                    return (), _say_unknown(key, keys)
                fault = shape[type(child)](child, levels - 1)
                if fault is not None:
                    return (key, *fault[0]), fault[1]
                if shape is others and not _is_unicode(key):
                    return (), _say_half(key)
            for key in required:
                if key not in value:
                    return (), f"{key} is missing"
            return None

        return check

    def _list(self, node: Node) -> Check:
        shape = self.of(node["items"])
        least, most = node.get("minItems", 0), node.get("maxItems")

        def check(value: Any, levels: int) -> Fault | None:
            if not levels:
                return _TOO_DEEP
            if len(value) < least:
                return (), f"the list has {len(value)} entries; it takes at least {least}"
            if most is not None and len(value) > most:
                return (), f"the list has {len(value)} entries; it takes at most {most}"
            for index, child in enumerate(value):
                fault = shape[type(child)](child, levels - 1)
                if fault is not None:
                    return (index, *fault[0]), fault[1]
            return None

        return check


def _refuse_unknown(node: Node, known: set[str]) -> None:
    unknown = node.keys() - _SAID - known
    if unknown:
        raise ValueError(f"no check is known for {', '.join(sorted(unknown))}")


def _one_of(shape: Shape, words: Sequence[Any]) -> Check:
    known = {(type(each), each) for each in words}
    return lambda value, _: None if (type(value), value) in known else _say(value, shape.takes)


def _text(node: Node, shape: Shape) -> Check:
    fits = re.compile(node["pattern"]).search if "pattern" in node else None
    least, most = node.get("minLength", 0), node.get("maxLength")

    def check(value: Any, _: int) -> Fault | None:
        if len(value) < least:
            return (), "the text is empty"
        if most is not None and len(value) > most:
            return (), f"the text has {len(value)} characters; it takes at most {most}"
        if fits is not None and not fits(value):
            return _say(value, shape.takes)
        return None if _is_unicode(value) else ((), _say_half(value))

    return check


def _is_unicode(text: str) -> bool:
    """Whether a text can be written as UTF-8, which half of a surrogate pair cannot."""
    if text.isascii():
        return True
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True


def _say_half(text: str) -> str:
    return f"{show(text)} holds half a character"


def _number(node: Node, shape: Shape) -> Check:
    low, high = node.get("minimum"), node.get("maximum")
    takes = f"{shape.takes}{_range(low, high)}"

    def check(value: Any, _: int) -> Fault | None:
        if (low is not None and value < low) or (high is not None and value > high):
            return _say(value, takes)
        return None if type(value) is int or isfinite(value) else _say(value, takes)

    return check


def _range(low: float | None, high: float | None) -> str:
    """The range of a number in words; that of 64 bits is none that people know of."""
    least = None if low is None or low <= -(2**63) else low
    most = None if high is None or high >= 2**63 - 1 else high
    if least is None:
        return "" if most is None else f" up to {most}"
    return f" from {least}" + ("" if most is None else f" to {most}")


def _either(words: Sequence[str]) -> str:
    return " or ".join([*filter(None, [", ".join(words[:-1])]), words[-1]])


def _say(value: Any, takes: str) -> Fault:
    return (), f"found {show(value)}; it takes {takes}"


def _say_unknown(key: str, known: Collection[str]) -> str:
    guess = nearest(key, known) if len(key) <= 40 else ""
    return f"there is no key {show(key)} here" + (f"; did you mean {guess}?" if guess else "")


def show(value: Any) -> str:
    """Return a value as it stands in a docket, short and on one line."""
    match value:
        case bool():
            return "true" if value else "false"
        case int() if abs(value) >= 10**20:
            return "a number of very many digits"
        case int() | float():
            return str(value)
        case str():
            return repr(value if len(value) <= 40 else f"{value[:40]}...")
        case dict():
            return "a table"
        case list():
            return "a list"
        case None:
            return "nothing"
    return f"{value} without quotes"  # a date or a time, which TOML has
