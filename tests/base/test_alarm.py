"""A limit on time in the main thread: it ends what runs on, nests, and leaves nothing behind."""

import signal
import threading
from contextlib import suppress
from time import monotonic, sleep

import pytest

from sightsize.base.alarm import Alarm
from sightsize.errors import OutOfTimeError

pytestmark = pytest.mark.skipif(not hasattr(signal, "setitimer"), reason="no timer to set")


def count_for_ever() -> None:
    number = 0
    while True:
        number += 1


def test_what_runs_on_is_ended() -> None:
    started = monotonic()
    with pytest.raises(OutOfTimeError, match="too long"), Alarm(0.05, "too long"):
        count_for_ever()
    assert monotonic() - started < 30


def test_what_sleeps_is_ended() -> None:
    with pytest.raises(OutOfTimeError), Alarm(0.05, "too long"):
        sleep(60)


def test_what_ends_in_time_is_left_alone() -> None:
    before = signal.getsignal(signal.SIGALRM)
    with Alarm(0.05, "too long"):
        pass
    assert signal.getitimer(signal.ITIMER_REAL) == (0, 0)
    assert signal.getsignal(signal.SIGALRM) is before
    sleep(0.1)


def test_an_exception_that_is_swallowed_comes_again() -> None:
    def count_twice() -> None:
        with suppress(OutOfTimeError):
            count_for_ever()
        count_for_ever()

    with pytest.raises(OutOfTimeError), Alarm(0.05, "too long"):
        count_twice()


def test_the_inner_of_two_ends_first() -> None:
    with Alarm(60, "outer"):
        with pytest.raises(OutOfTimeError, match="inner"), Alarm(0.05, "inner"):
            count_for_ever()
        assert 0 < signal.getitimer(signal.ITIMER_REAL)[0] <= 60


def test_the_outer_of_two_ends_the_inner() -> None:
    with pytest.raises(OutOfTimeError, match="outer"), Alarm(0.05, "outer"), Alarm(60, "inner"):
        count_for_ever()
    assert signal.getitimer(signal.ITIMER_REAL) == (0, 0)


def test_the_outer_goes_on_after_the_inner() -> None:
    def count_after_another() -> None:
        with Alarm(60, "inner"):
            pass
        count_for_ever()

    with pytest.raises(OutOfTimeError, match="outer"), Alarm(0.1, "outer"):
        count_after_another()


def test_a_timer_of_somebody_else_goes_on() -> None:
    rung: list[int] = []
    before = signal.signal(signal.SIGALRM, lambda number, _: rung.append(number))
    try:
        signal.setitimer(signal.ITIMER_REAL, 0.2)
        with Alarm(60, "too long"):
            sleep(0.05)
        assert not rung
        sleep(1)
        assert rung == [signal.SIGALRM]
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def test_another_thread_has_no_limit() -> None:
    done = threading.Event()

    def work() -> None:
        with Alarm(0.01, "too long"):
            sleep(0.1)
        done.set()

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert done.is_set()
