"""A docket that somebody has tampered with does no harm: a sentence, and only the folder written.

The ways are drawn from seeds, so that each can be tried again alone.
"""

import os
import shutil
import tomllib
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner, Result

from pictures import job, save
from sightsize.base.hashes import file_sha256
from sightsize.cli import app
from tampered import tamper

CASES = 100
QUICK = 8


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with two prints, their masters, their docket, and what could be mistaken."""
    folder = tmp_path_factory.mktemp("first")
    for number in (1, 2):
        pixels = np.random.default_rng(number).integers(40, 200, (64, 96, 3)).astype(np.uint8)
        save(folder / f"p{number}.tif", pixels)
    pictures = {f"p{number}": {"source": f"p{number}.tif"} for number in (1, 2)}
    made = job(folder, pictures, (48, 32), delivery={"keep_master": True})
    assert CliRunner().invoke(app, ["make", str(made.path)]).exit_code == 0
    return folder


def standing(folder: Path, *but: str) -> dict[str, str]:
    """Every file in a folder with its hash, without what stands in some of its folders."""
    return {
        str(path.relative_to(folder)): file_sha256(path)
        for path in folder.rglob("*")
        if path.is_file() and path.relative_to(folder).parts[0] not in but
    }


def commands(folder: Path) -> Iterator[list[str]]:
    docket = str(folder / "prints" / "docket.toml")
    again = ["--output", str(folder / "again")]
    yield ["make", str(folder / "job.toml"), "--dry-run"]
    yield ["audit", str(folder / "job.toml")]
    yield ["audit", docket, "--json"]
    yield ["reprint", docket, *again, "--look-in", str(folder / "odd")]
    yield ["reprint", docket, *again, "--match"]
    yield ["make", str(folder / "job.toml")]


def answer(result: Result) -> str:
    """What a command said, which must be a sentence."""
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exc_info
    assert result.exit_code in (0, 1, 2)
    said = result.stdout + result.stderr
    assert "Traceback" not in said
    assert "a fault in sightsize" not in said, said
    return said


@pytest.mark.parametrize(
    "seed",
    [each if each < QUICK else pytest.param(each, marks=pytest.mark.slow) for each in range(CASES)],
)
def test_a_tampered_docket_does_no_harm(first: Path, tmp_path: Path, seed: int) -> None:
    folder = tmp_path / "job"
    shutil.copytree(first, folder)
    prints = folder / "prints"
    os.mkfifo(prints / "pipe")
    (prints / "circle").symlink_to(prints / "circle")
    (folder / "odd").mkdir()
    os.mkfifo(folder / "odd" / "pipe")
    (folder / "odd" / "loop").symlink_to(folder / "odd")
    tamper(prints, tomllib.loads((prints / "docket.toml").read_text(encoding="utf-8")), seed)
    before, docket = standing(folder, "prints", "again"), standing(prints)
    for command in commands(folder):
        result = CliRunner().invoke(app, command)
        said = answer(result)
        assert result.exit_code == 0 or said.strip(), command
        assert standing(folder, "prints", "again") == before, command
        assert sorted(path.name for path in tmp_path.iterdir()) == ["job"], command
        if "make" not in command or "--dry-run" in command:
            assert standing(prints) == docket, command
