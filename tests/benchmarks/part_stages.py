"""What each stage adds to a print, and a print with all of them."""

from measure import Row, measure
from parts import Part, Setup, row_faults
from sources import photograph
from spec import FLOOR, MONO_24X16, OURS
from stages import ALL, STAGES
from tables import ratio, table

HEADINGS = ("print", "warm / floor", "added to the plain print", "peak MiB")
NAMES = {FLOOR: "libvips alone", OURS: "plain black-and-white print"}


def part(setup: Setup) -> Part:
    """Measure the floor, the plain print, and one print for each stage and for all."""
    bench = setup.bench(MONO_24X16, photograph(setup.cache, MONO_24X16.source))
    subjects = [FLOOR, OURS, *(f"subject_stages:{name}" for name in (*STAGES, ALL))]
    rows = measure(bench, subjects, setup.runs)
    text = f"## Stages\n\n{table(HEADINGS, _cells(rows))}\n"
    return Part(text=text, faults=tuple(row_faults(rows)))


def _cells(rows: list[Row]) -> list[list[str]]:
    """Warm time against the floor, what a stage adds to the plain print, and peak memory."""
    floor, plain = (None if row.missing else row.warm for row in rows[:2])
    return [
        [
            NAMES.get(row.subject) or row.subject.partition(":")[2],
            ratio(row.warm, floor),
            f"{row.warm / plain - 1:+.0%}" if plain and row.subject not in NAMES else "",
            f"{row.peak_mib:.0f}",
        ]
        for row in rows
        if not row.missing
    ]
