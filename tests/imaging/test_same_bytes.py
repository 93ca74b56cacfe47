"""The same bytes come out, however many threads, prints at once or processes make them."""

from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import pytest

from every_stage import every_stage, printed_bytes
from sightsize.model.job import Job
from sightsize.plan.arrange import arrange
from sightsize.run.batch import make_prints
from sightsize.run.planner import plan_prints
from sightsize.run.worker import set_libvips_threads
from speed import first_is_quick


def made(planned: Job, workers: int, executor: Executor | None = None) -> dict[str, bytes]:
    planned.output.mkdir()
    outcomes = make_prints(
        planned,
        plan_prints(planned, arrange(planned)),
        replace="nothing",
        workers=workers,
        executor=executor,
    )
    assert [each.status for each in outcomes] == ["made"] * len(planned.prints)
    return printed_bytes(planned)


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """The prints as one worker makes them."""
    return made(every_stage(tmp_path_factory.mktemp("first")), 1)


@pytest.mark.parametrize("workers", first_is_quick([2, 4]))
def test_prints_at_once(tmp_path: Path, first: dict[str, bytes], workers: int) -> None:
    assert made(every_stage(tmp_path), workers) == first


@pytest.mark.parametrize("count", first_is_quick([2, 1, 4]))
def test_threads_of_libvips(
    tmp_path: Path, first: dict[str, bytes], count: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("VIPS_CONCURRENCY", raising=False)
    before = set_libvips_threads(count)
    try:
        with ThreadPoolExecutor(1) as thread:
            assert made(every_stage(tmp_path), 1, thread) == first
        assert set_libvips_threads(count) == count
    finally:
        set_libvips_threads(before)


@pytest.mark.slow
def test_processes(tmp_path: Path, first: dict[str, bytes]) -> None:
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        assert made(every_stage(tmp_path), 2, pool) == first
