"""Paths as people write them: what cannot be a path is said, what leads nowhere has no file."""

import os
import re
from pathlib import Path

LONGEST_PART = 255
"""Bytes of one name in a path: the limit of most file systems (common practice, no source)."""


def read_path(text: str) -> None:
    """Raise ValueError, with a sentence, for a text that no system takes for a path."""
    if re.search(r"[\x00-\x1f\x7f]", text):
        raise ValueError("the path has a control character; write it without")
    if any(len(part.encode()) > LONGEST_PART for part in re.split(r"[/\\]", text)):
        raise ValueError(
            f"a name in the path has more than {LONGEST_PART} bytes, which no file has; shorten it"
        )


def is_file(path: Path) -> bool:
    """Return whether a file stands at a path that may be no path at all, or out of reach."""
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


def resolved(path: Path) -> Path:
    """Return a path with its links followed; links in a circle are left as they are."""
    return Path(os.path.realpath(path))
