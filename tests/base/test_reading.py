"""Files read with care: plain ones only, no more than is expected."""

import os
import sys
from pathlib import Path

import pytest

from sightsize.base.reading import open_plain, read_plain
from sightsize.base.units import bytes_text


def test_a_file_of_just_the_limit_is_read(tmp_path: Path) -> None:
    path = tmp_path / "just.bin"
    path.write_bytes(bytes(range(256)) * 8)
    assert read_plain(path, 2048) == bytes(range(256)) * 8


def test_a_longer_file_is_refused_with_its_limit(tmp_path: Path) -> None:
    path = tmp_path / "long.bin"
    path.write_bytes(b"x" * 2049)
    with pytest.raises(OSError, match="more than 2 KiB"):
        read_plain(path, 2048)


@pytest.mark.skipif(sys.platform == "win32", reason="no pipes with names")
def test_a_pipe_is_refused_at_once(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    with pytest.raises(OSError, match="not a plain file"):
        open_plain(pipe)


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="no devices")
def test_a_device_is_refused() -> None:
    with pytest.raises(OSError, match="not a plain file"):
        read_plain(Path("/dev/zero"), 2**20)


@pytest.mark.skipif(not Path("/proc/self/maps").exists(), reason="no /proc")
def test_a_file_that_states_no_size_is_read_up_to_the_limit() -> None:
    assert Path("/proc/self/maps").stat().st_size == 0
    with pytest.raises(OSError, match="more than 10 bytes"):
        read_plain(Path("/proc/self/maps"), 10)


@pytest.mark.parametrize(
    ("count", "text"),
    [(10, "10 bytes"), (2048, "2 KiB"), (16 * 2**20, "16 MiB"), (3 * 2**29, "1.5 GiB")],
)
def test_limits_are_written_in_binary_units(count: int, text: str) -> None:
    assert bytes_text(count) == text
