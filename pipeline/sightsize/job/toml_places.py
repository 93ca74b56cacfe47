"""Where the keys of a TOML file stand, from the syntax tree of tree-sitter's TOML grammar."""

import tomllib
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass

import tree_sitter
import tree_sitter_toml

from sightsize.base.findings import KeyPath
from sightsize.job.bounds import MOST_LEVELS


@dataclass(frozen=True)
class Place:
    """Line and column of a key or an item, both from 1; columns count characters."""

    line: int
    column: int


def find_places(text: str) -> dict[KeyPath, Place]:
    """Return the place of each key path of a TOML text: of the key that set it, or of the item.

    The text is one of a job within its bounds.
    """
    return _walk(text).places


def find_place(text: str, path: KeyPath) -> Place:
    """Return the place of one key path of a TOML text, or of the nearest around it."""
    walker = _PlaceWalker(text.split("\n"), path)
    with suppress(_FoundError):
        walker.walk_document(_tree(text).root_node)
    while path and path not in walker.places:
        path = path[:-1]
    return walker.places.get(path, Place(1, 1))


class _FoundError(Exception):
    """The one place that was wanted is noted."""


def find_first(lines: list[str], line: int) -> tuple[KeyPath, int] | None:
    """Return the key that a line sets again, and the line that set it first; None if unknown.

    The lines are those of a text that is TOML down to there, but for this.
    """
    try:
        again = _walk("\n".join(lines[:line])).repeats
    except (ValueError, IndexError):  # the end of the line is no TOML either
        return None
    if not again:
        return None
    last = max(where for _, where, _ in again)
    key, _, first = max((each for each in again if each[1] == last), key=lambda each: len(each[0]))
    return key, first


def _walk(text: str) -> "_PlaceWalker":
    walker = _PlaceWalker(text.split("\n"))
    walker.walk_document(_tree(text).root_node)
    return walker


def _tree(text: str) -> tree_sitter.Tree:
    language = tree_sitter.Language(tree_sitter_toml.language())
    return tree_sitter.Parser(language).parse(text.encode())


@dataclass(frozen=True)
class _Part:
    """One part of a dotted key, with the node that spells it."""

    name: str
    node: tree_sitter.Node


class _PlaceWalker:
    """Collects the places of one document's key paths while walking its syntax tree."""

    def __init__(self, lines: list[str], wanted: KeyPath | None = None) -> None:
        """Stops with ``_FoundError`` at a path that is ``wanted``."""
        self._wanted = wanted
        self.places: dict[KeyPath, Place] = {}
        self.repeats: list[tuple[KeyPath, int, int]] = []
        self._columns = _Columns(lines)
        self._array_lengths: dict[KeyPath, int] = {}

    def walk_document(self, root: tree_sitter.Node) -> None:
        for node in root.named_children:
            if node.type == "pair":
                self._walk_pair(node, ())
            elif node.type == "table":
                self._walk_table(node, self._walk_header(_named_children(node)[0]))
            elif node.type == "table_array_element":
                header = _named_children(node)[0]
                name = self._walk_header(header)
                index = self._array_lengths.get(name, 0)
                self._array_lengths[name] = index + 1
                self._note((*name, index), _key_parts(header)[-1].node)
                self._walk_table(node, (*name, index))

    def _walk_header(self, key: tree_sitter.Node) -> KeyPath:
        """Return a header's path with the running index after each array of tables but the last."""
        path: KeyPath = ()
        for part in _key_parts(key)[:MOST_LEVELS]:
            if path in self._array_lengths:
                path = (*path, self._array_lengths[path] - 1)
            path = (*path, part.name)
            self._note(path, part.node)
        return path

    def _walk_table(self, node: tree_sitter.Node, path: KeyPath) -> None:
        for child in _named_children(node)[1:]:
            if child.type == "pair":
                self._walk_pair(child, path)

    def _walk_pair(self, node: tree_sitter.Node, prefix: KeyPath) -> None:
        key, value = _named_children(node)[:2]
        path = prefix
        for part in _key_parts(key)[:MOST_LEVELS]:
            path = (*path, part.name)
            self._note(path, part.node)
        self._walk_value(value, path)

    def _walk_value(self, node: tree_sitter.Node, path: KeyPath) -> None:
        if len(path) > MOST_LEVELS:
            return
        if node.type == "inline_table":
            for child in _named_children(node):
                self._walk_pair(child, path)
        elif node.type == "array":
            for index, child in enumerate(_named_children(node)):
                self._note((*path, index), child)
                self._walk_value(child, (*path, index))

    def _note(self, path: KeyPath, node: tree_sitter.Node) -> None:
        row, byte = node.start_point
        place = Place(row + 1, self._columns.column(row, byte))
        first = self.places.setdefault(path, place)
        if path == self._wanted:
            raise _FoundError
        if first is not place:
            self.repeats.append((path, place.line, first.line))


class _Columns:
    """Columns of characters from those of bytes, asked for mostly from left to right.

    A line is measured from where it was left, so that a file of one long line takes no longer.
    """

    def __init__(self, lines: list[str]) -> None:
        self._lines = lines
        self._row = -1
        self._line = b""
        self._byte = self._character = 0

    def column(self, row: int, byte: int) -> int:
        """Return the column, from 1, of a byte of a row."""
        if row != self._row:
            self._row = row
            self._line = self._lines[row].encode() if row < len(self._lines) else b""
            self._byte = self._character = 0
        if byte < self._byte:
            self._byte = self._character = 0
        self._character += len(self._line[self._byte : byte].decode(errors="replace"))
        self._byte = byte
        return self._character + 1


def _named_children(node: tree_sitter.Node) -> list[tree_sitter.Node]:
    return [child for child in node.named_children if child.type != "comment"]


def _key_parts(node: tree_sitter.Node) -> list[_Part]:
    """The parts of a key in order; a dotted key holds all but its last part in its first."""
    return [_part(each) for each in _leaves(node)][::-1]


def _leaves(node: tree_sitter.Node) -> Iterator[tree_sitter.Node]:
    """The nodes of a key's parts, last first."""
    todo = [node]
    while todo:
        each = todo.pop()
        if each.type == "dotted_key":
            todo += _named_children(each)
        else:
            yield each


def _part(node: tree_sitter.Node) -> _Part:
    text = (node.text or b"").decode()
    return _Part(text if node.type == "bare_key" else _unquote(text), node)


def _unquote(key: str) -> str:
    return next(iter(tomllib.loads(f"{key} = 0")))
