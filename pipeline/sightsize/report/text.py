"""Findings and outcomes as text for people."""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby

from sightsize.base.findings import Finding
from sightsize.base.plain_text import paragraph
from sightsize.base.words import and_text, names_text
from sightsize.run.planned_print import PlannedPrint
from sightsize.run.worker import Outcome

_MOST_SPANS = 4
"""With more than so many the numbers of prints say nothing at a glance."""


def finding_lines(prints: Sequence[PlannedPrint]) -> list[str]:
    """Return every finding about a job's prints once, with the prints that it is about.

    What the job accepts is one line at the end.
    """
    about: dict[str, list[PlannedPrint]] = {}
    for planned, finding in _findings(prints):
        if finding.level != "accepted":
            about.setdefault(finding.sentence(), []).append(planned)
    lines = [f"{said}{_which(found, len(prints))}" for said, found in about.items()]
    return lines + accepted_lines(_findings(prints), len(prints))


def _findings(prints: Iterable[PlannedPrint]) -> Iterator[tuple[PlannedPrint, Finding]]:
    return ((planned, finding) for planned in prints for finding in planned.findings)


def accepted_lines(found: Iterable[tuple[PlannedPrint, Finding]], of: int) -> list[str]:
    """Return one line that names the checks which a job accepts and prints did not pass.

    ``of`` is how many prints there are; there is no line where nothing had to be accepted.
    """
    about: dict[str, list[PlannedPrint]] = {}
    files = set()
    for planned, finding in found:
        if finding.level == "accepted":
            about.setdefault(finding.check, []).append(planned)
            files.add(finding.file)
    head = "".join(f"{file}: " for file in files if file)
    checks = ", ".join(f"{check}{_which(which, of)}" for check, which in about.items())
    return [f"{head}note: accepted {checks}"] if checks else []


def _which(found: Sequence[PlannedPrint], of: int) -> str:
    """Which of several prints, in brackets: by number as ``--only`` takes it, and by file."""
    files = {each.name: each.file.request.number for each in found}
    if of == 1:
        return ""
    if len(files) == of:
        return " (both prints)" if of == 2 else f" (all {of} prints)"
    if len(files) == 1:
        ((name, number),) = files.items()
        return f" (print {number}, {name})"
    spans = list(_spans([*files.values()]))
    if len(spans) > _MOST_SPANS:
        return f" ({len(files)} of {of} prints: {names_text([*files])}; --json names all)"
    return f" (prints {and_text(spans)}: {names_text([*files])})"


def _spans(numbers: Sequence[int]) -> Iterator[str]:
    """Rising numbers in words, three or more in a row as a span."""
    for _, run in groupby(enumerate(numbers), key=lambda each: each[1] - each[0]):
        row = [number for _, number in run]
        if len(row) > 2:
            yield f"{row[0]} to {row[-1]}"
        else:
            yield from map(str, row)


def about(count: int) -> str:
    """Return a size in bytes, roughly."""
    return f"about {count / 1e6:.1f} MB"


def outcome_line(outcome: Outcome) -> str:
    """Return one line about what became of a print, and one for each finding about the finished.

    A refused print names the checks that refuse it; their findings stand above.
    """
    name = outcome.planned.name
    if outcome.status == "made":
        line = f"made     {name}  {outcome.bytes / 1e6:.1f} MB in {outcome.seconds:.1f} s"
        said = [each.sentence() for each in outcome.findings if each.level != "accepted"]
        return paragraph([line, *(f"         {each}" for each in said)])
    if outcome.status == "kept":
        return f"kept     {name}  unchanged, left alone"
    if outcome.status == "refused":
        checks = dict.fromkeys(f"[{each.check}]" for each in outcome.findings)
        return f"refused  {name}  see {and_text([*checks])} above"
    return f"failed   {name}  {outcome.message.removeprefix(name).lstrip()}"


def accepted_when_made(outcomes: Sequence[Outcome]) -> list[str]:
    """Return one line that names what finished prints show and their job accepts."""
    found = ((outcome.planned, each) for outcome in outcomes for each in outcome.findings)
    return accepted_lines(found, len(outcomes))


def outcomes_text(outcomes: Sequence[Outcome]) -> str:
    """Return the totals of a run."""
    counts = Counter(outcome.status for outcome in outcomes)
    return ", ".join(
        f"{counts[status]} {status}" for status in ("made", "kept", "refused", "failed")
    )
