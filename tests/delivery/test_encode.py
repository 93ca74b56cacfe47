"""The density's header in front of a JPEG, moved in with plain reads and writes."""

import random
from pathlib import Path

import pytest

from sightsize.delivery.encode import _insert_jfif

BLOCK = 2**20
JFIF_BYTES = 18


@pytest.mark.parametrize("size", [2, 3, 20, BLOCK + 1, BLOCK + 2, BLOCK + 3, 3 * BLOCK + 7])
def test_what_stood_in_the_file_moves_on_whole(tmp_path: Path, size: int) -> None:
    whole = b"\xff\xd8" + random.Random(size).randbytes(size - 2)
    file = tmp_path / "a.jpg"
    file.write_bytes(whole)
    _insert_jfif(file, 300)
    found = file.read_bytes()
    assert found[:2] + found[2 + JFIF_BYTES :] == whole
    # JFIF 1.02, appendix B: APP0, length, identifier, version, units, densities, no thumbnail.
    assert found[2 : 2 + JFIF_BYTES].hex() == "ffe000104a464946000102" + "01" + "012c012c" + "0000"
