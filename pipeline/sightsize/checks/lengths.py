"""Lengths in the words of a finding."""

from collections.abc import Mapping, Sequence
from fractions import Fraction
from math import ceil

from sightsize.base.units import mm_text
from sightsize.model.settings import EDGES


def apart(length: Fraction, limit: Fraction) -> tuple[str, str]:
    """Return both lengths in mm as texts with no more places than it takes to tell them apart."""
    for places in (1, 2, 3):
        texts = mm_text(length, places), mm_text(limit, places)
        if texts[0] != texts[1]:
            break
    return texts


def at_edges(lengths: Mapping[str, str]) -> str:
    """Return texts of lengths by edge as a list, edges of the same length together."""
    edges_of: dict[str, list[str]] = {}
    for edge, length in lengths.items():
        edges_of.setdefault(length, []).append(edge)
    if len(edges_of) == 1 and len(lengths) == len(EDGES):
        return f"{next(iter(edges_of))} at each edge"
    return _and([f"{length} at the {_and(edges)}" for length, edges in edges_of.items()])


def _and(words: Sequence[str]) -> str:
    return " and ".join([", ".join(words[:-1]), *words[-1:]] if len(words) > 1 else words)


def at_least(length: Fraction) -> str:
    """Return a length in mm as a text that is never less, to a tenth."""
    return mm_text(Fraction(ceil(length * 10), 10))
