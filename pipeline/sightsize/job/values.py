"""The texts of a job as typed values: every length, resolution and paper size is read here, once.

What comes after works on numbers and never reads a text again.
"""

from collections.abc import Callable, Mapping
from functools import cache
from typing import Any, NamedTuple

from sightsize.base.findings import KeyPath, nearest
from sightsize.base.paper_sizes import PaperSize, read_paper_size
from sightsize.base.paths import read_path
from sightsize.base.schemas import Node, child_node, schema, table_node
from sightsize.base.units import Length, Written, read_length, read_resolution
from sightsize.errors import UnitError
from sightsize.job.messages import one_of

Table = Mapping[str, Any]
Readers = Mapping[str, Callable[[str], object]]

_BY_VIEWING_DISTANCE = "viewing_distance"
"""What ``sharpen.radius`` may be in place of a length."""


class Unreadable(NamedTuple):
    """A text that is not of its key's format: where it stands, and why in a clause."""

    path: KeyPath
    text: str
    format: str
    why: str


def read_values(values: Table, check_ids: frozenset[str]) -> tuple[Table, list[Unreadable]]:
    """Return the values of a job with their texts read, and the texts that could not be.

    Those stay as they are, and so does all that the schema does not know. ``check_ids`` are the
    ids that ``checks.accept`` may name.
    """
    reading = _Reading({**_READERS, "check-id": lambda text: _read_check_id(text, check_ids)})
    return reading.value(values, schema(), ()), reading.unreadable


def table_defaults(name: str) -> dict[str, Any]:
    """Return the defaults of the keys of one table of ``$defs`` that have one, to be changed."""
    return dict(_table_defaults(name))


@cache
def _table_defaults(name: str) -> dict[str, Any]:
    return node_defaults(table_node(name))


def node_defaults(node: Node) -> dict[str, Any]:
    """Return the defaults of the keys of a table, by its node."""
    nodes = {key: child_node(node, key) for key in node["properties"]}
    return {
        key: _Reading(_READERS).value(child["default"], child, ())
        for key, child in nodes.items()
        if "default" in child
    }


def plain(value: Any) -> Any:
    """Return a value as TOML has it: texts in place of what was read from them."""
    if isinstance(value, Written):
        return value.text
    if isinstance(value, dict):
        return {key: plain(child) for key, child in value.items()}
    return [plain(child) for child in value] if isinstance(value, list) else value


class _Reading:
    """Walks values and schema together; notes the texts that cannot be read."""

    def __init__(self, readers: Readers) -> None:
        self.unreadable: list[Unreadable] = []
        self._readers = readers

    def value(self, value: Any, node: Node, path: KeyPath) -> Any:
        """Return a value with every text of a format in it read."""
        if not node:
            return value
        if isinstance(value, str):
            return self._text(value, node.get("format", ""), path)
        if isinstance(value, dict):
            return {
                key: self.value(child, child_node(node, key), (*path, key))
                for key, child in value.items()
            }
        if isinstance(value, list):
            items = child_node(node, 0)
            return [self.value(child, items, (*path, at)) for at, child in enumerate(value)]
        return value

    def _text(self, text: str, name: str, path: KeyPath) -> object:
        read = self._readers.get(name)
        if read is None:
            return text
        try:
            return read(text)
        except ValueError as error:
            self.unreadable.append(Unreadable(path, text, name, str(error)))
            return text


def _read_paper(text: str) -> PaperSize:
    if text.strip() == "auto":
        raise UnitError(
            "'auto' is not available in this version yet; write a size, as in '12x10 in'"
        )
    return read_paper_size(text)


def _read_radius(text: str) -> str | Length:
    return text if text == _BY_VIEWING_DISTANCE else read_length(text)


def _read_check_id(text: str, check_ids: frozenset[str]) -> str:
    if text not in check_ids:
        guess = nearest(text, check_ids)
        hint = (
            f"did you mean {guess!r}?" if guess else f"the checks are {one_of(sorted(check_ids))}"
        )
        raise ValueError(f"there is no check {text!r}; {hint}")
    return text


_READERS: Readers = {
    "length": read_length,
    "resolution": read_resolution,
    "paper-size": _read_paper,
    "sharpen-radius": _read_radius,
    "path": read_path,
}
