"""What may act on a terminal is shown instead; every line goes there by one way."""

import ast
import io
import os
import subprocess
import sys
import unicodedata
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import sightsize
from sightsize.base.findings import Finding
from sightsize.base.plain_text import paragraph, visible
from sightsize.base.terminal import say, say_lines

# Unicode's property list: Bidi_Control (PropList.txt), White_Space ends of lines, and the general
# categories Cc, Cs, Zl and Zp, as Python's copy of the Unicode data has them.
BIDI_CONTROL = {0x061C, 0x200E, 0x200F, *range(0x202A, 0x202F), *range(0x2066, 0x206A)}
ANY_TEXT = st.text(st.characters(exclude_categories=()))


def acts(code: int) -> bool:
    category = unicodedata.category(chr(code))
    return category in ("Cc", "Cs", "Zl", "Zp") or code in BIDI_CONTROL or code in (0xFFFE, 0xFFFF)


def test_every_character_that_acts_is_shown_and_no_other_is_changed() -> None:
    changed = {code for code in range(sys.maxunicode + 1) if visible(chr(code)) != chr(code)}
    assert changed == {code for code in range(sys.maxunicode + 1) if acts(code)}


@given(ANY_TEXT)
def test_what_is_shown_is_one_line_that_can_be_written(text: str) -> None:
    shown = visible(text)
    shown.encode("utf-8")
    assert len(f"{shown}\n".splitlines()) == 1
    assert visible(shown) == shown


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("\x1b[31m", r"\x1b[31m"),
        ("a\r\nb", r"a\x0d\x0ab"),
        ("\x9b0m", r"\x9b0m"),
        ("cox\u202egnp.exe", r"cox\u202egnp.exe"),
        ("\udcff", r"\udcff"),
        ("7 1/4″ ünder", "7 1/4″ ünder"),
    ],
)
def test_how_it_is_shown(text: str, shown: str) -> None:
    assert visible(text) == shown


@given(st.lists(ANY_TEXT, min_size=1))
def test_nothing_in_a_line_begins_another(lines: list[str]) -> None:
    assert len(paragraph(lines).split("\n")) == len(lines)


@given(ANY_TEXT, ANY_TEXT)
def test_a_finding_is_one_line(file: str, message: str) -> None:
    sentence = Finding(level="warn", check="source", message=message, file=file).sentence()
    assert len(f"{sentence}\n".splitlines()) == 1


def test_lines_are_said_as_they_are(capsys: pytest.CaptureFixture[str]) -> None:
    say("one\ntwo")
    say_lines("three\nfour\x07")
    say("five", err=True)
    assert capsys.readouterr() == ("one\\x0atwo\nthree\nfour\\x07\n", "five\n")


class Full(io.StringIO):
    def flush(self) -> None:
        raise OSError(28, "No space left on device")


def test_only_standard_output_has_to_take_lines(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdout", Full())
    monkeypatch.setattr("sys.stderr", Full())
    say("nowhere to go", err=True)
    with pytest.raises(OSError, match="No space left"):
        say("nowhere to go")
    monkeypatch.setattr("sys.stdout", None)
    say("closed")


# One way out.

PACKAGE = Path(sightsize.__file__).parent
WRITES = {"base/terminal.py", "base/interrupts.py", "report/progress.py", "ending.py"}
"""Those that touch the streams: the way out, the last word, the bar, the end."""


def ways_out(source: str) -> set[str]:
    """Yield each name by which a module would write to the terminal."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        name = ast.unparse(node) if isinstance(node, ast.Attribute | ast.Name) else ""
        if name in ("print", "sys.stdout", "sys.stderr", "sys.__stdout__", "sys.__stderr__"):
            found.add(name)
        if name.split(".")[-1] in ("echo", "secho", "Console", "StreamHandler", "print_exc"):
            found.add(name)
    return found


def test_nothing_else_writes_to_the_terminal() -> None:
    paths = {path.relative_to(PACKAGE).as_posix(): path for path in PACKAGE.rglob("*.py")}
    found = {name for name, path in paths.items() if ways_out(path.read_text("utf-8"))}
    assert found <= WRITES


def test_the_reader_of_ways_out_sees_what_it_should() -> None:
    source = "import sys, typer\nprint(1)\ntyper.echo(2)\nsys.stderr.write('3')\n"
    assert ways_out(source) == {"print", "typer.echo", "sys.stderr"}


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no names that are not Unicode")
@pytest.mark.parametrize("encoding", ["ascii:strict", "utf-8:strict", "latin-1"])
@pytest.mark.parametrize("name", [b"gr\xc3\xbcn.toml", b"\xff\x1b[31m\n\xe2\x80\xae.toml"])
def test_any_name_can_be_told_in_any_encoding(encoding: str, name: bytes, tmp_path: Path) -> None:
    command = [*map(os.fsencode, (sys.executable, "-m", "sightsize", "check")), name]
    environment = {"PATH": "", "LC_ALL": "C", "PYTHONIOENCODING": encoding}
    environment["PYTHONPATH"] = str(PACKAGE.parent)
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, env=environment)
    assert done.returncode == 2
    assert done.stderr == b""
    lines = done.stdout.rstrip(b"\n").split(b"\n")
    assert len(lines) == 2
    assert not any(byte < 0x20 for line in lines for byte in line)
    assert b"name a job file that can be read" in lines[0]
