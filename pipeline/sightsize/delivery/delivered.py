"""A print that was delivered, and its masters: plain facts for the docket."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from sightsize.base.findings import Finding


@dataclass(frozen=True, kw_only=True)
class Master:
    """A master as written, and the sharpening that its print got, if some of it was measured."""

    sha256: str
    pixels_sha256: str
    gain: float | None
    noise_floor: float | None


@dataclass(frozen=True)
class Delivered:
    """A print under its final name: just made, or kept from an earlier run of the same plan.

    ``sources`` are the SHA-256 of its pictures' sources, ``masters`` stand in their order.
    """

    path: Path
    status: Literal["made", "kept"]
    bytes: int
    findings: tuple[Finding, ...]
    identity: str
    sources: Mapping[Path, str]
    sha256: str
    pixels_sha256: str
    masters: tuple[Master, ...] = ()
