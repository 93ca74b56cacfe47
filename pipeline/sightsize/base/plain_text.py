"""Texts that files bring along, without what could command a terminal or turn its words round."""

import re

_LONGEST_LINE = 200
_CONTROLS = re.compile(
    r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f"  # C0 and C1, but for tab and ends of lines
    r"\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069"  # directions: Unicode Annex 9
    r"\ud800-\udfff\ufffe\uffff]"  # no characters, which XML cannot hold
)


def plain_text(text: str) -> str:
    """Return a text, of one line or several, without control characters and turned directions."""
    return _CONTROLS.sub("", text)


def one_line(text: str) -> str:
    """Return the beginning of a text as one plain line."""
    return plain_text(" ".join(text[: 4 * _LONGEST_LINE].split()))[:_LONGEST_LINE].strip()
