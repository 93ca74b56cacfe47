"""A TOML file as values with positions.

The values and the syntax errors are tomllib's. The positions come from the syntax tree of
tree-sitter's TOML grammar: every key path of the document is mapped to the line and column of the
key that set it (or of the item, in an array).
"""

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tree_sitter
import tree_sitter_toml

from sightsize.findings import Finding, JobError, KeyPath


@dataclass(frozen=True)
class Place:
    """Line and column of a key or an item, both from 1; columns count characters."""

    line: int
    column: int


@dataclass(frozen=True)
class Document:
    """The values of a TOML file and the places of its key paths."""

    path: Path
    values: dict[str, Any]
    places: dict[KeyPath, Place]

    def place(self, key: KeyPath) -> Place:
        """Return the place of a key path, or of the nearest path around it that the file has."""
        while key and key not in self.places:
            key = key[:-1]
        return self.places.get(key, Place(1, 1))


def read_document(path: Path) -> Document:
    """Read a TOML file. Raises JobError with one finding when it is missing or not TOML."""
    try:
        text = path.read_bytes().decode("utf-8-sig")
        values = tomllib.loads(text)
    except OSError as error:
        why = f"{(error.strerror or str(error)).lower()}; name a job file that can be read"
        raise JobError([_unreadable(path, f"cannot read the file: {why}")]) from error
    except UnicodeDecodeError as error:
        raise JobError(
            [_unreadable(path, "the file is not UTF-8 text, as TOML must be")]
        ) from error
    except tomllib.TOMLDecodeError as error:
        raise JobError([_syntax_finding(path, str(error), text)]) from error
    except RecursionError as error:
        raise JobError([_unreadable(path, "arrays or tables are nested too deeply")]) from error
    return Document(path, values, _places(text))


def _unreadable(path: Path, message: str) -> Finding:
    return Finding(level="stop", check="toml", message=message, file=str(path))


def _syntax_finding(path: Path, message: str, text: str) -> Finding:
    # tomllib states the place only inside its message before Python 3.14.
    match = re.search(r"\(at line (\d+), column (\d+)\)", message)
    lines = text.splitlines() or [""]
    line, column = (int(match[1]), int(match[2])) if match else (len(lines), len(lines[-1]) + 1)
    said = re.sub(r"\s*\(at .*\)", "", message)
    return Finding(
        level="stop",
        check="toml",
        message=f"this line is not TOML: {said[:1].lower()}{said[1:]}.",
        remedy='Text stands in quotes ("..."), numbers without, one key = value a line.',
        file=str(path),
        line=line,
        column=column,
        found=lines[line - 1].strip() if line <= len(lines) else "",
    )


def _places(text: str) -> dict[KeyPath, Place]:
    language = tree_sitter.Language(tree_sitter_toml.language())
    tree = tree_sitter.Parser(language).parse(text.encode())
    walker = _PlaceWalker(text.splitlines(keepends=True))
    walker.walk_document(tree.root_node)
    return walker.places


class _PlaceWalker:
    """Collects the places of one document's key paths while walking its syntax tree."""

    def __init__(self, lines: list[str]) -> None:
        self.places: dict[KeyPath, Place] = {}
        self._lines = lines
        self._array_lengths: dict[KeyPath, int] = {}

    def walk_document(self, root: tree_sitter.Node) -> None:
        for node in root.named_children:
            if node.type == "pair":
                self._walk_pair(node, ())
            elif node.type == "table":
                self._walk_table(node, self._resolve(_key_parts(node.named_children[0])))
            elif node.type == "table_array_element":
                name = self._resolve(_key_parts(node.named_children[0]))
                index = self._array_lengths.get(name, 0)
                self._array_lengths[name] = index + 1
                self._note(name, node)
                self._walk_table(node, (*name, index))

    def _resolve(self, parts: tuple[str, ...]) -> KeyPath:
        """Return a header's path with the running index after each array of tables but the last."""
        path: KeyPath = ()
        for part in parts[:-1]:
            path = (*path, part)
            if path in self._array_lengths:
                path = (*path, self._array_lengths[path] - 1)
        return (*path, parts[-1])

    def _walk_table(self, node: tree_sitter.Node, path: KeyPath) -> None:
        self._note(path, node.named_children[0])
        for child in node.named_children[1:]:
            if child.type == "pair":
                self._walk_pair(child, path)

    def _walk_pair(self, node: tree_sitter.Node, prefix: KeyPath) -> None:
        key, value = [child for child in node.named_children if child.type != "comment"][:2]
        path = prefix
        for part in _key_parts(key):
            path = (*path, part)
            self._note(path, key)
        self._walk_value(value, path)

    def _walk_value(self, node: tree_sitter.Node, path: KeyPath) -> None:
        children = [child for child in node.named_children if child.type != "comment"]
        if node.type == "inline_table":
            for child in children:
                self._walk_pair(child, path)
        elif node.type == "array":
            for index, child in enumerate(children):
                self._note((*path, index), child)
                self._walk_value(child, (*path, index))

    def _note(self, path: KeyPath, node: tree_sitter.Node) -> None:
        row, byte_column = node.start_point
        line = self._lines[row] if row < len(self._lines) else ""
        column = len(line.encode()[:byte_column].decode(errors="replace")) + 1
        self.places.setdefault(path, Place(row + 1, column))


def _key_parts(node: tree_sitter.Node) -> tuple[str, ...]:
    return tuple(_flat_key_parts(node))


def _flat_key_parts(node: tree_sitter.Node) -> Iterator[str]:
    if node.type == "dotted_key":
        for child in node.named_children:
            yield from _flat_key_parts(child)
    else:
        text = (node.text or b"").decode()
        yield next(iter(tomllib.loads(f"{text} = 0")))
