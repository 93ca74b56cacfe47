"""The job's schema: the one source of every key, its range, its default and its help text.

It and the docket's are read here; nothing else knows where ``schemas/`` stands.
"""

import json
from collections.abc import Iterable, Iterator
from functools import cache, reduce
from importlib.resources import files
from pathlib import Path
from typing import Any

Node = dict[str, Any]


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
        checkout = Path(__file__).parents[3] / "schemas" / f"{name}.schema.json"
        text = checkout.read_text(encoding="utf-8")
    return dict(json.loads(text))


def follow(node: Node) -> Node:
    """Return a schema node with its reference resolved; keys beside the reference win."""
    if "$ref" not in node:
        return node
    target = table_node(node["$ref"].rsplit("/", 1)[1])
    return {**follow(target), **{key: value for key, value in node.items() if key != "$ref"}}


def table_node(name: str) -> Node:
    """Return the node of one table of ``$defs``."""
    node: Node = schema()["$defs"][name]
    return node


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


def moved_names() -> Iterator[tuple[str, str, str]]:
    """Yield each name of an earlier version, the name of today, and the key that has it.

    A key's names are full (``sharpen.damping``), and the new one is the key; a value's are as a
    job writes them (``gray``).
    """
    names = dict(known_keys())
    for home, node in names.items():
        table = follow(node.get("items", {}))
        for old, new in {**node.get("x-moved", {}), **table.get("x-moved", {})}.items():
            if "properties" in {**node, **table}:
                key = new if new in names else f"{home}.{new}"
                yield f"{home}.{old}", key, key
            else:
                yield old, new, home


def child_node(node: Node, part: str | int) -> Node:
    """Return the node of a table's key or a list's items, an empty one where none is known."""
    if isinstance(part, int):
        return follow(node.get("items", {}))
    return follow(node.get("properties", {}).get(part) or node.get("additionalProperties") or {})


def node_at(path: Iterable[str | int]) -> Node:
    """Return the schema's node for a key path of a job."""
    return reduce(child_node, path, schema())


def holds_tables(node: Node) -> bool:
    """Return whether a key takes a list of tables."""
    return bool(follow(node.get("items", {})).get("type") == "object")


RECIPE_TABLES = tuple(table_node("recipe")["properties"])
"""Tables that may stand in a job, a recipe, a frame or a print and are merged key by key."""
