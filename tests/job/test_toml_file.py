"""Places: every key and item of a TOML file is found where it stands."""

import json
import tomllib
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
import tomli_w
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sightsize.base.findings import KeyPath
from sightsize.errors import JobError
from sightsize.job.toml_file import Document, read_document
from sightsize.job.toml_places import Place

KEYS = st.one_of(
    st.sampled_from(["aperture", "width", "lobby-oak", "2026", "a.b", "", "Straße", "🚣", "x y"]),
    st.text("abé\"\\'.#=[]\t ", max_size=4),
)
TEXTS = st.text("a1\"\\'#=[]{},é🚣\n\u2028\x85 ", max_size=8)
SCALARS = st.one_of(
    st.booleans(),
    st.integers(-(2**31), 2**31),
    st.floats(allow_nan=False, width=32),
    st.just(date(2026, 5, 1)),
    TEXTS,
)
VALUES: st.SearchStrategy[Any] = st.recursive(
    SCALARS,
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(KEYS, inner, max_size=3),
        st.lists(st.dictionaries(KEYS, inner, min_size=1, max_size=3), max_size=3),
    ),
    max_leaves=12,
)
DOCUMENTS = st.dictionaries(KEYS, VALUES, max_size=4)


def key_paths(value: object, path: KeyPath = ()) -> Iterator[KeyPath]:
    if path:
        yield path
    if isinstance(value, dict):
        for key, child in value.items():
            yield from key_paths(child, (*path, key))
    elif isinstance(value, list):
        for index, child in enumerate(value):
            yield from key_paths(child, (*path, index))


def text_at(text: str, place: Place) -> str:
    lines = text.split("\n")
    return "\n".join([lines[place.line - 1][place.column - 1 :], *lines[place.line :]])


def begins_with_key(text: str, key: str) -> bool:
    """True when the text begins with the key, bare or in either kind of quotes."""
    if not text.startswith(('"', "'")):
        return key != "" and text.startswith(key) and not text[len(key) : len(key) + 1].isalnum()
    quote = text[0]
    for end in range(1, len(text)):
        if text[end] == quote and list(tomllib.loads(_line(text[: end + 1]))) == [key]:
            return True
    return False


def _line(key: str) -> str:
    try:
        tomllib.loads(f"{key} = 0")
    except tomllib.TOMLDecodeError:
        return ""
    return f"{key} = 0"


def begins_with_item(text: str, value: object) -> bool:
    """True when the text begins with the value as TOML."""
    for end in range(1, len(text) + 1):
        try:
            if tomllib.loads(f"x = {text[:end]}") == {"x": value}:
                return True
        except tomllib.TOMLDecodeError:
            continue
    return False


def value_at(values: object, path: KeyPath) -> object:
    for part in path:
        assert isinstance(values, dict | list)
        values = values[part]  # type: ignore[index]
    return values


def assert_all_placed(document: Document, text: str) -> None:
    for path in key_paths(document.values):
        assert path in document.places, path
        found = text_at(text, document.places[path])
        if isinstance(path[-1], str):
            assert begins_with_key(found, path[-1]), (path, found)
        elif isinstance(item := value_at(document.values, path), dict) and found[0] != "{":
            # An array of tables: the item's place is its header.
            assert begins_with_key(found, str(path[-2])), (path, found)
        else:
            assert begins_with_item(found, item), (path, found)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(values=DOCUMENTS, windows=st.booleans())
def test_every_key_of_a_written_document_is_placed(
    values: dict[str, Any], windows: bool, tmp_path: Path
) -> None:
    text = tomli_w.dumps(values)
    job = tmp_path / "job.toml"
    job.write_bytes((text.replace("\n", "\r\n") if windows else text).encode())
    document = read_document(job)
    assert document.values == values
    assert_all_placed(document, text)


HAND_WRITTEN = {
    "inline tables": "a = { b = 1, c = { d = [1, { e = 2 }] } }\nf = [ { g = 1 }, { g = 2 } ]\n",
    "dotted keys": 'tone.grade = 3\ntone . "exposure" = 0.1\n[print]\nmono.filter = "red"\n',
    "quoted keys": '"a b" = 1\n\'c.d\' = 2\n["e.f"."g"]\n"\\u00e9" = 3\n',
    "arrays of tables": (
        "[[prints]]\na = 1\n[prints.tone]\ngrade = 2\n[[prints.edges]]\nb = 1\n[[prints.edges]]\n"
        "b = 2\n[prints.edges.deep.deeper]\nc = 3\n[[prints]]\na = 2\n[prints.tone]\ngrade = 3\n"
    ),
    "comments": (
        "# first\n[a] # a\n# in a\nb = [ # open\n  # before 1\n  1, # after 1\n  2,\n  # last\n]\n"
    ),
    "headers that make their parents": (
        "[frames.lobby-oak.rebate]\nwidth = 1\n[frames.lobby-oak]\nx = 2\n"
    ),
    "text before the key": '"ä" = { "🚣" = "Ünïcödé", key = 1, "Straße" = [1, 2] }\n',
    "odd line ends in texts": 'a = { b = """one\u2028two\n  three""", c = 1 }\nd = 2\n',
    "no newline at the end": "a = 1\nb.c = 2",
}


@pytest.mark.parametrize("name", HAND_WRITTEN)
@pytest.mark.parametrize("line_end", ["\n", "\r\n"], ids=["LF", "CRLF"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"], ids=["plain", "BOM"])
def test_every_key_of_a_hand_written_document_is_placed(
    name: str, line_end: str, mark: bytes, tmp_path: Path
) -> None:
    text = HAND_WRITTEN[name]
    job = tmp_path / "job.toml"
    job.write_bytes(mark + text.replace("\n", line_end).encode())
    assert_all_placed(read_document(job), text)


def test_places_are_lines_and_characters(write_job: Callable[..., Path]) -> None:
    document = read_document(
        write_job('[[prints]]\n"Straße" = { "ü" = 1, width = 2 }\n\n[[prints]]\ntone.grade = 3\n')
    )
    assert document.place(("prints", 0)) == Place(1, 3)
    assert document.place(("prints", 0, "Straße", "width")) == Place(2, 23)
    assert document.place(("prints", 1, "tone", "grade")) == Place(5, 6)


def test_a_key_that_is_not_there_is_placed_at_what_is_around_it(
    write_job: Callable[..., Path],
) -> None:
    document = read_document(write_job("sightsize = 1\n\n[frames.lobby-oak]\nx = 1\n"))
    assert document.place(("frames", "lobby-oak", "rebate", "width")) == Place(3, 9)
    assert document.place(("paper",)) == Place(1, 1)


@pytest.mark.parametrize(
    ("text", "line", "column"),
    [
        ("a = 1\nb = \n", 2, 1),
        ("a = 1\nb", 2, 1),
        ("a = 1\n\n\n  b = oak\n", 4, 7),
        ("a = 1\na = 2\n", 2, 1),
        ('"ä" = "ö" 3\n', 1, 11),
        ("[a]\nx = 1\n[a]\n", 3, 1),
        ("a = 1\r\nb = 2\r\nc == 3\r\n", 3, 4),
        ('a = """\nnever closed\n', 2, 1),
    ],
)
def test_syntax_errors_carry_their_place(text: str, line: int, column: int, tmp_path: Path) -> None:
    job = tmp_path / "job.toml"
    job.write_bytes(text.encode())
    with pytest.raises(JobError) as caught:
        read_document(job)
    (finding,) = caught.value.findings
    assert (finding.check, finding.line, finding.column) == ("toml", line, column)
    assert finding.found == text.split("\n")[line - 1].strip()
    assert finding.remedy


@given(st.text("abé=[]{}\"'.,#\n 12", max_size=30))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_any_text_is_read_or_answered(tmp_path: Path, text: str) -> None:
    job = tmp_path / "job.toml"
    job.write_bytes(text.encode())
    try:
        document = read_document(job)
    except JobError as error:
        lines = text.split("\n")
        finding = error.findings[0]
        assert 1 <= finding.line <= len(lines)
        assert 1 <= finding.column <= len(lines[finding.line - 1]) + 1
        return
    assert_all_placed(document, text)


def test_values_are_those_of_tomllib(write_job: Callable[..., Path]) -> None:
    text = "\n".join(f"k{index} = {json.dumps(index)}" for index in range(50))
    assert read_document(write_job(text)).values == tomllib.loads(text)
