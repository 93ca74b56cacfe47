"""Every key of a table that cascades reaches the settings of a print; the schema says which."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
import tomli_w

from sightsize.base import units
from sightsize.base.schemas import RECIPE_TABLES, Node, child_node, schema, table_node
from sightsize.base.units import Length, read_length
from sightsize.job.build import build
from sightsize.job.load import load_job
from sightsize.job.values import plain, read_values
from sightsize.model.job import PrintRequest
from sightsize.model.picture import KeepClear, Region
from sightsize.model.settings import Aperture, AreaShare, Edges, Frame, Sharpen, Tone

TEXTS = {
    "length": ["0.7 mm", "0.9 mm"],
    "resolution": ["200 ppi", "210 ppi"],
    "paper-size": ["12x10 in", "14x11 in"],
    "sharpen-radius": ["0.21 mm"],
    "path": ["grey"],
    "check-id": ["crop-loss"],
}
"""Texts that each format can be set to."""

BASE: dict[str, Any] = {
    "sightsize": 1,
    "aperture": {"width": "143 mm", "height": "198 mm", "mat_thickness": "1.4 mm"},
    "paper": {"size": "10x8 in"},
    "mono": {"filter": "yellow"},
    "toner": {"kind": "sepia"},
    "delivery": {"format": "tiff"},
    "prints": [{"source": "cox.jpg"}],
}
BESIDE = {"delivery.profile": {"toner": {"kind": "none"}}}
"""What a key cannot be set without."""

KEYS = [f"{table}.{key}" for table in RECIPE_TABLES for key in table_node(table)["properties"]]


def others(node: Node) -> Iterator[Any]:
    """Yield valid values of a key, more than one where it takes more than one kind."""
    kinds = [node.get("type")] if isinstance(node.get("type"), str) else node.get("type", [])
    yield from node.get("enum", [])
    yield from node.get("then", {}).get("enum", [])
    if "boolean" in kinds:
        yield from (True, False)
    if "number" in kinds or "integer" in kinds:
        low, high = node.get("minimum", node.get("exclusiveMinimum")), node["maximum"]
        whole = kinds == ["integer"]
        yield from (int(low + (high - low) * share) if whole else low + (high - low) * share
                    for share in (0.25, 0.5))  # fmt: skip
    if "string" in kinds:
        yield from TEXTS.get(node.get("format", ""), ["{number}"] if "then" not in node else [])
    if "object" in kinds:
        wanted = node.get("required", [])
        yield {key: next(others(child_node(node, key))) for key in wanted}
    if "array" in kinds:
        yield list_of(node)


def list_of(node: Node) -> list[Any]:
    """A list of a node: its curve rises, and the numbers of a list differ."""
    items = child_node(node, 0)
    if items["type"] == "array":
        return [[0, 0], [40, 50], [100, 100]]
    found = list(others(items)) * 2
    return found[: node.get("minItems", 1)]


def request(folder: Path, print_tables: Mapping[str, Any], **tables: Any) -> PrintRequest:
    """The only print of a job, without where its values stand and the job it would be alone."""
    values = {**BASE, **tables, "prints": [{**BASE["prints"][0], **print_tables}]}
    path = folder / "job.toml"
    path.write_text(tomli_w.dumps(values), encoding="utf-8")
    (only,) = load_job(path, frozenset({"crop-loss"})).prints
    return replace(only, origins={}, own_job={})


@pytest.mark.parametrize("name", KEYS)
def test_every_key_changes_the_settings_of_its_print(name: str, tmp_path: Path) -> None:
    table, _, key = name.partition(".")
    node, beside = child_node(table_node(table), key), BESIDE.get(name, {})
    before = request(tmp_path, {}, **beside)
    now = BASE.get(table, {}).get(key, node.get("default"))
    tried = [value for value in others(node) if value != now]
    assert tried
    for value in tried:
        after = request(tmp_path, {table: {key: value}}, **beside)
        if name != "delivery.name":  # a paper's size stands in the name, which is not enough
            after = replace(after, name=before.name)
        assert after != before, value


def test_every_kind_of_a_value_is_tried() -> None:
    def tried(name: str) -> set[type]:
        table, key = name.split(".")
        return {type(value) for value in others(child_node(table_node(table), key))}

    assert tried("tone.black_point") == {float, dict}
    assert tried("sharpen.gain") == {str, float}
    assert tried("aperture.reveal") == {str, dict}
    assert tried("delivery.keep_master") == {bool}


# From a table to settings.


def test_a_length_may_be_left_to_be_found_out() -> None:
    assert build(Sharpen, "sharpen", {}).radius_mm is None
    assert build(Sharpen, "sharpen", {"radius": read_length("1/8 in")}).radius_mm == Fraction(
        127, 40
    )


def test_what_is_given_wins_and_what_is_absent_has_the_default() -> None:
    frame = build(Frame, "frame", {}, name="lobby-oak")
    assert frame == Frame(name="lobby-oak", bottom_weight_mm=Fraction(0))
    assert (
        build(Frame, "frame", {"bottom_weight": read_length("2 mm")}, name="x").bottom_weight_mm
        == 2
    )


def test_an_unknown_settings_field_is_a_fault_of_the_program() -> None:
    with pytest.raises(TypeError):
        build(Frame, "frame", {})


@pytest.mark.parametrize(
    ("value", "point"), [(7, 7.0), ({"share": 0.02}, AreaShare(0.02))], ids=["L*", "share"]
)
def test_an_end_point_is_a_lightness_or_a_share(value: Any, point: float | AreaShare) -> None:
    assert build(Tone, "tone", {"black_point": value}).black_point == point


def test_one_length_is_every_edge_and_a_reveal_leaves_no_overlap() -> None:
    opening = {"width": read_length("143 mm"), "height": read_length("198 mm")}
    each = Edges(*[Fraction(4)] * 4)
    both = build(Aperture, "aperture", opening | {"reveal": read_length("4 mm")})
    assert (both.overlap_mm, both.reveal_mm) == (None, each)
    assert build(Aperture, "aperture", opening).overlap_mm == Edges(*[Fraction(3)] * 4)


def test_a_box_is_exact() -> None:
    part = build(KeepClear, "keep_clear", {"box": [0.1, 0.2, 0.3, 0.4]})
    tenths = [Fraction(number, 10) for number in (1, 2, 3, 4)]
    assert (part.box, part.clearance_mm, part.label) == (Region(*tenths), Fraction(6), "part")


# Texts and back.


def test_values_remember_their_text() -> None:
    job = {**BASE, "local_contrast": {"neighbourhood": '1/4"'}, "sharpen": {"radius": "9 m"}}
    values, unreadable = read_values(job, frozenset())
    assert unreadable == []
    assert values["aperture"]["width"] == Length("143 mm", Fraction(143))
    assert str(values["local_contrast"]["neighbourhood"]) == '1/4"'
    assert plain(values) == job


def test_a_text_that_cannot_be_read_stays_and_is_told() -> None:
    job = {"frames": {"bar": {"aperture": {"width": "7"}}}, "checks": {"accept": ["crop"]}}
    values, unreadable = read_values(job, frozenset({"crop-loss"}))
    assert values == job
    assert [(each.path, each.text, each.format) for each in unreadable] == [
        (("frames", "bar", "aperture", "width"), "7", "length"),
        (("checks", "accept", 0), "crop", "check-id"),
    ]


def test_each_text_is_parsed_once(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    units.read_length.cache_clear()  # another test may have read the same texts
    request(tmp_path, {})  # reads the defaults
    parsed: list[str] = []

    def counted(text: str) -> Any:
        parsed.append(text)
        return parse(text)

    parse = units._parse_quantity
    monkeypatch.setattr(units, "_parse_quantity", counted)
    tables = {
        "aperture": {"width": "141.3 mm", "overlap": "3.3 mm"},
        "grain": {"size": "0.113 mm"},
        "sharpen": {"radius": "0.123 mm"},
        "tone": {"edge_burn": {"stops": 1, "width": "9.13 mm"}},
    }
    request(tmp_path, tables, pictures={"cox": {"source": "cox.jpg", "spotting": [
        {"at": [0.5, 0.5], "radius": "0.313 mm"}]}})  # fmt: skip
    assert sorted(parsed) == ["0.113 mm", "0.123 mm", "0.313 mm", "141.3 mm", "3.3 mm", "9.13 mm"]


def test_what_the_schema_does_not_know_is_left_alone() -> None:
    odd = {"apertur": {"width": "7"}, "prints": "none", "paper": [{"size": "x"}]}
    assert read_values(odd, frozenset()) == (odd, [])
    assert schema()["properties"].keys() >= {"paper", "prints"}
