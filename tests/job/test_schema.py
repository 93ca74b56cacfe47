"""The job schema is the one source of keys, ranges, defaults and help; the code follows it."""

from collections.abc import Callable, Iterator
from dataclasses import fields
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from sightsize.base.paper_sizes import parse_size_mm
from sightsize.base.schemas import RECIPE_TABLES, follow, known_keys, schema
from sightsize.base.units import Length, parse_length_mm, parse_resolution_ppi
from sightsize.errors import JobError
from sightsize.job.load import load_job
from sightsize.job.messages import key_range, kind_text
from sightsize.job.values import table_defaults
from sightsize.model import job, picture, settings
from sightsize.plan.arrange import arrange

KEYS = dict(known_keys())
READERS: dict[str, Callable[[str], object]] = {
    "length": parse_length_mm,
    "resolution": parse_resolution_ppi,
    "paper-size": parse_size_mm,
    "check-id": str,
    "sharpen-radius": str,
    "path": str,
}


TABLES = {"": schema(), **schema()["$defs"]}
ALL_KEYS = {
    f"{table}.{key}": follow(node)
    for table, tree in TABLES.items()
    for key, node in tree.get("properties", {}).items()
}


def test_the_schema_is_valid_json_schema_2020_12() -> None:
    assert schema()["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    Draft202012Validator.check_schema(schema())


def test_every_reference_leads_somewhere() -> None:
    def references(value: object) -> Iterator[str]:
        if isinstance(value, dict):
            if isinstance(value.get("$ref"), str):
                yield value["$ref"]
            for child in value.values():
                yield from references(child)
        elif isinstance(value, list):
            for child in value:
                yield from references(child)

    found = set(references(schema()))
    assert {f"#/$defs/{name}" for name in schema()["$defs"]} == found


@pytest.mark.parametrize("name", ALL_KEYS)
def test_every_key_is_described_and_ranged(name: str) -> None:
    node = ALL_KEYS[name]
    text = node["description"]
    assert text.endswith(".")
    assert text[0].isupper() or text[0] == '"'
    assert kind_text(node)
    if node.get("type") in ("number", "integer"):
        assert " to " in key_range(node)


@pytest.mark.parametrize("name", [name for name, node in ALL_KEYS.items() if "default" in node])
def test_every_default_is_allowed(name: str) -> None:
    node = ALL_KEYS[name]
    standing_alone = {**node, "$defs": schema()["$defs"]}
    Draft202012Validator(standing_alone).validate(node["default"])
    if "format" in node and isinstance(node["default"], str):
        READERS[node["format"]](node["default"])


def test_every_table_refuses_unknown_keys() -> None:
    for name, table in schema()["$defs"].items():
        if "properties" in table:
            assert table["additionalProperties"] is False, name
    assert schema()["additionalProperties"] is False


def test_the_tables_that_cascade_stand_at_every_level() -> None:
    for name in ("frame", "recipe", "print"):
        assert set(RECIPE_TABLES) <= set(schema()["$defs"][name]["properties"]), name
    assert set(RECIPE_TABLES) <= set(schema()["properties"])


def test_no_key_is_both_here_and_later() -> None:
    for table in [schema(), *schema()["$defs"].values()]:
        assert not set(table.get("x-later", [])) & set(table.get("properties", {}))


# Schema table -> dataclass. A field is a key, with its unit as a suffix.
CLASSES: dict[str, type] = {
    "job": job.Job,
    "edges": settings.Edges,
    "aperture": settings.Aperture,
    "paper": settings.Paper,
    "mono": settings.Mono,
    "tone": settings.Tone,
    "split_grade": settings.SplitGrade,
    "edge_burn": settings.EdgeBurn,
    "local_contrast": settings.LocalContrast,
    "tint": settings.Tint,
    "toner": settings.Toner,
    "grain": settings.Grain,
    "sharpen": settings.Sharpen,
    "delivery": settings.Delivery,
    "checks": settings.Thresholds,
    "limits": settings.PrintLimits,
    "frame": settings.Frame,
    "region": picture.Region,
    "keep_clear": picture.KeepClear,
    "picture": picture.Picture,
    "spot": picture.Spot,
    "dust": picture.Dust,
    "camera": picture.Camera,
    "zone": picture.Zone,
    "shade": picture.Shade,
    "raw": picture.RawDevelopment,
    "print": job.PrintRequest,
}
UNITS = {"", "_mm", "_ppi", "_stops", "_degrees", "_lightness", "_megapixels"}
# Keys that the resolved objects hold elsewhere, and fields that no key of the table sets.
RENAMED = {
    ("delivery", "resolution"): "ppi",
    ("paper", "tone"): "tone_lightness",
    ("split_grade", "from"): "start",
    ("split_grade", "to"): "end",
    ("raw", "white_balance"): "kelvin",
    ("picture", "camera"): "cameras",
}
ELSEWHERE = {
    ("delivery", "name"),
    ("print", "checks"),
    ("print", "ladder"),
    *(("picture", key) for key in ("dodge", "burn")),
    *(("toner", key) for key in ("kind", "hue", "chroma")),
    *(("spot", key) for key in ("at", "line", "width")),
    *(("shade", key) for key in ("ellipse", "polygon", "edge")),
    *(("frame", key) for key in RECIPE_TABLES),
}
ADDED = {
    "job": {"path", "described", "prints"},
    "paper": {"label"},
    "frame": {"name"},
    "picture": {"name", "shades"},
    "camera": {"name"},
    "spot": {"start", "end", "in_faces"},
    "shade": {"shape", "points"},
    "print": {
        "number",
        "name",
        "step",
        "surface",
        "thresholds",
        "limits",
        "origins",
        "own_job",
    },
}


def field_names(table: str) -> set[str]:
    """The fields of a table's class; those of a print's look are its own."""
    names = {field.name for field in fields(CLASSES[table])}
    if table == "print":
        return names - {"look"} | {field.name for field in fields(job.Look)}
    return names


@pytest.mark.parametrize("table", CLASSES)
def test_fields_correspond_to_keys(table: str) -> None:
    names = field_names(table) - ADDED.get(table, set())
    matched: set[str] = set()
    for key in schema()["$defs"][table]["properties"]:
        if (table, key) in ELSEWHERE:
            continue
        renamed = RENAMED.get((table, key))
        found = {renamed} if renamed else {key + unit for unit in UNITS} & names
        assert len(found) == 1, f"{table}.{key} has no field"
        matched |= found
    assert names == matched


def test_every_table_has_a_class() -> None:
    tables = {name for name, table in schema()["$defs"].items() if "properties" in table}
    assert tables == {*CLASSES, "recipe", "rebate", "ladder"}


def test_known_keys_are_the_whole_grammar() -> None:
    for name in (
        "sightsize",
        "job.reference",
        "aperture.overlap.bottom",
        "paper.tone",
        "paper.placement.x",
        "mono.filter_strength",
        "delivery.profile",
        "checks.accept",
        "frames.NAME.rebate.width",
        "pictures.NAME.keep_clear.clearance",
        "prints.copies",
    ):
        assert name in KEYS
    assert "prints.aperture.width" not in KEYS
    leaves = {name.rpartition(".")[2] for name in KEYS}
    for table in schema()["$defs"].values():
        assert set(table.get("properties", {})) <= leaves


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("tone.grade", "a number"),
        ("prints.copies", "a whole number"),
        ("delivery.format", '"jpeg" or "tiff"'),
        ("delivery.bit_depth", "8 or 16"),
        ("paper.tone", '"white" or a number'),
        ("paper.placement", '"centre" or a table of x and y'),
        ("checks.strict", "true or false"),
        ("sightsize", "1"),
    ],
)
def test_kinds_in_words(name: str, kind: str) -> None:
    assert kind_text(KEYS[name]) == kind


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("tone.exposure", "-4 to 4 (stops)"),
        ("delivery.quality", "1 to 100"),
        ("limits.source_megapixels", "above 0, up to 100000 (megapixels)"),
        ("limits.sheet_megapixels", "above 0, up to 100000 (megapixels)"),
    ],
)
def test_ranges_in_words(name: str, words: str) -> None:
    assert key_range(KEYS[name]) == words


def test_defaults_are_not_shared_with_the_schema() -> None:
    default = Length("12 mm", Fraction(12))
    assert table_defaults("paper")["hinge_margin"] == default
    table_defaults("paper").clear()
    assert table_defaults("paper")["hinge_margin"] == default


LONG_JOB = """
sightsize = 1

[job]
title = "Boathouse refit"
reference = "TQ-026"
client = "Tern Quay Rowing Club"
lab = "quillhaven.lab.toml"                       # later
output = "prints"
spend_limit = "40.00 GBP"                         # later

[aperture]
width = "7 1/4 in"
height = "9 5/8 in"
overlap = "3 mm"
measured_at = "back"

[paper]
size = "auto"                                     # later
surface = "lustre"
placement = "centre"
hinge_edge = "top"
hinge_margin = "12 mm"
margin = "5 mm"
tone = "white"

[mono]
response = "luminance"
filter = "yellow"
filter_strength = 1.0

[tone]
exposure = 0.1
curve = [[0, 0], [4, 1], [50, 53], [96, 98], [100, 100]]
grade = 2.4

[local_contrast]
neighbourhood = "8 mm"
gain = 0.15

[toner]
kind = "selenium"

[sharpen]
radius = "0.10 mm"
gain = 0.8
noise_floor = 0.8

[delivery]
resolution = "300 ppi"
format = "jpeg"
quality = 95
bit_depth = 8
profile = "srgb"
rendering_intent = "relative"
black_point_compensation = true
name = "{reference}-{picture}-{frame}-{paper}"

[frames.lobby-oak]
aperture = { width = "7 1/4 in", height = "9 5/8 in" }
rebate = { width = "305 mm", height = "406 mm" }
moulding_width = "22 mm"

[frames.launch-room]
aperture = { width = "6 7/8 in", height = "9 3/8 in" }
rebate = { width = "11 in", height = "14 in" }
bottom_weight = "12 mm"

[recipes.silver]
mono = { response = "panchromatic_film", filter = "orange" }
tone = { grade = 2.6 }

[pictures.cox]
source = "pictures/cox-megaphone.jpg"
level = -0.7
centre_on = [0.42, 0.38]
crop = { left = 0.05, top = 0.10, width = 0.8, height = 0.7 }
keep_clear = [{ box = [0.30, 0.20, 0.20, 0.25], clearance = "6 mm", label = "face" }]
spotting = [{ at = [0.42, 0.31], radius = 0.004 }]

[[prints]]
picture = "cox"
frame = "lobby-oak"
recipe = "silver"
copies = 1

[[prints]]
source = "pictures/catch-four.tif"
frame = "lobby-oak"
"""


def test_every_key_of_a_long_job_is_read_or_not_yet(write_job: Callable[..., Path]) -> None:
    with pytest.raises(JobError) as caught:
        load_job(write_job(LONG_JOB))
    lines = LONG_JOB.split("\n")
    later = {number for number, line in enumerate(lines, 1) if line.endswith("# later")}
    assert {finding.line for finding in caught.value.findings} == later
    for finding in caught.value.findings:
        assert "not available in this version yet" in finding.message


def test_a_long_job_loads_without_what_is_later(write_job: Callable[..., Path]) -> None:
    text = "\n".join(line for line in LONG_JOB.split("\n") if not line.endswith("# later"))
    text = text.replace("[paper]", '[paper]\nsize = "12x8 in"')
    loaded = load_job(write_job(text))
    assert [file.name for file in arrange(loaded)] == [
        "TQ-026-cox-lobby-oak-12x8in.jpg",
        "TQ-026-catch-four-lobby-oak-12x8in.jpg",
    ]
    first: Any = loaded.prints[0].look
    assert (first.tone.grade, first.mono.filter, first.picture.level_degrees) == (
        2.6,
        "orange",
        -0.7,
    )
