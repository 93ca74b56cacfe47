"""What to say of a key that its table does not have: what was meant, or where it belongs."""

import re
from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any, cast

from sightsize.base.findings import KeyPath, nearest
from sightsize.base.schemas import (
    RECIPE_TABLES,
    Node,
    follow,
    holds_tables,
    known_keys,
    moved_names,
    schema,
    table_node,
)
from sightsize.job.messages import one_of, say_wanted, table_header
from sightsize.job.toml_file import Document
from sightsize.job.trade_words import answers, keys_meant, plain_word

_IN_PRINT = "write {} below the print's [[prints]]"
_LEVELS = ("prints", "recipes", "frames")
_EITHER = (
    {"picture", "source"},
    {"ellipse", "polygon", "edge"},
    {"at", "line"},
    {"at", "width"},
    {"line", "radius"},
)
"""Keys of one table that exclude one another, besides those marked x-replaces."""


def say_unknown(document: Document, node: Node, path: KeyPath) -> tuple[str, str]:
    """Return the sentence for a key that its table does not have, and what was probably meant.

    ``node`` is the table's.
    """
    key = cast(str, path[-1])
    for said in _answers(document, node, path, key):
        return said
    known = list(node.get("properties", {}))
    where = "this table" if len(path) > 1 else "a job file"
    return f"unknown key; {where} takes {one_of(known)}.", ""


def _answers(document: Document, node: Node, path: KeyPath, key: str) -> Iterator[tuple[str, str]]:
    """Yield what there is to say, the surest first: each with what was probably meant."""
    if key in node.get("x-later", ()):
        yield "not available in this version yet; remove the key.", ""
    if key in node.get("x-moved", {}):
        yield f"this key is now called {node['x-moved'][key]!r}.", node["x-moved"][key]
    if key in _moved_keys():
        yield _say_moved_key(document, path, _moved_keys()[key])
    yield from _say_misplaced(document, path, key)
    yield from _say_trade_word(document, node, path, key)
    yield from _say_of_another_table(node, path, key)
    guess = likely_key(key, node, _value_at(document.values, path[:-1]))
    if guess:
        yield f"unknown key; did you mean {guess!r}?", guess
    twin = nearest(key, node["properties"])
    if twin in _value_at(document.values, path[:-1]):
        yield f"unknown key; {twin!r} is set here already: remove one of the two.", ""
    elif twin:
        yield f"unknown key; {twin!r} does not go with what is set here: keep one of them.", ""


def likely_key(key: str, node: Node, given: Mapping[str, Any]) -> str:
    """Return the key of a table that a misspelt one probably means, or nothing.

    None that the table has already, and none that what it has would exclude.
    """
    known = node["properties"]
    kept = {each for each in given if each in known}
    excluded = {each for group in _EITHER if group & kept for each in group & set(known)}
    excluded |= {other for each in kept for other in known[each].get("x-replaces", ())}
    return nearest(key, [each for each in known if each not in kept | excluded])


# A key that stands elsewhere.


def _say_misplaced(document: Document, path: KeyPath, key: str) -> Iterator[tuple[str, str]]:
    place = _picture_place(document, path, key)
    if place:
        yield f"unknown key here; it belongs to a picture: write {place}.", ""
    if key == "ladder":
        yield f"unknown key here; it belongs to a print: {_IN_PRINT.format(key)}.", ""
    if key in RECIPE_TABLES:
        yield (
            f"unknown key here; put {key} at the top of the job, above the first [table] or "
            f"as [{key}], or in a recipe, a frame or a print.",
            "",
        )
    if key in schema()["properties"]:
        brackets = "[[{}]]" if holds_tables(follow(schema()["properties"][key])) else "[{}]"
        said = key if key == "sightsize" else brackets.format(key)
        yield f"unknown key here; it belongs at the top of the job: write {said} there.", ""


def _say_of_another_table(node: Node, path: KeyPath, key: str) -> Iterator[tuple[str, str]]:
    """A key that only one table has, and not this one."""
    homes = [name for name in RECIPE_TABLES if key in table_node(name)["properties"]]
    homes = homes or [name for name in ("job", "limits") if key in table_node(name)["properties"]]
    if len(homes) != 1:
        return
    full = f"{homes[0]}.{key}"
    if homes[0] in node["properties"]:
        yield f"unknown key; did you mean {full!r}?", full
    else:
        yield f"unknown key here; it belongs to {homes[0]}: write {full}{_where(full, path)}.", ""


def _where(full: str, path: KeyPath) -> str:
    """Where a key may stand, if not in the table of a path."""
    home = full.partition(".")[0]
    if (
        len(path) == 1
        or home == path[-2]
        or (len(path) == 3 and path[0] in _LEVELS and home in RECIPE_TABLES)
    ):
        return ""
    if home in RECIPE_TABLES:
        return " in the job, a recipe, a frame or a print"
    return " at the top of the job"


# A word of the trade.


def _say_trade_word(
    document: Document, node: Node, path: KeyPath, key: str
) -> Iterator[tuple[str, str]]:
    for answer in answers(key):
        yield f"unknown key. {answer}", ""
    names = [name for name in keys_meant(key) if name != ".".join(map(str, path[:-1]))]
    if not names:
        return
    keys = dict(known_keys())
    ways = [f"{_write(document, path, name)} ({_kind(keys[name])})" for name in names]
    where = next((_where(name, path) for name in names if _is_of_level(name)), "")
    guess = names[0] if len(names) == 1 and names[0].partition(".")[0] in node["properties"] else ""
    yield f"unknown key; for {plain_word(key)}, use {one_of(ways)}{where}.", guess


def _kind(node: Node) -> str:
    """What a key takes, without brackets inside brackets."""
    return re.sub(r" \((.*?)\)", r", \1", say_wanted(node))


def _is_of_level(name: str) -> bool:
    return name.partition(".")[0] in RECIPE_TABLES


def _write(document: Document, path: KeyPath, name: str) -> str:
    """How a key is written, seen from the table of a path."""
    home, _, key = name.rpartition(".")
    if len(path) > 1 and home == path[-2]:
        return key
    if home == "pictures.NAME":
        return _write_picture_key(document, path, key)
    if home == "prints":
        return key if path[0] == "prints" else f"{key} below a print's [[prints]]"
    return name


# A key of an earlier version.


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


# A key of a picture.


def _picture_place(document: Document, path: KeyPath, key: str) -> str:
    """Return where a picture's key stands that was written elsewhere in the job, or nothing."""
    of_picture = key in table_node("picture")["properties"]
    of_print = key in table_node("print")["properties"]
    in_level = len(path) == 1 or (len(path) == 3 and path[0] in _LEVELS)
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
        names = [str(path[1])]
    header = table_header(("pictures", names[0] if len(names) == 1 else "NAME"))
    child = follow(table_node("picture")["properties"][key])
    return f"[[{header}.{key}]]" if holds_tables(child) else f"{header}.{key}"


def _value_at(values: Any, path: KeyPath) -> Any:
    for part in path:
        values = values[part]
    return values
