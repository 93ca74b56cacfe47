"""A finding: one thing to say about a job or a print, and where it stands.

Levels: ``note`` is worth knowing, ``warn`` is worth a second look, ``refuse`` refuses the print
(or, in the grammar, the job). ``accepted`` is what the job has accepted, whatever its level was.
"""

import json
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from difflib import get_close_matches
from itertools import islice
from typing import Literal

from sightsize.base.plain_text import visible

Level = Literal["accepted", "note", "warn", "refuse"]
KeyPath = tuple[str | int, ...]


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One finding; ``line`` and ``column`` count from 1, 0 where there is no place to point at."""

    level: Level
    check: str
    message: str
    remedy: str = ""
    file: str = ""
    line: int = 0
    column: int = 0
    key: str = ""
    found: str = ""
    allowed: str = ""
    nearest: str = ""

    def sentence(self) -> str:
        """Return the finding for people, one line."""
        place = ":".join(str(part) for part in (self.file, self.line, self.column) if part)
        head = f"{place}: " if place else ""
        key = f"{self.key}: " if self.key else ""
        remedy = f" {self.remedy}" if self.remedy else ""
        return visible(f"{head}{self.level} [{self.check}] {key}{self.message}{remedy}")

    def at(self, file: str, line: int, column: int, key: str) -> "Finding":
        """Return the finding with its place in a job file."""
        return replace(self, file=file, line=line, column=column, key=key)


def sentences(findings: Iterable[Finding]) -> list[str]:
    """Return findings for people, a line each."""
    return [each.sentence() for each in findings]


def in_order(findings: Iterable[Finding]) -> list[Finding]:
    """Return findings about a job file once each, in the order of their places."""
    return sorted(dict.fromkeys(findings), key=lambda each: (each.line, each.column))


_MOST_KNOWN = 1000
"""Names that a mistyped one is held against, so that an answer comes at once."""


def nearest(word: str, known: Iterable[str]) -> str:
    """Return the known name most like a mistyped one, or nothing; of very many, the first count."""
    spellings = {name.casefold(): name for name in islice(known, _MOST_KNOWN)}
    matches = get_close_matches(word.casefold(), list(spellings), n=1, cutoff=0.6)
    return spellings[matches[0]] if matches else ""


def key_text(path: KeyPath) -> str:
    """Return a key path as people write it: ``prints[2].aperture.width`` (entries count from 1)."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            text += ("." if text else "") + quoted_key(part)
    return text


def quoted_key(name: str) -> str:
    """Return a key as TOML spells it: bare where that is allowed, else in quotes."""
    return (
        name
        if re.fullmatch(r"[A-Za-z0-9_-]+", name)
        else json.dumps(name, ensure_ascii=not name.isprintable())
    )
