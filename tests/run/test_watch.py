"""When a scheduler is given up: by signs of life alone, never by the age of a print."""

import time
from collections.abc import Mapping
from threading import Event

import pytest

from sightsize.run.watch import (
    ANSWER_SECONDS,
    SILENT_SECONDS,
    WORKERS_SECONDS,
    Signs,
    within,
)

A, B = "tcp://tern:1", "tcp://gull:1"


def seen(*answers: tuple[float, Mapping[str, object]]) -> Signs:
    """Signs after answers at some times, in seconds from the start."""
    signs = Signs("tcp://tern:8786", answered=0.0, worked=0.0)
    for now, workers in answers:
        signs.note(now, workers)
    return signs


def test_hours_are_nothing_while_scheduler_and_worker_are_heard() -> None:
    signs = seen(*((float(at), {A: at}) for at in range(0, 20_000, 5)))
    assert signs.trouble(20_000, {A}) == ""


def test_a_scheduler_that_does_not_answer() -> None:
    signs = seen((0.0, {A: 0}))
    assert signs.trouble(ANSWER_SECONDS, {A}) == ""
    said = "the scheduler at tcp://tern:8786 has not answered for 60 s"
    assert signs.trouble(ANSWER_SECONDS + 1, {A}) == said


def test_workers_that_have_gone() -> None:
    signs = seen((0.0, {A: 0}), *((float(at), {}) for at in range(5, 200, 5)))
    assert signs.trouble(WORKERS_SECONDS - 1) == ""
    assert "has had no worker for 120 s" in signs.trouble(WORKERS_SECONDS + 1)


def test_workers_that_come_back_in_time() -> None:
    signs = seen((0.0, {A: 0}), (100.0, {}), (110.0, {B: 110}), (200.0, {B: 190}))
    assert signs.trouble(201.0) == ""


@pytest.mark.parametrize("clock", [0.0, 1e9])
def test_a_silent_worker_is_told_by_what_changes_not_by_its_clock(clock: float) -> None:
    """The scheduler's clock may be years from ours."""
    answers = [
        (float(at), {A: clock, B: clock + at}) for at in range(0, int(SILENT_SECONDS) + 60, 5)
    ]
    signs = seen(*answers)
    now = answers[-1][0]
    assert signs.living(now) == {B}
    assert signs.trouble(now, {A, B}) == ""
    assert signs.trouble(now, {A}) == f"nothing has been heard of worker {A} for 600 s"
    assert signs.trouble(now) == ""


def test_all_workers_silent_is_no_worker() -> None:
    end = int(SILENT_SECONDS + WORKERS_SECONDS) + 10
    signs = seen(*((float(at), {A: 7}) for at in range(0, end, 5)))
    assert "has had no worker" in signs.trouble(float(end))


def test_nothing_is_waited_for_longer_than_said() -> None:
    never = Event()
    begin = time.monotonic()
    with pytest.raises(TimeoutError):
        within(0.05, never.wait)
    assert time.monotonic() - begin < 20
    never.set()


def test_what_is_done_in_time_comes_back() -> None:
    assert within(20, lambda: 7) == 7
    with pytest.raises(SystemExit):
        within(20, lambda: exec("raise SystemExit"))
