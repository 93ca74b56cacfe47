"""From typed tables of a job to frozen settings.

A field of a settings class is a key of its table, and the field's type says what the value becomes.
The few that are made of several keys, or of no table, have a function each at the end.
"""

from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from fractions import Fraction
from functools import cache
from types import NoneType, UnionType
from typing import Any, Literal, NamedTuple, TypeVar, Union, get_args, get_origin, get_type_hints

from sightsize.base.paper_sizes import PaperSize
from sightsize.base.schemas import Node, child_node, table_node
from sightsize.base.units import Length, Resolution
from sightsize.job.values import Table, node_defaults
from sightsize.model.picture import Point, Region, Shade, Spot
from sightsize.model.settings import EDGES, Aperture, Edges, Paper, Reach, Tint, Toner
from sightsize.numbers.toning import TINTS

Settings = TypeVar("Settings")
Read = Callable[[Any], Any]
Make = Callable[[Table, Table], Any]

_UNITS = ("_mm", "_ppi", "_stops", "_degrees", "_lightness")
"""What the name of a field has beyond its key."""


def build(cls: Callable[..., Settings], name: str, table: Table, /, **given: Any) -> Settings:
    """Return the settings of a table, which is called ``name`` in the schema's ``$defs``.

    A field's key is its name without its unit, or ``key`` in its metadata. A key that the table
    lacks has the schema's default, else the class's. ``given`` are fields that are not read.
    """
    make: Make = _table_maker(cls, name)
    made: Settings = make(table, given)
    return made


def exact(value: Any) -> Fraction:
    """Return a number of the file, or what was read from a text, exactly: 0.1 is a tenth."""
    if isinstance(value, Length):
        return value.mm
    if isinstance(value, Resolution):
        return value.ppi
    return value if isinstance(value, Fraction) else Fraction(str(value))


def region(box: list[float]) -> Region:
    """Return a region of the picture from left, top, width and height."""
    return Region(*map(exact, box))


# A class from a table.


class _Field(NamedTuple):
    """A field of a class, the key that sets it, and what turns the key's value into its own."""

    name: str
    key: str
    read: Read


@cache
def _table_maker(cls: Any, name: str) -> Make:
    return _class_maker(cls, table_node(name))


def _class_maker(cls: Any, node: Node) -> Make:
    """Return what makes an object of a class from a table of a node, and from fields given."""
    defaults, known = node_defaults(node), _fields(cls, node)
    join = _JOINED.get(cls)

    def made(table: Table, given: Table) -> Any:
        full = {**defaults, **table}
        values = {**join(full), **given} if join else {**given}
        for name, key, read in known:
            if key in full and name not in values:
                values[name] = read(full[key])
        return cls(**values)

    return made


def _fields(cls: Any, node: Node) -> list[_Field]:
    """Return the fields of a class that a key of the table sets."""
    hints = get_type_hints(cls)
    keys = {each.name: each.metadata.get("key", _key(each.name)) for each in fields(cls)}
    return [
        _Field(name, key, _reader(hints[name], child_node(node, key)))
        for name, key in keys.items()
        if key in node["properties"]
    ]


def _key(name: str) -> str:
    """Return a field's name without its unit."""
    unit = next((each for each in _UNITS if name.endswith(each)), "")
    return name.removesuffix(unit)


# A value from what a key holds.

_NUMBERS: Mapping[Any, Read] = {float: float, int: int, Fraction: exact}


def _reader(hint: Any, node: Node) -> Read:
    """Return what turns the value of a node's key into one of a type."""
    if is_dataclass(hint):
        return _class_reader(hint, node)
    if get_origin(hint) is tuple:
        return _tuple_reader(get_args(hint), node)
    if get_origin(hint) in (Union, UnionType):
        return _union_reader(get_args(hint), node)
    return _NUMBERS.get(hint, lambda value: value)


def _class_reader(cls: Any, node: Node) -> Read:
    if "properties" not in node:
        return _WHOLE[cls]
    made = _class_maker(cls, node)
    return lambda value: made(value, {}) if isinstance(value, dict) else _WHOLE[cls](value)


def _tuple_reader(parts: tuple[Any, ...], node: Node) -> Read:
    """Return what makes a tuple: of a list, of a sheet's sides, or of a table in its order."""
    if parts[-1] is Ellipsis:
        each = _reader(parts[0], child_node(node, 0))
        return lambda value: tuple(map(each, value))
    reads = [_reader(part, child_node(node, 0)) for part in parts]
    keys = list(node.get("properties", {}))

    def read(value: Any) -> tuple[Any, ...]:
        if isinstance(value, PaperSize):
            value = (value.width_mm, value.height_mm)
        elif isinstance(value, dict):
            value = [value[key] for key in keys]
        return tuple(read(part) for read, part in zip(reads, value, strict=True))

    return read


def _union_reader(members: tuple[Any, ...], node: Node) -> Read:
    """Return what makes one of several types; None for a word where none of them is a text."""
    reads = [(_kinds(each), _reader(each, node)) for each in members if each is not NoneType]

    def read(value: Any) -> Any:
        return next((read(value) for kinds, read in reads if isinstance(value, kinds)), None)

    return read


def _kinds(hint: Any) -> tuple[type, ...]:
    """Return the types of the values that can become one of a type."""
    if hint in (str, bool):
        return (hint,)
    if get_origin(hint) is Literal:
        return (str, int)
    if hint in (int, float, Fraction):
        return (int, float, Length, Resolution)
    return (dict, list, PaperSize, Length)


# What is special.


def _toner(table: Table) -> dict[str, Any]:
    """The named toner, changed by what is given beside it."""
    named = TINTS[table["kind"]]
    hue, chroma = table.get("hue", named.hue_degrees), table.get("chroma", named.chroma)
    both = Tint(float(hue), float(chroma))
    return {key: both for key in ("dark", "light") if key not in table}


def _paper(table: Table) -> dict[str, Any]:
    """The sheet as the job calls it, and the lightness that white stands for."""
    white = {"tone_lightness": 100.0} if table["tone"] == "white" else {}
    return {"label": table["size"].text.strip(), **white}


def _aperture(table: Table) -> dict[str, Any]:
    """No overlap, not even the default, beside a reveal."""
    return {"overlap_mm": None} if "reveal" in table else {}


def _spot(table: Table) -> dict[str, Any]:
    """A round mark, which ends where it starts, or a scratch of half its width to each side."""
    if "at" in table:
        return {"start": _point(table["at"]), "end": _point(table["at"])}
    start, end = map(_point, table["line"])
    return {"start": start, "end": end, "radius": _half(_reach(table["width"]))}


def _shade(table: Table) -> dict[str, Any]:
    """The one shape by its points; an ellipse by the corners of its box."""
    shape = next(key for key in ("ellipse", "polygon", "edge") if key in table)
    if shape != "ellipse":
        return {"shape": shape, "points": tuple(map(_point, table[shape]))}
    left, top, width, height = map(exact, table[shape])
    right, bottom = left + width, top + height
    corners = ((left, top), (right, top), (right, bottom), (left, bottom))
    return {"shape": shape, "points": corners}


def _point(pair: list[float]) -> Point:
    return exact(pair[0]), exact(pair[1])


def _edges(length: Length) -> Edges:
    """One length for every edge."""
    return Edges(*[length.mm] * len(EDGES))


def _reach(value: Length | float) -> Reach:
    """A length on paper, or a share."""
    return Reach(value.mm, None) if isinstance(value, Length) else Reach(None, exact(value))


def _half(width: Reach) -> Reach:
    mm, share = width.mm, width.share
    return Reach(None if mm is None else mm / 2, None if share is None else share / 2)


_JOINED: Mapping[type, Callable[[Table], dict[str, Any]]] = {
    Aperture: _aperture,
    Paper: _paper,
    Shade: _shade,
    Spot: _spot,
    Toner: _toner,
}
"""Fields that are made of several keys, or of one that makes several."""

_WHOLE: Mapping[type, Read] = {Edges: _edges, Reach: _reach, Region: region}
"""Classes that are made of a value that is no table."""
