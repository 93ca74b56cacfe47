"""The guide to the controls and the README: examples validate, figures exist, keys are named."""

import re
import tomllib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest
import tomli_w
from pages import Block, blocks

import plans
from sightsize.base.findings import Finding
from sightsize.base.schemas import known_keys
from sightsize.checks.run import check_file, check_ids, check_opened
from sightsize.errors import JobError
from sightsize.job.load import load_job
from sightsize.plan.arrange import arrange
from sightsize.plan.picture import UnopenedPicture
from sightsize.plan.sheet import FilePlan

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "jobs-demo"
GUIDE = DEMO / "controls.md"
README = ROOT / "README.md"
FRAME: dict[str, Any] = {
    "aperture": {"width": "7 1/4 in", "height": "9 5/8 in"},
    "paper": {"size": "12x8 in"},
    "mono": True,
}
TABLES = (
    "mono",
    "tone",
    "local_contrast",
    "toner",
    "sharpen",
    "grain",
    "cameras.NAME",
    "pictures.NAME.camera",
    "pictures.NAME.spotting",
    "pictures.NAME.zones",
    "pictures.NAME.dodge",
    "pictures.NAME.burn",
    "pictures.NAME.raw",
    "prints.ladder",
)
"""What the guide is about."""


EXAMPLES = [
    pytest.param(each, id=each.name) for page in (README, GUIDE) for each in blocks(page, "toml")
]


def whole_job(fragment: dict[str, Any]) -> dict[str, Any]:
    """A fragment as a job: what it does not say is a plain frame and one print of its picture."""
    if "sightsize" in fragment:
        return fragment
    picture = next(iter(fragment.get("pictures", {})), None)
    only = {"picture": picture} if picture else {"source": "cox-megaphone.jpg"}
    if "recipes" in fragment:
        only["recipe"] = next(iter(fragment["recipes"]))
    return {"sightsize": 1, **FRAME, "prints": [only], **fragment}


def arranged(job: dict[str, Any], folder: Path) -> Sequence[FilePlan[UnopenedPicture]]:
    path = folder / "job.toml"
    path.write_text(tomli_w.dumps(job), encoding="utf-8")
    return arrange(load_job(path, check_ids()))


@pytest.mark.parametrize("block", EXAMPLES)
def test_example_is_a_job_or_part_of_one(block: Block, tmp_path: Path) -> None:
    assert arranged(whole_job(tomllib.loads(block.text)), tmp_path)


def misspelt(table: Any) -> Iterator[tuple[str, Any]]:
    """A table's keys, each with the table in which that key alone is misspelt."""
    if isinstance(table, list):
        for at, entry in enumerate(table):
            for key, broken in misspelt(entry):
                yield key, [*table[:at], broken, *table[at + 1 :]]
    elif isinstance(table, dict):
        for key, value in table.items():
            inside = list(misspelt(value))
            for below, broken in inside:
                yield f"{key}.{below}", {**table, key: broken}
            if not inside:
                kept = {each: table[each] for each in table if each != key}
                yield key, {**kept, f"{key}_q": value}


@pytest.mark.parametrize("block", EXAMPLES)
def test_a_misspelt_key_of_an_example_is_seen(block: Block, tmp_path: Path) -> None:
    broken_jobs = list(misspelt(tomllib.loads(block.text)))
    assert broken_jobs
    for key, fragment in broken_jobs:
        with pytest.raises(JobError):
            pytest.fail(f"{key} misspelt: {arranged(whole_job(fragment), tmp_path)}")


def test_every_example_of_the_pages_is_tried() -> None:
    for page in (README, GUIDE):
        fences = re.findall(r"^```toml *$", page.read_text("utf-8"), re.MULTILINE)
        assert len(blocks(page, "toml")) == len(fences) > 3


def test_demo_job_is_valid_and_has_its_eight_sheets() -> None:
    prints = load_job(DEMO / "tern-quay.toml", check_ids()).prints
    assert [each.frame.name for each in prints if each.frame] == [
        "lobby-oak",
        "trophy-cabinet",
        "committee-left",
        "committee-right",
        "stair-panorama",
        "bar-square",
        "desk",
        "launch-room",
    ]


def findings_of(file: FilePlan[UnopenedPicture]) -> list[Finding]:
    """Every finding about a file of the demo, its one picture opened."""
    name = file.request.look.picture.name.replace("-", "_").upper()
    opened = plans.with_header(file, getattr(plans, name))
    return [*check_file(file, "tern-quay.toml"), *check_opened(opened, "tern-quay.toml")]


def test_no_print_of_the_demo_is_refused() -> None:
    for file in arrange(load_job(DEMO / "tern-quay.toml", check_ids())):
        found = findings_of(file)
        assert [each.sentence() for each in found if each.level == "refuse"] == []


def shown(page: Path) -> set[Path]:
    """Figures that a page shows, by their place in the repository."""
    links = re.findall(r"!\[[^\]]+\]\(([^)\s]+)\)", page.read_text("utf-8"))
    return {(page.parent / link).resolve() for link in links}


def test_every_figure_is_there_and_every_one_there_is_shown() -> None:
    figures = shown(GUIDE) | shown(README)
    assert {each for each in figures if not each.is_file()} == set()
    assert set((DEMO / "controls").iterdir()) - figures == set()


def test_figures_are_small() -> None:
    sizes = {each.name: each.stat().st_size for each in (DEMO / "controls").iterdir()}
    assert sizes.pop("mono-pair.jpg") < 250_000
    assert {name for name, size in sizes.items() if size > 150_000} == set()
    assert sum(sizes.values()) < 2_250_000


def test_svg_figures_carry_no_date() -> None:
    for figure in (DEMO / "controls").glob("*.svg"):
        assert "<dc:date>" not in figure.read_text("utf-8"), figure.name


def keys_of(table: str) -> Iterator[str]:
    for name, _ in known_keys():
        if name == table or name.startswith(f"{table}."):
            yield name


def test_tables_of_the_guide_are_in_the_grammar() -> None:
    assert [table for table in TABLES if not list(keys_of(table))] == []


@pytest.mark.parametrize("table", TABLES)
def test_guide_names_every_key(table: str) -> None:
    text = GUIDE.read_text("utf-8")
    code = [*(each.text for each in blocks(GUIDE, "toml")), *re.findall(r"`([^`\n]+)`", text)]
    words = set(re.findall(r"\w+", " ".join(code)))
    leaves = {name.rpartition(".")[2] for name in keys_of(table)} - {"NAME"}
    assert leaves - words == set()
