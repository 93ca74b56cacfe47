"""How much a job file may hold. No photographer's job comes near; past it a job is no job.

The values of a file are held against these bounds before anything walks through them by recursion,
measures them or quotes them.
"""

from pathlib import Path
from typing import Any

from sightsize.base.findings import Finding, KeyPath

MOST_BYTES = 8 * 2**20
"""Of a job file. A job of 10,000 prints, each with a picture table of its own (a level, a centre,
two spots, a face) and eight settings, was measured to have 6.6 MiB."""

MOST_PRINTS = 20_000
"""Of a job, with all that its patterns and ladders come to; also the most that a list of tables or
a table of names can hold."""

MOST_LINES = 500_000
"""Of a file; the same job has 190,000."""

MOST_VALUES = 1_000_000
"""Of a file, its tables and lists among them; the same job has 650,000."""

MOST_ITEMS = 2_000
"""Of a list that does not hold tables; the longest that any key takes is 1000."""

MOST_LEVELS = 16
"""Of tables and lists inside one another; the deepest key of a job has 7."""

MOST_KEY_CHARACTERS = 200
"""Of a key or a name; a file name has at most 255 bytes, and several names come together in one."""

MOST_TEXT_CHARACTERS = 1_000
"""Of a text; the longest that any key takes is 400."""

_LEAST_SECONDS = 60
_SECONDS_A_MIB = 60
"""For reading a job, checking it and finding its pictures. The job of 6.6 MiB above took 70 s of
one core; folders on a network may be slow to list."""

_LARGEST = 2**63
"""TOML 1.0 has whole numbers of 64 bits; of longer ones Python cannot even show all."""


def reading_seconds(path: Path) -> float:
    """Return how long reading a job file may take: a minute, and one more for each MiB."""
    try:
        mebibytes = path.stat().st_size / 2**20
    except (OSError, ValueError):
        mebibytes = 0
    return _LEAST_SECONDS + _SECONDS_A_MIB * min(mebibytes, MOST_BYTES / 2**20)


def say_slow(path: Path, seconds: float) -> Finding:
    """Return the finding about a job file that took longer."""
    said = f"reading this job and finding its pictures took more than {seconds:.0f} s; split it."
    return Finding(level="refuse", check="toml", message=said, file=str(path))


def find_excess(values: dict[str, Any]) -> tuple[KeyPath, str] | None:
    """Return the path of what a file has too much of, and a sentence; None when all is within."""
    todo: list[tuple[KeyPath, Any]] = [((), values)]
    count = 0
    while todo:
        path, value = todo.pop()
        count += 1
        if count > MOST_VALUES:
            return (), f"the file holds more than {MOST_VALUES:,} values; make several jobs of it."
        said = _excess(value, len(path))
        if said:
            return path, said
        if isinstance(value, dict):
            for key, child in value.items():
                if len(key) > MOST_KEY_CHARACTERS:
                    said = f"a name has {len(key)} characters; the limit is {MOST_KEY_CHARACTERS}."
                    return path, said
                todo.append(((*path, key), child))
        elif isinstance(value, list):
            todo.extend(((*path, index), child) for index, child in enumerate(value))
    return None


def _excess(value: object, level: int) -> str:
    """What is too much about one value, or nothing."""
    if isinstance(value, int) and not -_LARGEST <= value < _LARGEST:
        return "this number is too large for any key; write a smaller one."
    if isinstance(value, str) and len(value) > MOST_TEXT_CHARACTERS:
        return f"this text has {len(value)} characters; the limit is {MOST_TEXT_CHARACTERS}."
    if isinstance(value, dict | list) and level > MOST_LEVELS:
        return f"tables and lists are nested {level} deep here; no key needs more than 7."
    if isinstance(value, dict) and len(value) > MOST_PRINTS:
        return f"this table has {len(value)} keys; the limit is {MOST_PRINTS}."
    if isinstance(value, list):
        most = MOST_PRINTS if value and isinstance(value[0], dict) else MOST_ITEMS
        if len(value) > most:
            return f"this list has {len(value)} entries; the limit is {most}."
    return ""
