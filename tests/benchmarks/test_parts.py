"""The untimed parts of the benchmark, held against published values and against spoilt prints."""

import subprocess
import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import sources
from bench import HERE, PARTS, README, RESULTS
from crowd import NotMadeError, made_at_once
from goals import GOALS, Claim, goals_table
from measure import Bench, Row, run_alone
from numpy.typing import NDArray
from part_batch import BATCH, DEFAULT, ONE_CORE, Batch, batch_faults, batches_of
from part_batch import claims_of as batch_claims
from part_commands import CHANGED, MAKE_FIRST, RERUN, Commands, Many
from part_scaling import exponent
from part_single import claims_of
from parts import Setup
from PIL import Image, ImageCms
from spec import GIGAPIXEL, MM_PER_INCH, MONO_24X16, OURS, SCALED, SPECS, Box, Size, Spec
from subject_sightsize import job_values
from tone_tables import (
    LIGHTNESS_STEPS,
    STEPS,
    curved_lightness,
    linear_light,
    monotone_cubic,
    srgb_code,
)
from verify import coding_is_optimised, compare, comparison_faults, look

from report import BEGIN, END, report, summary_of, with_summary

FloatImage = NDArray[np.float32]


def test_geometry_is_the_worked_one() -> None:
    # By hand: 20 1/8 in and 6 mm are 517.175 mm, 6108.37 px; 11 3/8 in and 6 mm are 294.925 mm,
    # 3483.37 px. All 6000 px of the source's width want 3421.57 of its height, from 289.2 down.
    assert MONO_24X16.sheet == Size(7200, 4800)
    assert MONO_24X16.picture == Box(546, 658, 6108, 3483)
    assert MONO_24X16.crop == Box(0, 289, 6000, 3422)
    assert MONO_24X16.sharpen_sigma_px == pytest.approx(1.18, abs=0.005)


def test_srgb_codes_come_back() -> None:
    light = linear_light()
    # IEC 61966-2-1: both branches meet at 0.04045 / 12.92; code 128 from memory.
    assert light[10] == pytest.approx(10 / 255 / 12.92)
    assert light[128] == pytest.approx(0.21586, abs=1e-5)
    lightness = [_lightness(value) for value in light]
    index = np.rint(np.array(lightness) * LIGHTNESS_STEPS).astype(np.uint16)
    assert srgb_code()[index].tolist() == list(range(256))


def _lightness(light: float) -> float:
    """CIE 15, written the other way: with kappa and epsilon."""
    return float(116 * np.cbrt(light) - 16 if light > 216 / 24389 else light * 24389 / 27)


def test_curve_goes_through_its_points_in_lightness() -> None:
    for before, after in MONO_24X16.curve:
        light = ((before + 16) / 116) ** 3 if before > 8 else before * 27 / 24389
        assert curved_lightness(MONO_24X16)[round(light * STEPS)] == pytest.approx(after, abs=0.02)


def test_monotone_cubic_has_the_known_values() -> None:
    # Data RPN 14 of Fritsch and Carlson, SIAM J. Numer. Anal. 17, 1980; values by scipy 1.17.1,
    # PchipInterpolator.
    x = (7.99, 8.09, 8.19, 8.7, 9.2, 10, 12, 15, 20)
    y = (0, 2.76429e-5, 4.37498e-2, 0.169183, 0.469428, 0.943740, 0.998636, 0.999919, 0.999994)
    found = monotone_cubic(tuple(zip(x, y, strict=True)), np.array([8.04, 8.5, 9, 9.5, 11, 13]))
    known = [6.9151e-6, 0.116633, 0.337534, 0.685218, 0.986043, 0.999362]
    assert found == pytest.approx(known, rel=1e-5)


def _textured() -> FloatImage:
    rng = np.random.default_rng(7)
    steps = np.repeat(rng.uniform(40, 215, (32, 32)), 8, axis=0).repeat(8, axis=1)
    return np.asarray(steps + rng.normal(0, 6, steps.shape), dtype=np.float32)


def _soften(image: FloatImage) -> FloatImage:
    return np.asarray((image + np.roll(image, 1, 0) + np.roll(image, 1, 1)) / 3)


def test_a_print_with_a_little_dither_passes() -> None:
    image = _textured()
    dithered = image + np.random.default_rng(8).uniform(-1, 1, image.shape).astype(np.float32)
    assert comparison_faults(compare(dithered, image)) == []


@pytest.mark.parametrize(
    ("spoil", "word"),
    [
        (lambda image: image + 2.5, "tone"),
        (lambda image: np.roll(image, 2, axis=1), "geometry"),
        (_soften, "sharpness"),
    ],
    ids=["lighter", "shifted", "softer"],
)
def test_a_spoilt_print_is_found(spoil: Callable[[FloatImage], FloatImage], word: str) -> None:
    image = _textured()
    assert word in " ".join(comparison_faults(compare(spoil(image), image)))


@pytest.mark.parametrize("optimised", [False, True])
def test_coding_is_told_from_the_tables(tmp_path: Path, optimised: bool) -> None:
    path = tmp_path / "print.jpg"
    codes = np.clip(_textured(), 0, 255).astype(np.uint8)
    Image.fromarray(codes).convert("RGB").save(path, quality=95, optimize=optimised)
    assert coding_is_optimised(path.read_bytes()) == optimised


# Briefs.


def test_the_scaled_briefs_are_the_plain_one_and_like_it() -> None:
    plain = SCALED[24]
    assert (plain.sheet, plain.picture, plain.crop) == (
        MONO_24X16.sheet,
        MONO_24X16.picture,
        MONO_24X16.crop,
    )
    for megapixels, spec in SCALED.items():
        assert spec.source.width * spec.source.height / 1e6 == pytest.approx(megapixels, rel=1e-3)
        sheets = spec.sheet.width / plain.sheet.width, spec.sheet.height / plain.sheet.height
        assert sheets == pytest.approx([(megapixels / 24) ** 0.5] * 2, rel=1e-3)


def test_the_largest_brief_is_a_gigapixel_and_two_metres() -> None:
    assert GIGAPIXEL.source.width * GIGAPIXEL.source.height > 2**30
    assert GIGAPIXEL.picture.width == round(2000 / 25.4 * 300)


@pytest.mark.parametrize("spec", SPECS.values(), ids=lambda spec: spec.name)
def test_a_job_says_the_sizes_of_its_spec(spec: Spec) -> None:
    values = job_values(Path("source.jpg"), spec)
    across, down = values["paper"]["size"].removesuffix(" in").split("x")
    assert (_px(across), _px(down)) == spec.sheet
    opening = values["aperture"]
    behind_in = 2 * float(opening["overlap"].removesuffix(" mm")) / 25.4
    sides = [_px(opening[side].removesuffix(" in"), behind_in) for side in ("width", "height")]
    assert sides == [spec.picture.width, spec.picture.height]


def _px(inches: str, more_in: float = 0) -> int:
    return int((float(inches) + more_in) * 300 + 0.5)


# Prints that are not as specified.

SMALL_SPEC = replace(
    MONO_24X16,
    aperture_in=(1 / MM_PER_INCH * 64, 1 / MM_PER_INCH * 48),
    paper_in=(1 / MM_PER_INCH * 128, 1 / MM_PER_INCH * 96),
    overlap_mm=Fraction(0),
    ppi=25,
)


def _print(path: Path, tint: int = 0, margin: int = 255, **options: Any) -> Path:
    sheet, box = SMALL_SPEC.sheet, SMALL_SPEC.picture
    pixels = np.full((sheet.height, sheet.width, 3), margin, np.uint8)
    pixels[box.slices] = 128
    pixels[box.slices][..., 0] += tint
    facts: dict[str, Any] = {
        "quality": 95,
        "subsampling": 0,
        "dpi": (25, 25),
        "icc_profile": b"profile",
    }
    Image.fromarray(pixels).save(path, **(facts | options))
    return path


def test_a_print_as_briefed_has_no_fault(tmp_path: Path) -> None:
    assert look(_print(tmp_path / "a.jpg"), None, SMALL_SPEC)["faults"] == []


@pytest.mark.parametrize(
    ("wrong", "word"),
    [
        ({"tint": 20}, "black-and-white"),
        ({"margin": 250}, "white sheet"),
        ({"quality": 80}, "quality"),
        ({"subsampling": 2}, "chroma sampling"),
        ({"dpi": (72, 72)}, "resolution"),
        ({"icc_profile": None}, "profile"),
        ({"optimize": True}, "coding"),
    ],
    ids=str,
)
def test_a_print_not_as_briefed_is_found(tmp_path: Path, wrong: dict[str, Any], word: str) -> None:
    (fault,) = look(_print(tmp_path / "a.jpg", **wrong), None, SMALL_SPEC)["faults"]
    assert word in fault


# Goals.


@pytest.mark.parametrize(
    ("claim", "verdict"),
    [
        (Claim(goal="memory", value=150), "met, 25% to spare"),
        (Claim(goal="memory", value=230), "**not met**, by 15.0%"),
        (Claim(goal="core", value=1.89), "met, 5% to spare"),
        (Claim(goal="core", value=0.9), "**not met**, by 50.0%"),
        (Claim(goal="changed", value=1), "met"),
    ],
    ids=lambda value: str(getattr(value, "goal", value)),
)
def test_a_claim_is_held_against_its_goal(claim: Claim, verdict: str) -> None:
    assert claim.verdict == verdict


def test_every_goal_stands_in_the_table_measured_or_not() -> None:
    lines = goals_table([Claim(goal="rerun", value=1.234, only="8 pictures")]).splitlines()[2:]
    assert len(lines) == len(GOALS)
    measured = [line for line in lines if "not measured" not in line]
    assert len(measured) == 1
    assert "| 1.23 s (8 pictures) | met, 38% to spare |" in measured[0]


def test_a_single_print_is_held_against_the_best_peer_of_each_kind() -> None:
    def row(subject: str, seconds: float, mib: float) -> Row:
        return Row(subject=subject, warm_seconds=[seconds], peaks_mib=[mib])

    rows = [
        row("floor", 1.0, 50),
        row("peer_opencv", 2.0, 900),
        row("peer_pillow", 4.0, 600),
        row("tuned_opencv", 0.5, 100),
        row(OURS, 1.5, 150),
    ]
    found = {claim.goal: claim.value for claim in claims_of(rows)}
    assert found == {"memory": 150, "floor": 1.5, "peer": 0.75, "peer memory": 0.25}


def test_the_power_of_a_law_comes_back() -> None:
    assert exponent([5, 12, 24, 50], [3 * size**1.2 for size in (5, 12, 24, 50)]) == pytest.approx(
        1.2
    )


# Sources.


def test_a_source_without_room_is_refused_before_it_is_begun(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    size = MONO_24X16.source
    (tmp_path / f"source-{size.width}x{size.height}.jpg").touch()
    monkeypatch.setattr("shutil.disk_usage", lambda _: SimpleNamespace(free=10**9))
    with pytest.raises(sources.NoSourceError, match=r"7.2 GB are needed, 1.0 GB are free"):
        sources.gigapixel(tmp_path)
    assert len(list(tmp_path.iterdir())) == 1


# Batches.


def _setup(tmp_path: Path, pictures: int = 3) -> Setup:
    return Setup(
        runs=1,
        threads=1,
        subjects=("floor", OURS),
        specs=(MONO_24X16.name,),
        prints=4,
        peer_prints=3,
        pictures=pictures,
        cache=tmp_path / "cache",
        scratch=tmp_path,
    )


def test_prints_that_differ_or_lack_are_faults(tmp_path: Path) -> None:
    batches = batches_of(_setup(tmp_path))
    assert list(batch_faults(batches, Counter({"one": 12}), runs=1)) == []
    (differing,) = batch_faults(batches, Counter({"one": 11, "other": 1}), runs=1)
    assert "2 different files" in differing
    (lacking,) = batch_faults(batches, Counter({"one": 11}), runs=1)
    assert "11 prints were made, 12" in lacking


def test_a_batch_is_held_against_one_core_and_the_fastest_peer(tmp_path: Path) -> None:
    def batch(name: str, prints: int, seconds: float) -> Batch:
        return Batch(name=name, subject=BATCH, prints=prints, seconds=[seconds])

    batches = [
        batch(ONE_CORE, 4, 12.0),
        batch(DEFAULT, 4, 6.0),
        batch("peer_opencv, two at once", 2, 4.5),
        batch("peer_pillow, two at once", 2, 9.0),
    ]
    found = {claim.goal: claim.value for claim in batch_claims(batches, _setup(tmp_path))}
    assert found == {"core": 2.0, "peer batch": 1.5}


PROBE = """
import os
def make_print(source, target, spec):
    if source.name == "broken":
        raise ValueError("a broken picture")
    if source.name == "lacking":
        raise ImportError("no such library")
    target.write_text(f"{len(os.sched_getaffinity(0))} {os.environ['VIPS_CONCURRENCY']}")
"""


@pytest.fixture
def probe(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Bench:
    """A bench whose subject `probe` writes down on how many cores and threads it works."""
    (tmp_path / "probe.py").write_text(PROBE, encoding="utf-8")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path), prepend=":")
    return Bench(spec=MONO_24X16, source=tmp_path, folder=tmp_path, threads=3, cores=1)


def test_workers_at_once_keep_to_their_cores_and_threads(probe: Bench) -> None:
    first = [(probe.folder / "a", probe.folder / f"first-{number}") for number in range(2)]
    then = [[(probe.folder / "a", probe.folder / f"then-{number}")] for number in range(2)]
    took = made_at_once(probe, "probe", first, then)
    texts = [path.read_text() for path in probe.folder.glob("[ft]*-*")]
    assert texts == ["1 3"] * 4
    assert took.seconds > 0
    assert took.peak_mib > 10


@pytest.mark.parametrize(("name", "failed"), [("broken", True), ("lacking", False)])
def test_a_worker_that_fails_is_told_from_one_that_cannot(
    probe: Bench, name: str, failed: bool
) -> None:
    with pytest.raises(NotMadeError) as caught:
        made_at_once(probe, "probe", [(probe.folder / name, probe.folder / "x")], [[]])
    assert caught.value.failed == failed


# Commands.


def test_what_a_process_said_and_how_it_ended_comes_back() -> None:
    done = run_alone([sys.executable, "-c", "import sys; print('said'); sys.exit('and why')"])
    assert (done.output, done.errors, done.code) == ("said\n", "and why\n", 1)


def test_the_peak_of_a_process_is_its_own() -> None:
    # From a small process, since a child begins with its parent's peak.
    code = """
from measure import run_alone
import sys
small, large = (run_alone([sys.executable, "-c", f"held = b'1' * {n}"]) for n in (1, 100 << 20))
print(large.peak_mib - small.peak_mib)
"""
    assert float(_in_small_process(code)) == pytest.approx(100, abs=15)


def _in_small_process(code: str) -> str:
    return subprocess.run(
        [sys.executable, "-c", code], cwd=HERE, check=True, stdout=subprocess.PIPE, text=True
    ).stdout


@pytest.mark.slow
def test_a_changed_recipe_makes_one_print_and_what_is_not_so_is_said(tmp_path: Path) -> None:
    setup, commands = _setup(tmp_path), Commands()
    folder = setup.cache / f"small-{setup.pictures}"
    folder.mkdir(parents=True)
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    for number in range(setup.pictures):
        grey = Image.effect_noise((480, 320), 40 + number)
        grey.convert("RGB").save(folder / f"piece-{number}.jpg", icc_profile=profile)
    many = Many(setup)
    many.write_job("soft")
    many.make(commands, MAKE_FIRST, made=3)
    many.make(commands, RERUN, made=0)
    many.write_job("hard")
    assert many.make(commands, CHANGED, made=1) == 1
    assert commands.faults == []
    many.make(commands, RERUN, made=1)
    assert len(commands.faults) == 3
    assert "0 made, not 1" in commands.faults[0]


# The report.


def test_the_measuring_process_loads_no_picture_library() -> None:
    names = ", ".join(["bench", *PARTS.values()])
    found = _in_small_process(f"import {names}, sys; print(*sys.modules)")
    assert {"numpy", "pyvips", "PIL", "sightsize"} & set(found.split()) == set()
    assert "part_batch" in found.split()


def test_a_report_replaces_the_table_of_a_readme(tmp_path: Path) -> None:
    text = report([], _setup(tmp_path), load=0.0)
    readme = with_summary(f"before\n{BEGIN}\nold\n{END}\nafter\n", text)
    assert readme == f"before\n{summary_of(text)}\nafter\n"
    assert GOALS["rerun"].what in readme


def test_the_readme_shows_the_table_of_the_results() -> None:
    readme, results = (path.read_text(encoding="utf-8") for path in (README, RESULTS))
    assert summary_of(readme) == summary_of(results)
