"""How a command ends: each kind of error has its exit code, and no fault shows a traceback."""

import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from pictures import job, save
from sightsize import cli, errors

FAMILY = [
    each
    for each in vars(errors).values()
    if isinstance(each, type) and issubclass(each, errors.SightsizeError)
]


def run_main(monkeypatch: pytest.MonkeyPatch, *arguments: str) -> int:
    """The exit code of a command line."""
    monkeypatch.setattr(sys, "argv", ["sightsize", *arguments])
    with pytest.raises(SystemExit) as left:
        cli.main()
    return int(left.value.code or 0)


def ends_in(monkeypatch: pytest.MonkeyPatch, error: BaseException) -> None:
    """Have ``explain`` end in an error."""

    def run(_key: str | None) -> int:
        raise error

    monkeypatch.setattr("sightsize.commands.explain.run", run)


def sample(kind: type[errors.SightsizeError]) -> errors.SightsizeError:
    return errors.JobError([]) if kind is errors.JobError else kind("what is wrong")


@pytest.mark.parametrize("kind", FAMILY)
def test_an_error_ends_in_its_sentence_and_its_exit_code(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    kind: type[errors.SightsizeError],
) -> None:
    error = sample(kind)
    ends_in(monkeypatch, error)
    assert run_main(monkeypatch, "explain") == kind.exit_code
    assert kind.exit_code in (1, 2)
    assert capsys.readouterr() == ("", f"{error}\n")


def test_all_errors_are_of_the_family() -> None:
    """Every exception that the package defines is told in a sentence by the command line."""
    package = Path(cli.__file__).parent
    defined = {
        name
        for path in package.rglob("*.py")
        for name in re.findall(r"^class (\w+Error)\(", path.read_text("utf-8"), re.MULTILINE)
        if not name.startswith("_")
    }
    assert defined == {each.__name__ for each in FAMILY}


def test_an_interrupt_ends_in_130(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    ends_in(monkeypatch, KeyboardInterrupt())
    assert run_main(monkeypatch, "explain") == 130
    assert capsys.readouterr().err == "interrupted\n"


def test_a_fault_of_the_program_ends_in_3_and_a_report(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    ends_in(monkeypatch, RuntimeError("a screw came loose"))
    assert run_main(monkeypatch, "explain") == 3
    said = capsys.readouterr().err
    (report,) = tmp_path.iterdir()
    assert said.count("\n") == 1
    assert str(report) in said
    assert "Traceback" not in said
    text = report.read_text(encoding="utf-8")
    assert "RuntimeError: a screw came loose" in text
    assert "sightsize explain" in text


def test_a_fault_is_told_without_a_place_for_the_report(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "nowhere"))
    ends_in(monkeypatch, RuntimeError("a screw came loose"))
    assert run_main(monkeypatch, "explain") == 3
    assert "a screw came loose" in capsys.readouterr().err


def test_a_command_line_that_is_wrong_ends_in_2() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "sightsize", "chekc"], capture_output=True, text=True
    )
    assert done.returncode == 2
    assert "Traceback" not in done.stderr


BOTH_WRONG = """sightsize = 1
aperture = { width = "143 mm", height = "198 mm" }
paper.size = "10x8 in"
delivery.name = "{picture}"
[[prints]]
source = "a.jpg"
frame = "lobby"
[[prints]]
source = "con.jpg"
"""


def test_mistakes_of_all_kinds_are_told_at_once(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    path = tmp_path / "job.toml"
    path.write_text(BOTH_WRONG, encoding="utf-8")
    assert run_main(monkeypatch, "check", "--no-pictures", str(path)) == 2
    said = capsys.readouterr().out
    device, frame = said.splitlines()[:2]
    assert "delivery.name" in device
    assert "'con'" in device
    assert "there is no frame named 'lobby'" in frame
    assert said.endswith("2 mistakes to fix\n")


@pytest.mark.skipif(sys.platform == "win32", reason="descriptors are closed by a POSIX shell")
def test_a_run_with_standard_error_closed_makes_its_prints(tmp_path: Path) -> None:
    save(tmp_path / "a.tif", np.full((48, 64, 3), 120, np.uint8))
    planned = job(tmp_path, {"print": {"source": "a.tif"}}, (64, 48))
    command = f"exec '{sys.executable}' -m sightsize make '{planned.path}' 2>&-"
    done = subprocess.run(["sh", "-c", command], stdout=subprocess.PIPE, text=True)
    assert done.returncode == 0
    assert "1 made" in done.stdout
