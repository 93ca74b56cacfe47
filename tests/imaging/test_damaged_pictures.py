"""Damaged and malicious pictures: a whole print or one sentence, in bounded time and memory."""

import importlib.util
import json
import subprocess
import sys
from pathlib import Path

import pytest

from mutants import KINDS, mutant
from speed import first_is_quick

SOAK = Path(__file__).parents[1] / "soak" / "mutated_pictures.py"
COUNT = 40
LONGEST_SECONDS = 10
PEAK_MIB = 700
"""A picture of 100 megapixels, the limit that the soak sets, fills 300 MiB."""


@pytest.mark.parametrize("kind", first_is_quick(KINDS))
def test_damaged_pictures_are_printed_or_answered(kind: str) -> None:
    if kind == "dng" and importlib.util.find_spec("rawpy") is None:
        pytest.skip("rawpy is not installed")
    done = subprocess.run(
        [sys.executable, str(SOAK), "--kind", kind, "--count", str(COUNT)],
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    report = json.loads(done.stdout)[kind]
    assert report["faults"] == []
    assert done.returncode == 0
    outcomes = report["outcomes"]
    assert sum(outcomes.values()) == COUNT
    assert outcomes["made"] > 0
    assert outcomes["made"] < COUNT
    assert report["slowest"] < LONGEST_SECONDS
    assert report["peak_mib"] < PEAK_MIB


@pytest.mark.parametrize("kind", KINDS)
def test_a_seed_always_makes_the_same_picture_and_another_one_another(kind: str) -> None:
    pictures = [mutant(kind, seed) for seed in range(12)]
    assert pictures == [mutant(kind, seed) for seed in range(12)]
    assert len(set(pictures)) > 9  # a byte may be flipped to what it was
