"""Holds what is installed against the pins, and the pins against known faults; 1 if one fails."""

import json
import re
import subprocess
import sys
from collections.abc import Mapping
from importlib.metadata import distributions
from pathlib import Path
from typing import Any

ACCEPTED: dict[str, str] = {}  # a fault's id: why it cannot hurt here, or what is waited for

CONSTRAINTS = Path(__file__).parents[1] / "constraints.txt"
UNPINNED = {"sightsize", "pip", "setuptools"}  # Python brings the last two with each environment
UNREACHED = ("requests.exceptions.", "Could not connect")


def main() -> int:
    """Where no registry answers, that is said, and let pass."""
    text = CONSTRAINTS.read_text(encoding="utf-8")
    strays = unlike(installed(), dict(re.findall(r"^(\S+)==([^\s;]+)", text, re.MULTILINE)))
    said, left = known_faults()
    print("\n".join([*strays, *said]))
    return int(left or bool(strays))


def installed() -> dict[str, str]:
    """Name and version of each package in this environment."""
    return {plain(each.name): each.version for each in distributions()}


def plain(name: str) -> str:
    """A package's name as registries compare it."""
    return re.sub(r"[-_.]+", "-", name).lower()


def unlike(held: Mapping[str, str], pins: Mapping[str, str]) -> list[str]:
    """A line for each package of `held` that is not of its pinned version."""
    return [
        f"audit: {name} {version} is installed, {pins.get(name, 'no version')} is pinned"
        for name, version in held.items()
        if name not in UNPINNED and version != pins.get(name)
    ]


def known_faults() -> tuple[list[str], bool]:
    """What the registry says of the pinned packages, and whether a fault is left."""
    options = ["--disable-pip", "--require-hashes", "--format", "json", "--progress-spinner", "off"]
    command = [sys.executable, "-m", "pip_audit", *options, "-r", str(CONSTRAINTS)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.stdout:
        return judge(json.loads(done.stdout)["dependencies"], ACCEPTED)
    if any(sign in done.stderr for sign in UNREACHED):
        return ["audit: no registry answered: known faults NOT looked up"], False
    return [done.stderr.strip()], True


def judge(packages: list[dict[str, Any]], accepted: Mapping[str, str]) -> tuple[list[str], bool]:
    """What to say of `packages`, as pip-audit's JSON lists them, and whether a fault is left."""
    said, left = [], False
    for package in packages:
        for fault in package.get("vulns", []):
            reason = accepted.get(fault["id"])
            left = left or reason is None
            mended = ", ".join(fault["fix_versions"]) or "no version yet"
            verdict = f"accepted: {reason}" if reason else f"mended in {mended}"
            said.append(f"audit: {package['name']} {package['version']}: {fault['id']}, {verdict}")
    asked = sum("skip_reason" not in package for package in packages)
    said.append(f"audit: known faults looked up for {asked} of {len(packages)} packages")
    if asked < len(packages):
        said[-1] += ": the registry tells nothing about the others"
    return said, left


if __name__ == "__main__":
    sys.exit(main())
