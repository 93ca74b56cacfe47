"""Load a thousand generated jobs and dockets; run by hand."""

import argparse
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import tomli_w
from hypothesis import HealthCheck, given, seed, settings

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from generated import dockets, jobs, load_and_plan, read_and_audit

Read = Callable[[Path], bool]
_KINDS: dict[str, tuple[Any, Read]] = {
    "job": (jobs(), load_and_plan),
    "docket": (dockets(), read_and_audit),
}


def soak(kind: str, count: int, first: int) -> Counter[bool]:
    """Read so many generated files of a kind; return how many were taken and refused."""
    drawn, read = _KINDS[kind]
    taken: Counter[bool] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"{kind}.toml"

        @seed(first)
        @settings(max_examples=count, deadline=None, suppress_health_check=list(HealthCheck))
        @given(drawn)
        def each(values: Any) -> None:
            path.write_text(tomli_w.dumps(values), encoding="utf-8")
            taken[read(path)] += 1

        each()
    return taken


def main() -> None:
    """Report how many were taken; the first that raises anything else ends the run."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=1000)
    parser.add_argument("--first", type=int, default=0, help="seed")
    chosen = parser.parse_args()
    for kind in _KINDS:
        taken = soak(kind, chosen.count, chosen.first)
        print(f"{kind}: {taken[True]} taken, {taken[False]} refused")


if __name__ == "__main__":
    main()
