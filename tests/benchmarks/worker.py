"""Run one subject in a process of its own, for `bench.py`.

    python worker.py SUBJECT SPEC                   serve: one print for each line of stdin
    python worker.py SUBJECT SPEC SOURCE TARGET     make one print and end

A request is the JSON list [source, target]; an answer is the JSON of `Answer`.
"""

import importlib
import json
import os
import sys
import time
import traceback
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TextIO, TypedDict

from spec import SPECS, Spec

CORES = "BENCHMARK_CORES"
"""The variable that says on how many of the machine's cores a worker runs, all unless set."""


class Answer(TypedDict, total=False):
    """What became of one print: its times, or why there is none."""

    seconds: float
    cpu_seconds: float
    unavailable: str
    failed: str


def make_one(subject: str, spec: Spec, source: str, target: str) -> Answer:
    """Make one print and time it; what the subject lacks or does wrong is the answer, too."""
    try:
        make_print = _maker(subject)
        started, cpu_started = time.perf_counter(), time.process_time()
        make_print(Path(source), Path(target), spec)
        cpu_seconds = time.process_time() - cpu_started
        return {"seconds": time.perf_counter() - started, "cpu_seconds": cpu_seconds}
    except (ImportError, NotImplementedError) as error:
        return {"unavailable": str(error)}
    except Exception:
        return {"failed": traceback.format_exc()}


def _maker(subject: str) -> Callable[[Path, Path, Spec], None]:
    """The function of a subject; what follows a colon is what it makes the print with."""
    module, _, step = subject.partition(":")
    make_print: Callable[..., None] = importlib.import_module(module).make_print
    return partial(make_print, step=step) if step else make_print


def main(arguments: list[str]) -> None:
    """Answer the requests of the command line or of stdin."""
    _keep_to_cores()
    subject, spec, *paths = arguments
    requests = [json.dumps(paths)] if paths else sys.stdin
    answers = _answer_stream()
    for request in requests:
        answer = make_one(subject, SPECS[spec], *json.loads(request))
        print(json.dumps(answer), file=answers, flush=True)


def _keep_to_cores() -> None:
    if CORES in os.environ:
        mine = sorted(os.sched_getaffinity(0))
        os.sched_setaffinity(0, mine[: int(os.environ[CORES])])


def _answer_stream() -> TextIO:
    """Keep stdout for answers; whatever a subject prints goes to stderr."""
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    return answers


if __name__ == "__main__":
    main(sys.argv[1:])
