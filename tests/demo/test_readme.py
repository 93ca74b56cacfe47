"""The README's walk, taken as it is written: every command prints what the page says."""

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
import pyvips
from pages import Block, blocks

README = Path(__file__).parents[2] / "README.md"
HOME = "/home/you"
"""Where the page's reader has the program's folder."""

OTHER_PICTURES = (
    "boatbuilder-hands.tif",
    "catch-four.tif",
    "crew-1926-plate.png",
    "cup-on-slipway.jpg",
    "dawn-mist-reach.jpg",
)
SPEED = re.compile(r"[\d.]+ [kM]B in [\d.]+ s")
PROGRESS = re.compile(r"^\[\d+/\d+\] .*\n", re.MULTILINE)
"""A terminal shows a bar in place of these lines."""


def sessions(block: Block) -> list[tuple[str, str]]:
    """Commands of a block, each with what the page says it prints."""
    parts = re.split(r"^\$ (.*)\n", block.text, flags=re.MULTILINE)
    assert parts[0] == "", f"{block.name} begins with a command"
    return list(zip(parts[1::2], parts[2::2], strict=True))


WALK = {
    command: (block.name, said)
    for block in blocks(README, "console")
    for command, said in sessions(block)
}
"""Every command of the page, in order, with its place and what it prints there."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The reader's folder, with a flat picture in place of the portrait."""
    folder = tmp_path_factory.mktemp("walk")
    pictures = folder / "jobs-demo" / "pictures"
    pictures.mkdir(parents=True)
    for name in OTHER_PICTURES:
        (pictures / name).touch()
    flat = (pyvips.Image.black(6000, 4000, bands=3) + 120).cast("uchar")
    flat = flat.copy(interpretation="srgb")
    flat.set_type(pyvips.GValue.gint_type, "orientation", 6)
    flat.write_to_file(str(pictures / "cox-megaphone.jpg"), profile="srgb")
    return folder


@pytest.fixture(scope="module")
def printed(folder: Path) -> dict[str, str]:
    """What every command prints; the files of one are the next one's."""
    whole_job = next(each for each in blocks(README, "toml") if "sightsize = 1" in each.text)
    found = {}
    for command in WALK:
        found[command] = run(command, folder)
        if command.startswith("sightsize new"):
            (folder / "wall.toml").write_text(whole_job.text, "utf-8")
    return found


def run(command: str, folder: Path) -> str:
    program, *arguments = shlex.split(command)
    assert program == "sightsize"
    done = subprocess.run(
        [sys.executable, "-m", "sightsize", *arguments],
        cwd=folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout
    return done.stdout.replace(str(folder), HOME)


def without_chance(text: str) -> str:
    """What is printed, but for how large and how fast a print was made."""
    return SPEED.sub("SIZE in TIME", PROGRESS.sub("", text))


@pytest.mark.parametrize(
    "command",
    [pytest.param(command, id=f"{place} {command}") for command, (place, _) in WALK.items()],
)
def test_a_command_prints_what_the_page_says(command: str, printed: dict[str, str]) -> None:
    assert without_chance(printed[command]) == without_chance(WALK[command][1])


def test_the_walk_shows_every_command() -> None:
    shown = {command.split()[1] for command in WALK}
    assert shown == {"new", "check", "make", "audit", "reprint", "explain"}


def test_a_size_and_a_time_alone_are_left_to_chance() -> None:
    assert without_chance("made x.jpg  1.4 MB in 4.8 s\n") == "made x.jpg  SIZE in TIME\n"
    assert without_chance("[1/1] made x.jpg 4.8 s\n1 made\n") == "1 made\n"
    assert without_chance("about 2.2 MB, 1.4 m") == "about 2.2 MB, 1.4 m"
