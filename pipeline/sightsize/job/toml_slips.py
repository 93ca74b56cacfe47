"""What is wrong on a line that is not TOML, in a photographer's words."""

import re
from dataclasses import dataclass

from sightsize.base.findings import key_text
from sightsize.job.toml_places import find_first

_LINE = 'Write one key = value per line, with quotes around text ("...") and none around numbers.'
_TWICE = re.compile(
    r"^(cannot (overwrite|declare|mutate|redefine)|duplicate inline)", re.IGNORECASE
)
_MOST_SHOWN = 200
"""Characters of a line that are looked at and shown, from around its fault."""

# What tomllib says and the line, as a pattern; what is wrong; what to write.
_SLIPS = (
    (r"[“”„]", "curly quotes do not work in TOML", 'Use straight ones: "...".'),
    (
        r"^(unescaped '\\'|invalid hex)",
        "a backslash has a special meaning in TOML",
        'Write / in paths, as in "pictures/cox.jpg".',
    ),
    (
        r'\d""',
        "the inch mark ends the text too early",
        """Write in, as in "7 1/4 in", or put single quotes around it: '7 1/4"'.""",
    ),
    (r"^illegal character '\\n'", "a quotation mark is missing on this line", 'Add the missing ".'),
    (
        r"^expected '\]' at the end.*\n\s*\[[^\]]*$",
        "a table's name lacks its closing bracket",
        "Write it as in [aperture].",
    ),
    (
        r"^expected '\]\]' at the end.*\n\s*\[\[[^\]]*\]?\s*(#.*)?$",
        "a table's name lacks a closing bracket",
        "Write two on each side, as in [[prints]].",
    ),
    (
        r"^expected newline.*\n\s*\[[^\[\]]+\]\]",
        "a table's name has brackets that do not match",
        "Write one on each side, as in [aperture], or two for a print: [[prints]].",
    ),
    (
        r"^expected '=' after.*\n\s*[\w.-]+\s*\]",
        "a table's name lacks its opening bracket",
        "Write it as in [aperture], or as [[prints]] for a print.",
    ),
    (r"^expected '=' after", "a key needs = after it", "Write key = value."),
    (
        r"^expected '\]+' at the end",
        "a table name contains a character that needs quotes",
        'Use only letters, digits, - and _, or quote the name: [frames."lobby oak"].',
    ),
    (
        r"^unclosed array",
        "a list before this point is not closed or lacks a comma",
        "Add the missing ] or comma.",
    ),
    (
        r"^unclosed inline table",
        "a table before this point is not closed or lacks a comma",
        "Add the missing } or comma, and keep { ... } on one line.",
    ),
    (r"\n.*= *(true|false|yes|no|on|off)\b", "this is not a valid value", "Write true or false."),
    (
        r"^(illegal|found invalid) character '\\[xu]",
        "this line contains a control character",
        "Write the line again.",
    ),
    (
        r"\n.*= *0[xob][^0-9a-f]*$",
        "a number has no digits after its 0x, 0o or 0b",
        "Write a decimal number, as in 16.",
    ),
    (r"\n.*= *[-+]?\d+,\d", "a number has a decimal comma", "Use a point, as in 0.5."),
    (
        r"\n.*= *[-+]?(\.\d|0\d)",
        "a number must start with a digit and have no leading zero",
        "Write 0.5 for .5, and 2 for 02.",
    ),
    (r"^expected newline", "this line has more than one value", _LINE),
    (r"^invalid value", "this is not a valid value", _LINE),
)


@dataclass(frozen=True)
class Slip:
    """What is wrong, what to write instead, and where: line and column, both from 1."""

    said: str
    remedy: str
    line: int
    column: int
    found: str


def find_slip(message: str, text: str) -> Slip:
    """Return what is wrong in a text about which tomllib says ``message``."""
    # tomllib states the place only inside its message before Python 3.14.
    match = re.search(r"\(at line (\d+), column (\d+)\)", message)
    lines = text.rstrip().split("\n")
    row, column = (int(match[1]), int(match[2])) if match else (len(lines), len(lines[-1]) + 1)
    line = lines[row - 1].rstrip() if row <= len(lines) else ""
    if column > len(line) or message.startswith("Cannot"):
        column = len(line) - len(line.lstrip()) + 1
    bare = re.sub(r"\s*\(at .*\)", "", message)
    shown = line[max(column - _MOST_SHOWN, 0) : column + _MOST_SHOWN]
    if _TWICE.search(bare):
        said, remedy = _say_twice(text, row), "Merge the two, or remove one."
    else:
        said, remedy = _explain(bare, shown)
    return Slip(said, remedy, row, column, shown.strip())


def _say_twice(text: str, row: int) -> str:
    """What a line sets that is set already, and where."""
    first = find_first(text.split("\n"), row)
    if first is None:
        return "this key or table is already set further up"
    key, line = first
    where = f"on line {line}" if line != row else "on this line"
    return f"{key_text(key)} is already set {where}"


def _explain(said: str, line: str) -> tuple[str, str]:
    """Return what is wrong on a line that is not TOML, and what to write."""
    for pattern, message, remedy in _SLIPS:
        if re.search(pattern, f"{said}\n{line}", re.IGNORECASE):
            return message, remedy
    return f"this line is not TOML: {said[:1].lower()}{said[1:]}", _LINE
