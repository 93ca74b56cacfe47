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

from sightsize.base.findings import Finding, KeyPath
from sightsize.errors import JobError, reason_of

_LINE = 'Write one key = value per line, with quotes around text ("...") and none around numbers.'

# What tomllib says and the line, as a pattern; what is wrong; what to write.
_SLIPS = (
    (r"[“”„]", "curly quotes do not work in TOML", 'Use straight ones: "...".'),
    (
        r"^cannot (overwrite|declare|mutate)",
        "this key or table is already set further up",
        "Merge the two, or remove one.",
    ),
    (
        r"^(unescaped '\\'|invalid hex)",
        "a backslash has a special meaning in TOML",
        'Write / in paths, as in "pictures/cox.jpg".',
    ),
    (
        r'\d""',
        "the inch mark ends the text too early",
        """Write in, as in "7 1/4 in", or put single quotes around it: '7 1/4"'.""",
    ),
    (r"^illegal character '\\n'", "a quotation mark is missing on this line", 'Add the missing ".'),
    (r"^expected '=' after", "a key needs = after it", "Write key = value."),
    (
        r"^expected '\]' at the end",
        "a table name contains a character that needs quotes",
        'Use only letters, digits, - and _, or quote the name: [frames."lobby oak"].',
    ),
    (
        r"^unclosed array",
        "a list before this point is not closed or lacks a comma",
        "Add the missing ] or comma.",
    ),
    (
        r"^unclosed inline table",
        "a table before this point is not closed or lacks a comma",
        "Add the missing } or comma, and keep { ... } on one line.",
    ),
    (r"\n.*= *(true|false|yes|no|on|off)\b", "this is not a valid value", "Write true or false."),
    (r"\n.*= *[-+]?\d+,\d", "a number has a decimal comma", "Use a point, as in 0.5."),
    (
        r"\n.*= *[-+]?(\.\d|0\d)",
        "a number must start with a digit and have no leading zero",
        "Write 0.5 for .5, and 2 for 02.",
    ),
    (r"^expected newline", "this line has more than one value", _LINE),
    (r"^invalid value", "this is not a valid value", _LINE),
)


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
        return Document(path, values, _places(text))
    except OSError as error:
        why = f"{reason_of(error)}; name a job file that can be read"
        raise JobError([_say_unreadable(path, f"cannot read the file: {why}")]) from error
    except UnicodeDecodeError as error:
        raise JobError(
            [_say_unreadable(path, "the file is not UTF-8 text; save it as UTF-8")]
        ) from error
    except tomllib.TOMLDecodeError as error:
        raise JobError([_syntax_finding(path, str(error), text)]) from error
    except ValueError as error:  # Python reads no integer of more than 4300 digits
        raise JobError(
            [_say_unreadable(path, "a number has too many digits; write fewer")]
        ) from error
    except RecursionError as error:
        raise JobError([_say_unreadable(path, "lists or tables are nested too deeply")]) from error


def _say_unreadable(path: Path, message: str) -> Finding:
    return Finding(level="refuse", check="toml", message=f"{message}.", file=str(path))


def _syntax_finding(path: Path, message: str, text: str) -> Finding:
    # tomllib states the place only inside its message before Python 3.14.
    match = re.search(r"\(at line (\d+), column (\d+)\)", message)
    lines = text.rstrip().split("\n")
    row, column = (int(match[1]), int(match[2])) if match else (len(lines), len(lines[-1]) + 1)
    line = lines[row - 1].rstrip() if row <= len(lines) else ""
    if column > len(line) or message.startswith("Cannot"):
        column = len(line) - len(line.lstrip()) + 1
    said, remedy = _explain(re.sub(r"\s*\(at .*\)", "", message), line)
    return Finding(
        level="refuse",
        check="toml",
        message=f"{said}.",
        remedy=remedy,
        file=str(path),
        line=row,
        column=column,
        found=line.strip(),
    )


def _explain(said: str, line: str) -> tuple[str, str]:
    """Return what is wrong on a line that is not TOML, and what to write."""
    for pattern, message, remedy in _SLIPS:
        if re.search(pattern, f"{said}\n{line}", re.IGNORECASE):
            return message, remedy
    return f"this line is not TOML: {said[:1].lower()}{said[1:]}", _LINE


def _places(text: str) -> dict[KeyPath, Place]:
    language = tree_sitter.Language(tree_sitter_toml.language())
    tree = tree_sitter.Parser(language).parse(text.encode())
    walker = _PlaceWalker(text.split("\n"))
    walker.walk_document(tree.root_node)
    return walker.places


@dataclass(frozen=True)
class _Part:
    """One part of a dotted key, with the node that spells it."""

    name: str
    node: tree_sitter.Node


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
                self._walk_table(node, self._walk_header(_named_children(node)[0]))
            elif node.type == "table_array_element":
                header = _named_children(node)[0]
                name = self._walk_header(header)
                index = self._array_lengths.get(name, 0)
                self._array_lengths[name] = index + 1
                self._note((*name, index), list(_key_parts(header))[-1].node)
                self._walk_table(node, (*name, index))

    def _walk_header(self, key: tree_sitter.Node) -> KeyPath:
        """Return a header's path with the running index after each array of tables but the last."""
        path: KeyPath = ()
        for part in _key_parts(key):
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
        for part in _key_parts(key):
            path = (*path, part.name)
            self._note(path, part.node)
        self._walk_value(value, path)

    def _walk_value(self, node: tree_sitter.Node, path: KeyPath) -> None:
        if node.type == "inline_table":
            for child in _named_children(node):
                self._walk_pair(child, path)
        elif node.type == "array":
            for index, child in enumerate(_named_children(node)):
                self._note((*path, index), child)
                self._walk_value(child, (*path, index))

    def _note(self, path: KeyPath, node: tree_sitter.Node) -> None:
        row, byte_column = node.start_point
        line = self._lines[row] if row < len(self._lines) else ""
        column = len(line.encode()[:byte_column].decode(errors="replace")) + 1
        self.places.setdefault(path, Place(row + 1, column))


def _named_children(node: tree_sitter.Node) -> list[tree_sitter.Node]:
    return [child for child in node.named_children if child.type != "comment"]


def _key_parts(node: tree_sitter.Node) -> Iterator[_Part]:
    if node.type == "dotted_key":
        for child in _named_children(node):
            yield from _key_parts(child)
    else:
        text = (node.text or b"").decode()
        yield _Part(text if node.type == "bare_key" else _unquote(text), node)


def _unquote(key: str) -> str:
    return next(iter(tomllib.loads(f"{key} = 0")))
