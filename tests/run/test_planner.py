"""Planning opens no more than it must."""

import subprocess
import sys
from pathlib import Path

import numpy as np

from pictures import job, save

LOADED = """
import sys
from sightsize.cli import app
app(["make", sys.argv[1]], standalone_mode=False)
print(sorted({"pyvips", "numpy", "scipy"} & set(sys.modules)))
"""


def test_a_rerun_of_finished_prints_does_not_load_libvips(tmp_path: Path) -> None:
    save(tmp_path / "a.tif", np.full((48, 64, 3), 120, np.uint8))
    planned = job(tmp_path, {"print": {"source": "a.tif"}}, (64, 48))
    command = [sys.executable, "-c", LOADED, str(planned.path)]
    first = subprocess.run(command, capture_output=True, text=True)
    assert first.stdout.endswith("['numpy', 'pyvips']\n"), first.stderr
    again = subprocess.run(command, capture_output=True, text=True)
    assert "1 kept" in again.stdout
    assert again.stdout.endswith("[]\n"), again.stderr
