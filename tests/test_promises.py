"""The README's promises: each has its tests, which are there."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


def section(page: str, title: str) -> str:
    text = (ROOT / page).read_text("utf-8")
    return text.split(f"## {title}\n")[1].split("\n## ")[0]


def rows(page: str, title: str) -> list[tuple[str, str]]:
    """The rows of the table with two columns in a section, without its head."""
    found = re.findall(r"^\| (.+?) \| (.+) \|$", section(page, title), re.M)
    return found[2:] if found[1:2] == [("---", "---")] else []


PROMISES = rows("README.md", "What it will never do")
HELD_BY = rows("DEVELOPERS.md", "Promises, and the tests that hold them")


def test_every_promise_has_its_tests() -> None:
    assert len(PROMISES) > 10
    assert [promise for promise, _ in HELD_BY] == [promise for promise, _ in PROMISES]


@pytest.mark.parametrize("named", [named for _, named in HELD_BY])
def test_every_test_of_a_promise_is_there(named: str) -> None:
    tests = re.findall(r"`(tests/[^`]+)`", named)
    assert tests
    for file, name in (each.split("::") for each in tests):
        tree = ast.parse((ROOT / file).read_text("utf-8"))
        assert name in {each.name for each in tree.body if isinstance(each, ast.FunctionDef)}
