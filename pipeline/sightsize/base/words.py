"""Counts and lists in words: short enough to read, however many things there are."""

from collections.abc import Sequence

_MOST_NAMED = 4


def count_text(count: int, noun: str) -> str:
    """Return a number with its noun, in the plural where it is not one."""
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def and_text(words: Sequence[str]) -> str:
    """Return words as a list in a sentence: ``a, b and c``."""
    return " and ".join(filter(None, [", ".join(words[:-1]), *words[-1:]]))


def names_text(names: Sequence[str]) -> str:
    """Return up to four names in full; of more the first three, and how many there are besides."""
    if len(names) <= _MOST_NAMED:
        return ", ".join(names)
    shown = _MOST_NAMED - 1
    return f"{', '.join(names[:shown])} and {len(names) - shown} more"
