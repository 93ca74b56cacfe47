"""Settings and fixtures of every test."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import settings

# No deadline: a busy machine is no failure.
settings.register_profile("tests", max_examples=60, deadline=None)
settings.load_profile("tests")


@pytest.fixture
def write_job(tmp_path: Path) -> Callable[..., Path]:
    """Return a helper that writes a job's text to a file and returns its path."""

    def write(text: str, name: str = "job.toml") -> Path:
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return path

    return write


@pytest.fixture(autouse=True)
def same_numbers_in_any_order(request: pytest.FixtureRequest) -> Iterator[None]:
    """Set a module's RNG back after each test: its pictures are the same whatever ran before."""
    rng = getattr(request.module, "RNG", None)
    state = rng.bit_generator.state if rng else None
    yield
    if rng:
        rng.bit_generator.state = state
