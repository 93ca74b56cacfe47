"""Characters that would act instead of being seen: found, shown as escapes, or left out.

They move a terminal's cursor, colour its screen, turn the direction of writing or break a line; XML
1.0 forbids some of them (https://www.w3.org/TR/xml/#charsets).
"""

import re
from collections.abc import Iterable

_ACTING = re.compile(
    r"[\x00-\x1f\x7f-\x9f"  # C0, DEL and C1
    r"\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069"  # directions: Unicode Annex 9
    r"\u2028\u2029"  # ends of lines and paragraphs
    r"\ud800-\udfff\ufffe\uffff]"  # no characters at all
)
_LAYOUT = "\t\n\r"
_LONGEST_LINE = 200


def acts(text: str) -> bool:
    """Return whether a text of one line holds a character that would act."""
    return _ACTING.search(text) is not None


def visible(text: str) -> str:
    """Return a text in one line, with what would act shown as ``\\x1b``."""
    return _ACTING.sub(_escape, text)


def _escape(match: re.Match[str]) -> str:
    code = ord(match[0])
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}"


def paragraph(lines: Iterable[str]) -> str:
    """Return lines as one text; what stands in a line cannot begin another."""
    return "\n".join(map(visible, lines))


def plain_text(text: str) -> str:
    """Return a text, of one line or several, without what would act."""
    return _ACTING.sub(lambda match: match[0] if match[0] in _LAYOUT else "", text)


def one_line(text: str) -> str:
    """Return the beginning of a text as one plain line."""
    return plain_text(" ".join(text[: 4 * _LONGEST_LINE].split()))[:_LONGEST_LINE].strip()
