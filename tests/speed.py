"""Which cases of a test run every time, and which only with the slow ones."""

from collections.abc import Iterable
from typing import Any

import pytest


def first_is_quick(cases: Iterable[Any]) -> list[Any]:
    """The cases of a test: the first runs every time, the others are marked slow."""
    first, *others = cases
    return [first, *(pytest.param(each, marks=pytest.mark.slow) for each in others)]
