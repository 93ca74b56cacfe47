"""A starter job for a folder of pictures."""

import os
from pathlib import Path

import tomli_w

from sightsize.base.atomic import write_new
from sightsize.base.paths import read_path
from sightsize.errors import StarterError
from sightsize.job.picture_files import natural_order

PICTURE_ENDINGS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif")

_HEAD = """\
# For every key with its unit, range and default, run: sightsize explain
sightsize = 1

[job]
{job}
# Measure the mat opening with a steel rule, in two places each way; do not trust the label.
# Then remove the # from these two lines and write what you measured.
[aperture]
# width = "7 1/4 in"
# height = "9 5/8 in"
overlap = "3 mm"

# The paper size your lab prints on, with its unit; remove the # here too.
[paper]
# size = "12x8 in"

[delivery]
name = "{{reference}}-{{number}}-{{picture}}-{{paper}}"
"""


def write_starter(folder: Path, target: Path) -> int:
    """Write a job with one print for each picture in ``folder``; return their number.

    Raises StarterError when there are none, when one has a name that no job can hold, or when the
    job file exists; nothing is ever overwritten.
    """
    if not folder.is_dir():
        raise StarterError(f"{folder} is not a folder; name the folder of your pictures")
    files = [each for each in folder.iterdir() if each.suffix.lower() in PICTURE_ENDINGS]
    if not files:
        raise StarterError(f"there are no pictures in {folder} ({', '.join(PICTURE_ENDINGS)})")
    names = sorted((each.name for each in files), key=natural_order)
    try:
        for each in names:
            read_path(each)
    except ValueError as error:
        raise StarterError(f"{error}") from None
    text = _starter_text(folder, target, names)
    try:
        write_new(target, text.encode())
    except FileExistsError:
        raise StarterError(f"{target} exists; name another file with --job") from None
    except OSError as error:
        raise StarterError(f"cannot write {target}: {error.strerror}") from error
    return len(names)


def _starter_text(folder: Path, target: Path, names: list[str]) -> str:
    beside = Path(os.path.relpath(folder, target.parent)).as_posix()
    job = {"title": folder.resolve().name, "reference": "", "output": "prints"}
    prints = [tomli_w.dumps({"source": f"{beside}/{name}"}) for name in names]
    head = _HEAD.format(job=tomli_w.dumps(job))
    return head + "".join(f"\n[[prints]]\n{each}" for each in prints)
