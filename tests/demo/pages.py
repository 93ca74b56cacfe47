"""The blocks of a Markdown page, each with the line it begins on."""

import re
from dataclasses import dataclass
from pathlib import Path

_FENCE = re.compile(r"^```(\w+)\n(.*?)^```$", re.DOTALL | re.MULTILINE)


@dataclass(frozen=True)
class Block:
    """A fenced block; ``line`` is that of its first line of text."""

    page: Path
    line: int
    text: str

    @property
    def name(self) -> str:
        return f"{self.page.name}:{self.line}"


def blocks(page: Path, language: str) -> list[Block]:
    """Return a page's blocks of a language, in order."""
    text = page.read_text("utf-8")
    return [
        Block(page, text.count("\n", 0, each.start(2)) + 1, each[2])
        for each in _FENCE.finditer(text)
        if each[1] == language
    ]
