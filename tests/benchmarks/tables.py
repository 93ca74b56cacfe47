"""Markdown tables with their columns aligned, so that they read well in a terminal, too."""

from collections.abc import Iterable, Sequence


def table(headings: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Return a table; rows that are short end in empty cells."""
    filled = [[*row, *[""] * (len(headings) - len(row))] for row in (headings, *rows)]
    widths = [max(len(row[column]) for row in filled) for column in range(len(headings))]
    filled.insert(1, ["-" * width for width in widths])
    return "\n".join(
        "| " + " | ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) + " |"
        for row in filled
    )


def ratio(value: float, unit: float | None) -> str:
    """Return a value in a unit that may not have been measured."""
    return f"{value / unit:.2f}" if unit is not None else ""
