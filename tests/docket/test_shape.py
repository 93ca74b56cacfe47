"""The quick check of a docket is no looser than its schema, by the reference validator."""

import copy
import math
from collections.abc import Iterator
from datetime import date
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from docket_records import whole_record
from sightsize.base.schemas import schema_file
from sightsize.docket.docket_file import record_shape
from sightsize.docket.shape import DEEPEST, shape_of, show

SCHEMA = schema_file("docket")
REFERENCE = Draft202012Validator({"$defs": SCHEMA["$defs"], "$ref": "#/$defs/print"})
Path = tuple[Any, ...]


def places(value: Any, path: Path = ()) -> Iterator[Path]:
    """Every place in a value, its own among them."""
    yield path
    inner: Any = ()
    if isinstance(value, dict):
        inner = value.items()
    elif isinstance(value, list):
        inner = enumerate(value)
    for key, child in inner:
        yield from places(child, (*path, key))


PLACES = list(places(whole_record()))
TEXTS = ["", "p1.tif", "p1.tif\n", "../p.tif", "0" * 64, "0" * 64 + "\n", "sha256:" + "f" * 64]
TEXTS += ["masters/a.tif", "masters/../a.tif", "a\0b", "é", "x" * 300, "rgb", "JPEG", "2026-05-04"]
PLAIN = st.one_of(
    st.sampled_from([0, 1, -1, 8, 9, 2**63 - 1, 2**63, -(2**63), -(2**63) - 1, 10**30]),
    st.sampled_from([0.5, -0.5, 3.5, 1e300]),
    st.sampled_from(TEXTS),
    st.booleans(),
    st.sampled_from([[], {}, [[]], [{}], ["x"], {"x": 1}, None]),
    st.text(max_size=3),
)
ODD = st.sampled_from(
    [2.0, 8.0, math.nan, math.inf, -math.inf, date(2026, 5, 4), "\ud800", {"\ud800": 1}]
)
"""What a validator takes for a whole number or leaves alone, and no docket may hold."""


def nested(depth: int) -> Any:
    value: Any = 1
    for _ in range(depth):
        value = [value]
    return value


@st.composite
def mutated(draw: st.DrawFn, values: st.SearchStrategy[Any]) -> Any:
    """A whole record with a few values put in, keys added, or parts taken away."""
    record: Any = whole_record()
    for _ in range(draw(st.integers(1, 3))):
        path = draw(st.sampled_from(PLACES))
        table = record
        for part in path[:-1]:
            table = table[part] if _has(table, part) else None
        if not path or not _has(table, path[-1]):
            continue
        way = draw(st.sampled_from(["put", "put", "put", "take", "add"]))
        if way == "take":
            del table[path[-1]]
        elif way == "add" and isinstance(table[path[-1]], dict):
            table[path[-1]][draw(st.sampled_from(["x", "file", "gain", "remark"]))] = draw(values)
        elif way == "add" and isinstance(table[path[-1]], list):
            table[path[-1]].append(draw(values))
        else:
            table[path[-1]] = draw(values)
    return record


def _has(table: Any, part: Any) -> bool:
    if isinstance(table, dict):
        return part in table
    return isinstance(table, list) and isinstance(part, int) and part < len(table)


def test_a_whole_record_has_the_shape() -> None:
    assert record_shape().fault(whole_record()) is None
    assert REFERENCE.is_valid(whole_record())


@given(mutated(PLAIN))
@example(whole_record(file="p1.tif\n"))
@example(whole_record(identity=f"sha256:{'0' * 64}\n"))
def test_of_plain_values_both_take_the_same(record: Any) -> None:
    assert (record_shape().fault(record) is None) == REFERENCE.is_valid(record), (
        record_shape().fault(record)
    )


@given(mutated(st.one_of(PLAIN, ODD)))
def test_of_any_values_no_more_is_taken_than_by_the_schema(record: Any) -> None:
    if record_shape().fault(record) is None:
        assert REFERENCE.is_valid(record)


@given(st.recursive(st.one_of(PLAIN, ODD), lambda inner: st.lists(inner, max_size=2)))
def test_a_record_that_is_something_else(value: Any) -> None:
    assert record_shape().fault(value) is not None


@pytest.mark.parametrize(
    ("path", "value", "said"),
    [
        (("output", "bytes"), "many", "found 'many'; it takes a whole number"),
        (("output", "bytes"), -1, "found -1; it takes a whole number from 0"),
        (("output", "bytes"), True, "found true; it takes a whole number"),
        (("output", "bytes"), 16**6000, "found a number of very many digits; it takes a whole "
         "number from 0"),
        (("seconds",), math.nan, "found nan; it takes a number from 0 to 1000000000"),
        (("measured", "width"), 190.2,
         "found 190.2; it takes text in quotes, such as \"190.2 mm\""),
        (("measured", "remark"), date(2026, 5, 4), "found 2026-05-04 without quotes; it takes text "
         "in quotes"),
        (("masters", 0, "sharpening", "gain"), 4, "found 4; it takes a number from 0 to 3"),
        (("output", "sha256"), "é" * 64, f"found '{'é' * 40}...'; it takes 64 digits of 0-9 and "
         "a-f"),
        (("file",), "../p.tif", "found '../p.tif'; it takes one plain file name that ends with "
         ".jpg or .tif"),
        (("file",), "x" * 300, "the text has 300 characters; it takes at most 255"),
        (("made",), "", "the text is empty"),
        (("sources",), [], "the list has 0 entries; it takes at least 1"),
        (("sources", 0, "header", "colour"), "hsv", "found 'hsv'; it takes 'rgb', 'grey' or "
         "'cmyk'"),
        (("job", "tone", "exposure"), None, "found nothing; it takes a number, true or false, a "
         "list, a table, or text in quotes"),
        (("job", "tone", "exposure"), "\ud800", "'\\ud800' holds half a character"),
        (("job", "tone"), nested(30), "tables or lists are nested too deeply here"),
    ],
    ids=lambda value: type(value).__name__ if isinstance(value, int) else None,
)  # fmt: skip
def test_what_is_wrong_is_said_in_a_sentence(path: Path, value: Any, said: str) -> None:
    record = whole_record()
    table: Any = record
    for part in path[:-1]:
        table = table[part]
    table[path[-1]] = value
    fault = record_shape().fault(record)
    assert fault is not None
    assert fault[0][: len(path)] == path
    assert fault[1] == said
    assert fault[1].isprintable()


def test_a_key_that_is_unknown_or_missing_is_named() -> None:
    record = whole_record()
    record["sorces"] = record.pop("sources")
    assert record_shape().fault(record) == (
        (), "there is no key 'sorces' here; did you mean sources?"
    )  # fmt: skip
    del record["sorces"]
    assert record_shape().fault(record) == ((), "sources is missing")


def test_the_deepest_place_of_a_docket_leaves_room() -> None:
    deepest = max(len(path) for path in PLACES)
    assert 2 * deepest < DEEPEST


def test_a_keyword_without_a_check_is_no_surprise() -> None:
    loose = copy.deepcopy(SCHEMA)
    loose["$defs"]["sha256"]["format"] = "hex"
    with pytest.raises(ValueError, match="no check is known for format"):
        shape_of(loose)


@pytest.mark.parametrize(
    "value",
    [16**6000, "x\n" * 999, {"a": 1}, [1], None, 1.5, "\u202e"],
    ids=lambda each: type(each).__name__,
)
def test_any_value_is_shown_on_one_short_line(value: Any) -> None:
    assert show(value).isprintable()
    assert len(show(value)) < 100
