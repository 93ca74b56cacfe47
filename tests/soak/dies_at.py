"""Run the command line and die, as by SIGKILL, just before a step that it takes in a folder.

    python dies_at.py STEP FOLDER make job.toml

Steps are what Python opens, renames, removes or makes there; libvips' own writing between them is
not seen.
"""

import os
import signal
import sys
from typing import Any

_STEPS = {"open", "os.mkdir", "os.remove", "os.rename"}


def die_at(step: int, folder: str) -> None:
    """Have this process killed before its ``step``-th step in ``folder``."""
    left = step

    def count(event: str, arguments: tuple[Any, ...]) -> None:
        nonlocal left
        if event in _STEPS and str(arguments[0]).startswith(folder):
            left -= 1
            if left == 0:
                os.kill(os.getpid(), signal.SIGKILL)

    sys.addaudithook(count)


if __name__ == "__main__":
    die_at(int(sys.argv[1]), sys.argv[2])
    del sys.argv[1:3]
    from sightsize.cli import main

    main()
