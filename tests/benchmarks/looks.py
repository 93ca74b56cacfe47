"""Have prints looked at by `verify`, in a process of its own, and tell of it."""

import json
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, cast

from measure import Bench, Row, measure_cold
from sources import run_script
from spec import DETAIL_RATIOS, LARGEST_DIFFERENCE_CODES, TUNED
from tables import table

if TYPE_CHECKING:
    from verify import Look

HEADINGS = ("subject", "difference, codes", "of 4 x 4 means", "detail", "coding", "MB", "")

HOW = f"""\
Held against the first peer: means of 4 x 4 px have to stand less than
{LARGEST_DIFFERENCE_CODES:g} codes away, detail within {DETAIL_RATIOS[0]:g} to \
{DETAIL_RATIOS[1]:g} of it. The floor stays in colour."""


def looks_at(bench: Bench, rows: Iterable[Row]) -> "list[Look]":
    """Return a look at the last print of every subject that made one."""
    prints = [bench.target(row.subject) for row in rows if not row.missing]
    return looks_at_files(bench, prints)


def looks_at_files(bench: Bench, prints: Sequence[Path]) -> "list[Look]":
    """Return a look at each of some print files."""
    return cast("list[Look]", json.loads(run_script("verify.py", bench.spec.name, *prints)))


def looks_beside_reference(bench: Bench, row: Row) -> "list[Look]":
    """Return looks at a subject's print and at one made only to hold it against."""
    reference = Row(subject=TUNED)
    measure_cold(bench, [reference], 1)
    return looks_at(bench, [reference, row])


def look_faults(looks: "Iterable[Look]") -> list[str]:
    """Say what is wrong with prints."""
    return [f"{look['subject']}: {fault}" for look in looks for fault in look["faults"]]


def looks_table(looks: "Iterable[Look]") -> str:
    """Return how far prints stand from the reference, and whether they are as specified."""
    return table(HEADINGS, [_cells(look) for look in looks])


def _cells(look: "Look") -> list[str]:
    compared = look.get("comparison")
    return [
        look["subject"],
        f"{compared['pixels_codes']:.2f}" if compared else "",
        f"{compared['means_codes']:.2f}" if compared else "",
        f"{compared['detail_ratio']:.2f}" if compared else "",
        "optimised" if look["optimised_coding"] else "standard",
        f"{look['megabytes']:.1f}",
        "; ".join(look["faults"]) or "as specified",
    ]
