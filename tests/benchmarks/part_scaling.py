"""Cost against pixels: the plain print with source and sheet growing alike."""

from collections.abc import Mapping, Sequence
from math import log

from goals import Claim
from looks import look_faults, looks_at
from measure import Bench, Row, measure_cold, measure_warm
from parts import Part, Setup, row_faults
from sources import photograph
from spec import OURS, SCALED, TUNED, Spec
from tables import table

HEADINGS = ("source MP", "sheet MP", "warm s", "s a megapixel", "/ the least")

TEXT = """\
## Cost against pixels

Every print is made in a process that has just made it; time is shared out over the sheet's
megapixels. Sheets up to 11 megapixels get Huffman tables of their own, which costs a second look
at every coefficient. Each print is held against that of `tuned_opencv`."""


def part(setup: Setup) -> Part:
    """Measure every size in turn, and fit time against pixels."""
    benches = [setup.bench(spec, photograph(setup.cache, spec.source)) for spec in SCALED.values()]
    rows = [Row(subject=OURS) for _ in benches]
    for _ in range(setup.runs):
        for bench, row in zip(benches, rows, strict=True):
            measure_warm(bench, [row], 1)
    faults = tuple(
        fault
        for bench, row in zip(benches, rows, strict=True)
        for fault in _print_faults(bench, row)
    )
    if any(row.missing for row in rows):
        return Part(text=f"{TEXT}\n\nNot every size was printed.\n", faults=faults)
    seconds = {bench.spec: row.warm for bench, row in zip(benches, rows, strict=True)}
    shares = a_megapixel(seconds)
    power = exponent([_megapixels(spec) for spec in seconds], list(seconds.values()))
    grows = f"Time grows as the number of pixels to the power of {power:.3f}."
    return Part(
        text=f"{TEXT}\n\n{table(HEADINGS, cells(seconds))}\n\n{grows}\n",
        claims=(Claim(goal="scaling", value=max(shares) / min(shares)),),
        faults=faults,
    )


def _print_faults(bench: Bench, row: Row) -> list[str]:
    held = Row(subject=TUNED)
    measure_cold(bench, [held], 1)
    return [*row_faults([held, row]), *look_faults(looks_at(bench, [held, row]))]


def cells(seconds: Mapping[Spec, float]) -> list[list[str]]:
    """Return the time of each print, alone and for each of its megapixels."""
    shares = a_megapixel(seconds)
    return [
        [
            f"{spec.source.width * spec.source.height / 1e6:.0f}",
            f"{_megapixels(spec):.1f}",
            f"{taken:.2f}",
            f"{share:.4f}",
            f"{share / min(shares):.2f}",
        ]
        for (spec, taken), share in zip(seconds.items(), shares, strict=True)
    ]


def a_megapixel(seconds: Mapping[Spec, float]) -> list[float]:
    """Return seconds for each megapixel of the sheet."""
    return [taken / _megapixels(spec) for spec, taken in seconds.items()]


def exponent(sizes: Sequence[float], seconds: Sequence[float]) -> float:
    """Return the power of the size that the seconds grow with: least squares on logarithms."""
    across, up = [log(size) for size in sizes], [log(taken) for taken in seconds]
    middle, height = sum(across) / len(across), sum(up) / len(up)
    spread = sum((each - middle) ** 2 for each in across)
    together = zip(across, up, strict=True)
    return sum((x - middle) * (y - height) for x, y in together) / spread


def _megapixels(spec: Spec) -> float:
    return spec.sheet.width * spec.sheet.height / 1e6
