"""Findings and outcomes as text for people."""

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import groupby

from sightsize.base.terminal import paragraph
from sightsize.run.planned_print import PlannedPrint
from sightsize.run.worker import Outcome


def finding_lines(prints: Sequence[PlannedPrint]) -> list[str]:
    """Return every finding about a job's prints once, with the prints that it is about."""
    about: dict[str, list[PlannedPrint]] = {}
    for planned in prints:
        for finding in planned.findings:
            about.setdefault(finding.sentence(), []).append(planned)
    if len(prints) == 1:
        return list(about)
    return [f"{said} ({_which(found, len(prints))})" for said, found in about.items()]


def _which(found: Sequence[PlannedPrint], of: int) -> str:
    """Prints as ``--only`` takes them: one with its picture, several by number."""
    numbers = list(dict.fromkeys(each.file.request.number for each in found))
    if len(numbers) == 1:
        return f"print {numbers[0]}, {found[0].file.request.look.picture.name}"
    if numbers == list(range(1, of + 1)):
        return f"all {of} prints"
    return f"prints {', '.join(_spans(numbers))}"


def _spans(numbers: Sequence[int]) -> Iterator[str]:
    """Rising numbers in words, three or more in a row as a span."""
    for _, run in groupby(enumerate(numbers), key=lambda each: each[1] - each[0]):
        row = [number for _, number in run]
        if len(row) > 2:
            yield f"{row[0]} to {row[-1]}"
        else:
            yield from map(str, row)


def count_text(count: int, noun: str) -> str:
    """Return a number with its noun, in the plural where it is not one."""
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def about(count: int) -> str:
    """Return a size in bytes, roughly."""
    return f"about {count / 1e6:.1f} MB"


def outcome_line(outcome: Outcome) -> str:
    """Return one line about what became of a print."""
    name = outcome.planned.name
    if outcome.status == "made":
        line = f"made     {name}  {outcome.bytes / 1e6:.1f} MB in {outcome.seconds:.1f} s"
        return paragraph([line, *(f"         {note.sentence()}" for note in outcome.findings)])
    if outcome.status == "kept":
        return f"kept     {name}  unchanged, left alone"
    return f"{outcome.status:<8} {name}  {outcome.message}"


def outcomes_text(outcomes: Sequence[Outcome]) -> str:
    """Return the totals of a run."""
    counts = Counter(outcome.status for outcome in outcomes)
    return ", ".join(
        f"{counts[status]} {status}" for status in ("made", "kept", "refused", "failed")
    )
