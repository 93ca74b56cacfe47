"""Say whether jobs still validate: grammar, pictures, geometry."""

import os
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from sightsize.archive.left_behind import lost_to_patterns
from sightsize.base.atomic import write_new, write_whole
from sightsize.base.findings import Finding, sentences
from sightsize.base.reading import open_plain
from sightsize.base.terminal import say
from sightsize.base.words import count_text
from sightsize.commands.shared import as_data, echo_json, load, open_docket
from sightsize.errors import DocketError, JobError, UsageError, reason_of
from sightsize.model.job import Job
from sightsize.report.data import prints_data
from sightsize.report.junit import junit_xml
from sightsize.report.text import finding_lines
from sightsize.run.planner import plan_prints

Cases = list[tuple[str, Sequence[Finding]]]


def run(jobs: list[Path], *, pictures: bool, as_json: bool, junit: Path | None) -> int:
    """Check each job file; one that is wrong stops no other."""
    code = 0
    data: list[dict[str, Any]] = []
    cases: dict[str, Cases] = {}
    for path in jobs:
        one, facts, cases[str(path)] = _check(path, pictures=pictures, as_json=as_json)
        code = max(code, one)
        data.append(facts)
    if as_json:
        echo_json(data)
    if junit:
        _write_junit(junit, junit_xml(cases))
    return code


def _check(path: Path, *, pictures: bool, as_json: bool) -> tuple[int, dict[str, Any], Cases]:
    """Check one job file: its exit code, its data, and its cases for JUnit."""
    try:
        job, files = load(path)
    except JobError as error:
        lines = sentences(error.findings)
        _say(f"{path}: {count_text(len(lines), 'mistake')} to fix", lines, as_json=as_json)
        facts = {"job": str(path), "findings": as_data(error.findings), "prints": []}
        return error.exit_code, facts, [("job file", error.findings)]
    prints = plan_prints(job, files, pictures=pictures)
    about = _about_docket(job)
    refused = sum(each.refused for each in prints)
    verdict = f"{refused} refused" if refused else "valid"
    _say(
        f"{path}: {verdict}, {count_text(len(prints), 'print')}",
        [*sentences(about), *finding_lines(prints)],
        as_json=as_json,
    )
    facts = {
        "job": str(path),
        "findings": as_data(about),
        "prints": prints_data(prints) if as_json else [],
    }
    return min(refused, 1), facts, [(each.name, each.findings) for each in prints]


def _about_docket(job: Job) -> list[Finding]:
    """What a job's patterns no longer find of what was printed; a check needs no docket."""
    try:
        docket = open_docket(job.output)
    except DocketError as error:
        return [Finding(level="note", check="docket", message=f"{error}.", file=str(job.path))]
    return [each.finding(job) for each in lost_to_patterns(docket, job)]


def _say(verdict: str, lines: Sequence[str], *, as_json: bool) -> None:
    if as_json:
        return
    for line in (*lines, verdict):
        say(line)


def _write_junit(path: Path, text: str) -> None:
    """Write the report, in the place of an earlier one or of nothing."""
    try:
        if os.path.lexists(path):
            _require_report(path)
            write_whole(path, text.encode())
        else:
            write_new(path, text.encode())
    except OSError as error:
        raise UsageError(f"cannot write {path}: {reason_of(error)}") from error


def _require_report(path: Path) -> None:
    """Raise UsageError for a file with something to lose, and OSError."""
    with open_plain(path) as file:
        begin = file.read(_ENOUGH_BYTES)
    if path.is_symlink() or not _REPORT.match(begin):
        raise UsageError(
            f"{path} is not a JUnit report, so it is not written over; name another file with "
            "--junit"
        )


_ENOUGH_BYTES = 4096
_REPORT = re.compile(rb"\s*(<\?xml[^>]*>\s*)?(<testsuites?\b|$)")
"""A report's beginning, or nothing: a file that was made empty for it."""
