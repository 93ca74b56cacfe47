"""Lengths in the words of a finding."""

from fractions import Fraction
from math import ceil

from sightsize.base.units import mm_text


def apart(length: Fraction, limit: Fraction) -> tuple[str, str]:
    """Return both lengths in mm as texts with no more places than it takes to tell them apart."""
    for places in (1, 2, 3):
        texts = mm_text(length, places), mm_text(limit, places)
        if texts[0] != texts[1]:
            break
    return texts


def at_least(length: Fraction) -> str:
    """Return a length in mm as a text that is never less, to a tenth."""
    return mm_text(Fraction(ceil(length * 10), 10))
