"""Large prints: 100 megapixels to 40x30 in, and a gigapixel TIFF to a print of two metres."""

from dataclasses import dataclass
from pathlib import Path

from goals import Claim
from looks import look_faults, looks_at, looks_table
from measure import Row, measure_cold
from parts import Part, Setup, row_faults
from sources import NoSourceError, gigapixel, photograph
from spec import FLOOR, GIGAPIXEL, LARGE_40X30, OURS, TUNED, Size, Spec
from tables import ratio, table

HEADINGS = ("source", "sheet", "runs", "cold s", "/ floor", "peak MiB", "floor's MiB")

TEXT = """\
## Large prints

Each print in a fresh process. The source of a gigapixel is a mosaic of the 24-megapixel picture in
a tiled BigTIFF; its print is held to its size, density, profile, white and grey, the other one to
the print of `tuned_opencv`, too."""


@dataclass(frozen=True)
class Large:
    """A print to measure, for which goal, how often, and what it is held against."""

    goal: str
    spec: Spec
    runs: int
    reference: str | None = None

    def source(self, cache: Path) -> Path:
        """The source picture. Raises NoSourceError where it has no room."""
        if self.spec is GIGAPIXEL:
            return gigapixel(cache)
        return photograph(cache, self.spec.source)


def part(setup: Setup) -> Part:
    """Measure both prints, the gigapixel one once; one whose source has no room is left out."""
    found = [
        _measured(setup, Large("large", LARGE_40X30, setup.runs, TUNED)),
        _measured(setup, Large("gigapixel", GIGAPIXEL, 1)),
    ]
    rows = [cells for cells, _ in found if cells]
    return Part(
        text="\n\n".join([TEXT, table(HEADINGS, rows), *(each.text for _, each in found)]) + "\n",
        claims=tuple(claim for _, each in found for claim in each.claims),
        faults=tuple(fault for _, each in found for fault in each.faults),
    )


def _measured(setup: Setup, large: Large) -> tuple[list[str], Part]:
    """A row of the table, and what there is to say of the print below it."""
    spec = large.spec
    try:
        bench = setup.bench(spec, large.source(setup.cache))
    except NoSourceError as error:
        return [], Part(text=f"{spec.name} is left out: {error}.")
    floor, ours = Row(subject=FLOOR), Row(subject=OURS)
    held = [Row(subject=large.reference)] if large.reference else []
    measure_cold(bench, [floor, ours], large.runs)
    measure_cold(bench, held, 1)
    looks = looks_at(bench, [*held, floor, ours])
    faults = (*row_faults([*held, floor, ours]), *look_faults(looks))
    if floor.missing or ours.missing:
        return [], Part(text=f"{spec.name} was not made.", faults=faults)
    claim = Claim(goal=large.goal, value=ours.peak_mib)
    cells = [
        _px(spec.source),
        _px(spec.sheet),
        str(large.runs),
        f"{ours.cold:.1f}",
        ratio(ours.cold, floor.cold),
        f"{ours.peak_mib:.0f}",
        f"{floor.peak_mib:.0f}",
    ]
    return cells, Part(text=looks_table(looks), claims=(claim,), faults=faults)


def _px(size: Size) -> str:
    return f"{size.width} x {size.height} px"
