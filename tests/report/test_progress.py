"""What moves on a terminal, and what a file or a pipe gets: the program's own bytes."""

import json
import os
import pty
import re
import subprocess
import sys
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from pictures import save
from sightsize.checks.run import check_ids

JOB = """sightsize = 1
[aperture]
width = "60 mm"
height = "80 mm"
overlap = "1.5 mm"
[paper]
size = "100 x 120 mm"
[delivery]
resolution = "100 ppi"
name = "{picture}"
[checks]
accept = ACCEPT
[[prints]]
source = "plain.jpg"
[[prints]]
source = "thin.jpg"
aperture.overlap = "0.5 mm"
[[prints]]
source = "gone.jpg"
"""


@pytest.fixture
def wall(tmp_path: Path) -> Path:
    """A job of three prints: one has a warning, one is refused, one has no picture."""
    for name in ("plain.jpg", "thin.jpg"):
        save(tmp_path / name, np.full((240, 180, 3), 90, np.uint8))
    accept = json.dumps(sorted(check_ids() - {"overlap"}))
    path = tmp_path / "wall.toml"
    path.write_text(JOB.replace("ACCEPT", accept), encoding="utf-8")
    return path


def command(*arguments: object) -> list[str]:
    return [sys.executable, "-m", "sightsize", *map(str, arguments)]


def in_one_file(folder: Path, *arguments: str) -> str:
    """What a command writes where both its outputs go to one file."""
    both = folder / "both.txt"
    with both.open("wb") as file:
        subprocess.run(
            command(*arguments), cwd=folder, stdout=file, stderr=subprocess.STDOUT, check=False
        )
    return both.read_text(encoding="utf-8")


def on_a_terminal(folder: Path, *arguments: str, columns: int = 80, **env: str) -> bytes:
    """The bytes that a terminal gets from a command."""
    shown, inside = pty.openpty()
    process = subprocess.Popen(
        command(*arguments),
        cwd=folder,
        stdin=inside,
        stdout=inside,
        stderr=inside,
        env={**os.environ, "COLUMNS": str(columns), "TERM": "xterm", **env},
    )
    os.close(inside)
    said = b""
    while True:
        try:
            more = os.read(shown, 65536)
        except OSError:  # the other end is closed
            break
        if not more:
            break
        said += more
    process.wait(timeout=60)
    os.close(shown)
    return said


ESCAPE = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")
"""What moves a terminal's cursor or colours its text (ECMA-48)."""
CONTROL = re.compile(r"[\x00-\x09\x0b-\x1f\x7f]")


@pytest.mark.parametrize("forced", ["", "1"])
def test_a_file_gets_each_thing_once_and_no_control_codes(
    wall: Path, forced: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    if forced:
        monkeypatch.setenv("FORCE_COLOR", forced)
        monkeypatch.setenv("TTY_COMPATIBLE", forced)
    for run, status in (("first", "made"), ("again", "kept")):
        text = in_one_file(wall.parent, "make", wall.name)
        assert CONTROL.search(text) is None, run
        lines = text.splitlines()
        assert max(Counter(lines).values()) == 1, run
        named = {name: sum(f"  {name}.jpg" in line for line in lines) for name in ("plain", "thin")}
        assert named == {"plain": 1, "thin": 1}, run
        assert [line.split()[0] for line in lines[-4:-1]].count(status) == 1, run
        assert text.count("0.5 mm of picture is hidden") == 1, run
        assert text.count("there is no file") == 1, run
        assert lines[-1].startswith("1 made, 0 kept" if status == "made" else "0 made, 1 kept")
    refused = sorted(line for line in lines if line.startswith("refused"))
    assert refused == [
        "refused  gone.jpg  see [source] above",
        "refused  thin.jpg  see [overlap] above",
    ]


def test_the_report_goes_to_standard_output_and_nothing_to_standard_error(wall: Path) -> None:
    done = subprocess.run(
        command("make", wall.name), cwd=wall.parent, capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (1, "")
    assert "warn [overlap]" in done.stdout


def test_json_is_all_that_a_file_gets(wall: Path) -> None:
    data = json.loads(in_one_file(wall.parent, "make", "--json", wall.name))
    assert [each["status"] for each in data["prints"]] == ["made", "refused", "refused"]
    assert "0.5 mm of picture is hidden" in data["prints"][1]["message"]


def test_a_terminal_sees_the_report_after_the_bar(wall: Path) -> None:
    said = on_a_terminal(wall.parent, "make", wall.name).decode()
    assert "\x1b[" in said
    bar, after = (ESCAPE.sub("", part) for part in re.split(r"(?=\x1b\[\?25h)", said))
    assert re.search(r"\d/3 .*\d:\d\d:\d\d", bar), "the bar counts prints and time"
    assert "made " not in bar
    starts = [line.split()[0] for line in after.split("\n") if line.strip()]
    assert starts[:3] == ["refused", "refused", "made"]
    assert after.rstrip().endswith(f"files in {wall.parent / 'prints'}")


def test_a_narrow_terminal_and_a_dumb_one(wall: Path) -> None:
    said = on_a_terminal(wall.parent, "make", wall.name, columns=30).decode()
    assert "made     plain.jpg" in said
    dumb = on_a_terminal(wall.parent, "make", wall.name, TERM="dumb").decode()
    assert "\x1b" not in dumb
    assert dumb.count("kept     plain.jpg") == 1


SLOW = """
import sys, time
import sightsize.run.batch as batch
from sightsize.run.worker import make_print
def slow(order):
    time.sleep(3)
    return make_print(order)
batch.make_prints.__kwdefaults__["make"] = slow
from sightsize.cli import main
main()
"""


def test_something_moves_while_one_print_is_made(wall: Path) -> None:
    """The bar turns and its seconds go up though no print has come back yet."""
    program = [sys.executable, "-c", SLOW, "make", "--only", "1", wall.name]
    shown, inside = pty.openpty()
    process = subprocess.Popen(
        program, cwd=wall.parent, stdout=inside, stderr=inside, env={**os.environ, "TERM": "xterm"}
    )
    os.close(inside)
    said = b""
    while True:
        try:
            said += os.read(shown, 65536)
        except OSError:
            break
    assert process.wait(timeout=60) == 0
    seconds = re.findall(rb"0/1.*?(0:00:\d\d)", said)
    assert {b"0:00:01", b"0:00:02"} <= set(seconds)
    assert b"plain.jpg" in said
