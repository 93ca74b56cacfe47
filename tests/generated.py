"""Jobs and dockets drawn from their schemas, hostile in names, and the answers promised to them."""

from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

from hypothesis import strategies as st

from sightsize.archive.audit import audit_docket
from sightsize.base.schemas import schema_file
from sightsize.checks.run import check_ids
from sightsize.docket.store import Docket
from sightsize.errors import DocketError, JobError
from sightsize.job.load import load_job
from sightsize.plan.arrange import arrange
from sightsize.run.planner import plan_prints

Node = Mapping[str, Any]
Values = st.SearchStrategy[Any]

NAMES = ["cox", "lobby", "Straße", "..", "con", "a/b", "a\\b", "\u202egnp", "x" * 300, "", "\t"]
PATHS = [
    "cox.jpg",
    "srgb",
    "../../a.tif",
    "/dev/null",
    "a\x00b",
    "x" * 300,
    "*",
    "[",
    "**/*.jpg",
    "~",
]
_TEMPLATES = ["{picture}-{number}", "{number}", "{title}", "../{number}", "con", "{", "x" * 300]
_TEXTS = {
    "length": (["3 mm", "1/4 in", '9"', "0 mm"], ["-1 mm", "1e9 m", "3", "1/0 in", "٣ mm"]),
    "resolution": (["300 ppi", "1 ppi"], ["0 ppi", "100000 ppi", "300"]),
    "paper-size": (["12x10 in", "304.8 x 254 mm", "iso_a4_210x297mm"], ["0x0 mm", "auto"]),
    "sharpen-radius": (["viewing_distance", "0.1 mm"], ["9 m"]),
    "check-id": (["crop-loss", "resolution"], ["nothing"]),
}
"""Texts of each format that can be read, and some that cannot."""
_PLAIN: Values = st.one_of(
    st.booleans(), st.integers(-(2**40), 2**40), st.floats(-1e6, 1e6), st.sampled_from(NAMES)
)
_SETTINGS: Values = st.recursive(
    _PLAIN,
    lambda inner: st.one_of(
        st.lists(inner, max_size=3), st.dictionaries(st.sampled_from(NAMES), inner, max_size=3)
    ),
    max_leaves=5,
)
"""What a docket's tables of settings hold, which may stand in each other."""
_NAMED = ("frame", "recipe", "picture", "camera")
_PATHS = ("source", "output", "profile", "assume_profile", "path")
_STRANGE: Values = st.one_of(
    st.sampled_from([True, "", "nan", [], {}, [[]], date(2026, 5, 1), 10**400, -1]),
    st.sampled_from([float("inf"), float("nan"), 1e308, -0.0, 5e-324]),
    st.text("a\x7f\u202e\n\x00é", max_size=4),
)
_WHOLE = {"aperture": {"width": "143 mm", "height": "198 mm"}, "paper": {"size": "10x8 in"}}


def jobs() -> Values:
    """Return a strategy for jobs: half of them without a slip, most with an opening and a sheet."""
    drawn = st.sampled_from([0, 0, 15, 60]).flatmap(lambda slips: _document("job", slips))
    return st.builds(_completed, drawn, st.sampled_from([_WHOLE, _WHOLE, {}]))


def dockets() -> Values:
    """Return a strategy for dockets, half of them without a slip."""
    return st.sampled_from([0, 0, 15, 60]).flatmap(lambda slips: _document("docket", slips))


def _completed(values: dict[str, Any], whole: dict[str, Any]) -> dict[str, Any]:
    """The values with what a job cannot do without, where they do not set it."""
    tables = {key: {**table, **_table(values.get(key))} for key, table in whole.items()}
    prints = values["prints"] if isinstance(values["prints"], list) else []
    named = [
        {"source": "cox.jpg", **each} if isinstance(each, dict) and "picture" not in each else each
        for each in prints
    ]
    return {**values, **tables, "prints": named}


def _table(value: object) -> dict[str, Any]:
    return value if isinstance(value, dict) else {}


def _document(name: str, slips: int) -> Values:
    root = schema_file(name)
    return _Draw(root, slips).tables(root)


class _Draw:
    """Draws values of a schema; about one in ``slips`` is of no kind it asks for, none for 0."""

    def __init__(self, root: Node, slips: int) -> None:
        self._root = root
        self._slips = slips

    def values(self, node: Node, key: str) -> Values:
        """Return a strategy for what a key holds."""
        if node.get("$ref") == "#/$defs/setting":
            return st.one_of(_SETTINGS, _STRANGE) if self._slips else _SETTINGS
        node = self._followed(node)
        right = st.just(node["const"]) if "const" in node else self._right(node, key)
        if not self._slips:
            return right
        slip = st.integers(1, self._slips).map(lambda drawn: drawn == self._slips)
        return slip.flatmap(lambda slipped: _STRANGE if slipped else right)

    def _followed(self, node: Node) -> Node:
        if "$ref" not in node:
            return node
        target = self._followed(self._root["$defs"][node["$ref"].rsplit("/", 1)[1]])
        return {**target, **{each: value for each, value in node.items() if each != "$ref"}}

    def _right(self, node: Node, key: str) -> Values:
        if "enum" in node:
            return st.sampled_from(node["enum"])
        kinds = node.get("type", [])
        kinds = [kinds] if isinstance(kinds, str) else kinds
        return st.one_of([self._of_kind(kind, node, key) for kind in kinds])

    def _of_kind(self, kind: str, node: Node, key: str) -> Values:
        match kind:
            case "string":
                return self._texts(node, key)
            case "boolean":
                return st.booleans()
            case "integer":
                return st.integers(node.get("minimum", 0), node.get("maximum", 2**40))
            case "number":
                low = node.get("minimum", node.get("exclusiveMinimum", 0))
                above = "exclusiveMinimum" in node
                return st.floats(low, node.get("maximum", 1e6), exclude_min=above)
            case "array":
                low, high = node.get("minItems", 0), min(node.get("maxItems", 3), 3)
                return st.lists(
                    self.values(node["items"], key), min_size=low, max_size=max(low, high)
                )
        return self.tables(node)

    def _texts(self, node: Node, key: str) -> Values:
        if "then" in node:
            return st.sampled_from(node["then"]["enum"])
        if "pattern" in node:
            return st.from_regex(node["pattern"], fullmatch=True)
        if node.get("format") in _TEXTS:
            right, wrong = _TEXTS[node["format"]]
            return st.sampled_from(right + wrong if self._slips else right)
        if key in _NAMED:
            return st.one_of(st.just(NAMES[0]), st.sampled_from(NAMES))
        hostile = {"name": _TEMPLATES, **dict.fromkeys(_PATHS, PATHS)}.get(key, NAMES)
        fitting = [each for each in hostile if 0 < len(each) <= node.get("maxLength", 400)]
        return st.sampled_from(hostile if self._slips else fitting)

    def tables(self, node: Node) -> Values:
        """Return a strategy for tables of a node, a few of their optional keys at a time."""
        known, named = node.get("properties", {}), node.get("additionalProperties")
        if isinstance(named, dict):
            keys = st.one_of(st.just(NAMES[0]), st.sampled_from(NAMES))
            return st.dictionaries(keys, self.values(named, ""), max_size=3)
        free = {each: self.values(child, each) for each, child in known.items()}
        must = {each: free.pop(each) for each in node.get("required", [])}
        if not free:
            return st.fixed_dictionaries(must)
        chosen = st.lists(st.sampled_from(sorted(free)), max_size=4, unique=True)
        return chosen.flatmap(
            lambda keys: st.fixed_dictionaries({**must, **{each: free[each] for each in keys}})
        )


def load_and_plan(path: Path) -> bool:
    """Load a job and plan its prints; True when it is a job, False when it is refused."""
    try:
        job = load_job(path, check_ids())
        files = arrange(job)
    except JobError as error:
        findings = error.findings
    else:
        plan_prints(job, files)
        return True
    assert findings
    assert all(each.message and each.line >= 1 for each in findings)
    return False


def read_and_audit(path: Path) -> bool:
    """Read a docket and audit it; True when it is a docket, False when it is refused."""
    try:
        docket = Docket(path)
    except DocketError as error:
        said = str(error)
    else:
        audit_docket(docket)
        return True
    assert str(path) in said
    return False
