"""One print: warm, cold, its memory, beside the floor and the peers; the prints held together."""

from collections.abc import Iterator, Sequence

from goals import Claim
from looks import HOW, look_faults, looks_at, looks_table
from measure import Row, measure
from parts import Part, Setup, row_faults
from sources import photograph
from spec import FLOOR, MONO_24X16, OURS, PEERS, SPECS, Box, Size, Spec
from tables import ratio, table

HEADINGS = (
    "subject",
    "warm s (min-max)",
    "/ floor",
    "/ fastest peer",
    "warm CPU s",
    "cold s",
    "peak MiB",
    "/ leanest peer",
)

PEERS_TEXT = """\
The peers compute each function of a float as it is written down; `tuned_opencv` reads every one
from a table of 16 bits, as sightsize does, and leaves out what a print needs beside the picture:
the overshoot limit, dither, and the file held against its plan."""


def part(setup: Setup) -> Part:
    """Measure every spec."""
    found = [_measured(setup, SPECS[name]) for name in setup.specs]
    return Part(
        text="\n".join(each.text for each in found),
        claims=tuple(claim for each in found for claim in each.claims),
        faults=tuple(fault for each in found for fault in each.faults),
    )


def _measured(setup: Setup, spec: Spec) -> Part:
    bench = setup.bench(spec, photograph(setup.cache, spec.source))
    rows = measure(bench, setup.subjects, setup.runs)
    looks = looks_at(bench, rows)
    times = table(HEADINGS, cells(rows))
    sections = [f"## {spec.name}", described(spec), times, PEERS_TEXT, HOW, looks_table(looks)]
    return Part(
        text="\n\n".join(sections) + "\n",
        claims=tuple(claims_of(rows)) if spec is MONO_24X16 else (),
        faults=(*row_faults(rows), *look_faults(looks)),
    )


def claims_of(rows: Sequence[Row]) -> Iterator[Claim]:
    """Yield what was measured of sightsize, as far as there is something to hold it against."""
    measured = {row.subject: row for row in rows if not row.missing}
    ours, floor = measured.get(OURS), measured.get(FLOOR)
    peers = [measured[name] for name in PEERS if name in measured]
    if ours is None:
        return
    yield Claim(goal="memory", value=ours.peak_mib)
    if floor is not None:
        yield Claim(goal="floor", value=ours.warm / floor.warm)
    if peers:
        yield Claim(goal="peer", value=ours.warm / min(peer.warm for peer in peers))
        yield Claim(goal="peer memory", value=ours.peak_mib / min(peer.peak_mib for peer in peers))


def described(spec: Spec) -> str:
    """Return what a spec asks for."""
    crop, picture = spec.crop, spec.picture
    coding = "optimised" if spec.optimised_coding else "standard"
    return f"""\
Colour JPEG of {_px(spec.source)}, cropped to {_px(crop)}; black-and-white picture of
{_px(picture)} at ({picture.left}, {picture.top}) on a sheet of {_px(spec.sheet)}; JPEG quality
{spec.quality}, 4:4:4, {coding} coding."""


def _px(area: Size | Box) -> str:
    return f"{area.width} x {area.height} px"


def cells(rows: Sequence[Row]) -> list[list[str]]:
    """Return times and memory, each beside the floor's and the best peer's."""
    measured = [row for row in rows if not row.missing]
    peers = [row for row in measured if row.subject in PEERS]
    floor = next((row.warm for row in measured if row.subject == FLOOR), None)
    fastest = min((row.warm for row in peers), default=None)
    leanest = min((row.peak_mib for row in peers), default=None)
    return [
        [row.subject, "failed" if row.failed else "not available"]
        if row.missing
        else [
            row.subject,
            f"{row.warm:.2f} ({min(row.warm_seconds):.2f}-{max(row.warm_seconds):.2f})",
            ratio(row.warm, floor),
            ratio(row.warm, fastest),
            f"{row.warm_cpu:.2f}",
            f"{row.cold:.2f}",
            f"{row.peak_mib:.0f}",
            ratio(row.peak_mib, leanest),
        ]
        for row in rows
    ]
