"""Settings merge key by key, the nearer level wins, and every value knows where it was set."""

from collections.abc import Callable, Mapping
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest

from sightsize.base.findings import Finding, KeyPath
from sightsize.base.schemas import RECIPE_TABLES
from sightsize.checks.run import check_file, check_ids
from sightsize.errors import JobError
from sightsize.job.cascade import merge
from sightsize.job.load import load_job
from sightsize.job.values import table_defaults
from sightsize.model.job import PrintRequest
from sightsize.plan.arrange import plan_file

WriteJob = Callable[..., Path]

# Weakest first, as each level stands in a job file.
LEVELS = ("job", "recipe", "frame", "print")
JOB = """sightsize = 1
{job}

[frames.lobby-oak]
{frame}

[recipes.silver]
{recipe}

[[prints]]
source = "pictures/cox-megaphone.jpg"
frame = "lobby-oak"
recipe = "silver"
{print}
"""
OPENING = 'aperture.width = "7 in"\naperture.height = "9 in"\npaper.size = "12x8 in"\n'


def job_text(**levels: str) -> str:
    """Return a job of one print whose levels hold the lines given."""
    filled = {name: levels.get(name, "") for name in LEVELS}
    return JOB.format(**filled | {"job": OPENING + filled["job"]})


def load_print(write_job: WriteJob, **levels: str) -> PrintRequest:
    (request,) = load_job(write_job(job_text(**levels)), check_ids()).prints
    return request


def line_of(text: str, line: str) -> int:
    return text.split("\n").index(line) + 1


def findings_of(request: PrintRequest, check: str) -> list[Finding]:
    file = plan_file(request, "")
    return [each for each in check_file(file, "job.toml") if each.check == check]


def test_without_levels_the_schema_speaks() -> None:
    settings = merge([])
    assert settings.tables == {name: table_defaults(name) for name in RECIPE_TABLES}
    assert settings.origins == {}
    assert not settings.mono_wanted


@pytest.mark.parametrize(
    "given",
    [chosen for size in range(1, 5) for chosen in combinations(LEVELS, size)],
    ids="-".join,
)
def test_the_nearest_level_wins(given: tuple[str, ...], write_job: WriteJob) -> None:
    grades = {name: float(number) for number, name in enumerate(LEVELS, 1)}
    request = load_print(write_job, **{name: f"tone.grade = {grades[name]}" for name in given})
    assert request.look.tone.grade == grades[given[-1]]


def test_levels_merge_key_by_key(write_job: WriteJob) -> None:
    request = load_print(
        write_job,
        job="tone.exposure = 0.1",
        recipe='tone.grade = 3\nmono = { filter = "orange" }',
        frame='paper.surface = "matte"\naperture.width = "6 7/8 in"',
        print="tone.exposure = -0.2",
    )
    assert (request.look.tone.exposure_stops, request.look.tone.grade) == (-0.2, 3)
    assert request.paper.surface == "matte"
    assert request.paper.label == "12x8 in"
    assert request.look.aperture.width_mm * 40 == 6985
    assert request.look.aperture.height_mm * 10 == 2286
    assert request.look.mono is not None
    assert request.look.mono.filter == "orange"
    assert request.look.mono.response == "luminance"


def test_merging_leaves_the_levels_alone() -> None:
    level: dict[str, Any] = {"tone": {"grade": 3}}
    merge([((), level), (("prints", 0), {"tone": {"exposure": 1}})])
    assert level == {"tone": {"grade": 3}}
    assert merge([]).tables["tone"]["grade"] == table_defaults("tone")["grade"]


@pytest.mark.parametrize(
    ("levels", "mono"),
    [
        ({}, False),
        ({"job": "mono = true"}, True),
        ({"job": "mono = true", "print": "mono = false"}, False),
        ({"job": "mono = false", "print": "mono = true"}, True),
        ({"recipe": 'mono = { filter = "red" }'}, True),
        ({"recipe": 'mono = { filter = "red" }', "frame": "mono = false"}, False),
        ({"recipe": "mono = false", "print": "mono = {}"}, True),
    ],
)
def test_mono_is_switched_by_the_nearest_level(
    levels: dict[str, str], mono: bool, write_job: WriteJob
) -> None:
    assert (load_print(write_job, **levels).look.mono is not None) == mono


def test_mono_true_keeps_what_weaker_levels_set(write_job: WriteJob) -> None:
    request = load_print(
        write_job, job='mono = { filter = "red" }', frame="mono = false", print="mono = true"
    )
    assert request.look.mono is not None
    assert request.look.mono.filter == "red"


@pytest.mark.parametrize(("weaker", "nearer"), list(combinations(LEVELS, 2)))
@pytest.mark.parametrize("first", ["overlap", "reveal"])
def test_the_nearer_of_overlap_and_reveal_wins(
    weaker: str, nearer: str, first: str, write_job: WriteJob
) -> None:
    second = {"overlap": "reveal", "reveal": "overlap"}[first]
    levels = {weaker: f'aperture.{first} = "4 mm"', nearer: f'aperture.{second} = "6 mm"'}
    aperture = load_print(write_job, **levels).look.aperture
    assert getattr(aperture, f"{first}_mm") is None
    edges = getattr(aperture, f"{second}_mm")
    assert (edges.top, edges.right, edges.bottom, edges.left) == (6, 6, 6, 6)


def test_the_schema_overlaps_when_nobody_says(write_job: WriteJob) -> None:
    aperture = load_print(write_job).look.aperture
    assert aperture.reveal_mm is None
    assert aperture.overlap_mm is not None
    assert aperture.overlap_mm.left == 3


@pytest.mark.parametrize(
    ("level", "key"),
    [
        ("job", "aperture.overlap"),
        ("recipe", "recipes.silver.aperture.overlap"),
        ("frame", "frames.lobby-oak.aperture.overlap"),
        ("print", "prints[1].aperture.overlap"),
    ],
)
def test_a_finding_points_to_the_line_that_set_the_value(
    level: str, key: str, write_job: WriteJob
) -> None:
    text = 'aperture.overlap = "0.5 mm"'
    request = load_print(write_job, **{level: text})
    (finding,) = findings_of(request, "overlap")
    assert finding.key == key
    assert finding.line == line_of(job_text(**{level: text}), text)
    assert finding.column == text.index("overlap") + 1


def test_a_finding_about_a_default_points_to_the_print(write_job: WriteJob) -> None:
    request = load_print(write_job, print='checks.overlap_refuse = "4 mm"')
    (finding,) = findings_of(request, "overlap")
    assert finding.key == "prints[1]"
    assert finding.line == line_of(job_text(), "[[prints]]")


def test_origins_name_the_level_that_won() -> None:
    levels: list[tuple[KeyPath, Mapping[str, Any]]] = [
        ((), {"tone": {"grade": 1, "exposure": 0.5}}),
        (("frames", "bar"), {"tone": {"grade": 2}}),
        (("prints", 3), {"sharpen": {"gain": 1}}),
    ]
    assert merge(levels).origins == {
        "tone.grade": ("frames", "bar", "tone", "grade"),
        "tone.exposure": ("tone", "exposure"),
        "sharpen.gain": ("prints", 3, "sharpen", "gain"),
    }


def test_a_lack_is_said_once_for_a_frame_and_once_for_the_job(write_job: WriteJob) -> None:
    job = write_job(
        'sightsize = 1\npaper.size = "12x8 in"\n[frames.bar]\n[[prints]]\nsource = "a.jpg"\n'
        '[[prints]]\nsource = "b.jpg"\n[[prints]]\nsource = "c.jpg"\nframe = "bar"\n'
    )
    with pytest.raises(JobError) as caught:
        load_job(job)
    assert [finding.key for finding in caught.value.findings] == ["prints[1]", "prints[3]"]


def test_a_print_that_changes_its_defaults_changes_no_other_print() -> None:
    table_defaults("tone").clear()
    assert table_defaults("tone")["grade"] == 2
