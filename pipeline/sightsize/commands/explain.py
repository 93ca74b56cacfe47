"""Explain a key, a table, a check or a photographer's word, from the schema."""

from collections.abc import Sequence

from sightsize.base.terminal import say_lines
from sightsize.report.explain import explain_text


def run(words: Sequence[str]) -> int:
    """Explain what the words name; list all keys without any. Raises UnknownKeyError."""
    say_lines(explain_text(" ".join(words) or None))
    return 0
