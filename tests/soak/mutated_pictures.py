"""Print thousands of damaged and malicious pictures; run by hand.

Each must become a whole print or one sentence, in bounded time and memory, with nothing left
behind. The pictures of a format are printed by a child of their own, so that a crash is seen.
"""

import argparse
import json
import re
import resource
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from mutants import KINDS, mutant
from pictures import job
from sightsize.docket.store import Docket
from sightsize.plan.arrange import arrange
from sightsize.run.batch import make_prints
from sightsize.run.planner import plan_prints
from sightsize.run.worker import Outcome

_PX = (64, 48)
_MEMORY = 4 * 2**30
_MEGAPIXELS = 100
_ACCEPTED = ["crop-loss", "no-profile", "overlap", "resolution", "sheet-margin", "unit-slip"]
_LONGEST_SENTENCE = 600


def printed(kind: str, first: int, count: int, folder: Path) -> dict[str, Any]:
    """Print the mutants of a kind; return what became of them, what is wrong, and what it took.

    Time is the processor's, so that a busy machine is no fault; of memory, files mapped count too.
    """
    counted: Counter[str] = Counter()
    faults: list[str] = []
    slowest = 0.0
    for seed in range(first, first + count):
        begin = time.process_time()
        outcome, found = one_print(kind, seed, folder)
        slowest = max(slowest, time.process_time() - begin)
        counted[outcome] += 1
        faults += [f"{kind} {seed}: {each}" for each in found]
        print(f"{kind} {seed} {outcome}", file=sys.stderr)
    peak_mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return {"outcomes": counted, "faults": faults, "slowest": slowest, "peak_mib": peak_mib}


def one_print(kind: str, seed: int, folder: Path) -> tuple[str, list[str]]:
    """Print one mutant; return what became of it and what is wrong with that."""
    source = folder / f"source{KINDS[kind]}"
    source.write_bytes(mutant(kind, seed))
    form = "jpeg" if seed % 2 else "tiff"
    planned = job(
        folder,
        {"print": {"source": source.name}},
        _PX,
        checks={"accept": _ACCEPTED},
        limits={"source_megapixels": _MEGAPIXELS},
        delivery={"format": form},
    )
    planned.output.mkdir(exist_ok=True)
    try:
        prints = plan_prints(planned, arrange(planned))
        with Docket(planned.output / "docket.toml") as docket:
            (outcome,) = make_prints(
                planned,
                prints,
                replace="altered too",
                workers=1,
                docket=docket,
            )
    except Exception as error:
        return "raised", [f"{type(error).__name__}: {error}"]
    return outcome.status, [*_faults(outcome), *_leftovers(planned.output, outcome)]


def _faults(outcome: Outcome) -> list[str]:
    if outcome.status in ("made", "kept"):
        return []
    said = outcome.message
    wrong = (
        ("a fault in sightsize", "a fault in sightsize" in said),
        ("no sentence", not said),
        ("more than a line", len(said.splitlines()) > 1),
        ("too long", len(said) > _LONGEST_SENTENCE),
        ("control characters", re.search(r"[\x00-\x1f\x7f]", said) is not None),
    )
    return [f"{name}: {said!r}" for name, holds in wrong if holds]


def _leftovers(folder: Path, outcome: Outcome) -> list[str]:
    """Names that should not stand in the folder; what should is taken away for the next print."""
    own = outcome.planned.name
    wanted = {own, "docket.toml", ".docket.json"} if outcome.status in ("made", "kept") else set()
    names = {each.name for each in folder.iterdir()}
    for name in names:
        (folder / name).unlink()
    left, lacking = names - wanted, wanted - names
    return [f"left behind: {sorted(left)}"] * bool(left) + [f"lacks {sorted(lacking)}"] * bool(
        lacking
    )


def in_a_child(kind: str, first: int, count: int) -> dict[str, Any]:
    """Print mutants in a child with bounded memory; a crash becomes a fault."""
    command = [sys.executable, __file__, "--child", kind, str(first), str(count)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    try:
        return dict(json.loads(done.stdout))
    except ValueError:
        last = done.stderr.splitlines()[-3:]
        return {"faults": [f"{kind}: child ended with {done.returncode} after {last}"]}


def _child(kind: str, first: int, count: int) -> None:
    resource.setrlimit(resource.RLIMIT_AS, (_MEMORY, _MEMORY))
    with tempfile.TemporaryDirectory() as folder:
        print(json.dumps(printed(kind, first, count, Path(folder))))


def main() -> None:
    """Print so many mutants of each format and report what became of them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=1000)
    parser.add_argument("--first", type=int, default=0, help="first seed")
    parser.add_argument("--kind", choices=list(KINDS), action="append")
    parser.add_argument("--child", nargs=3, help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.child:
        kind, first, count = chosen.child
        _child(kind, int(first), int(count))
        return
    reports = {kind: in_a_child(kind, chosen.first, chosen.count) for kind in chosen.kind or KINDS}
    print(json.dumps(reports, indent=1))
    raise SystemExit(any(report["faults"] for report in reports.values()))


if __name__ == "__main__":
    main()
