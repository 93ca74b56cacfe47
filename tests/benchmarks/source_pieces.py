"""Make sources out of the benchmark's photograph: one much larger, or many small ones.

    python source_pieces.py TARGET mosaic PHOTOGRAPH WIDTH HEIGHT
    python source_pieces.py TARGET small PHOTOGRAPH COUNT

The mosaic is a tiled, uncompressed BigTIFF, streamed.
"""

import sys
from pathlib import Path

import pyvips
from spec import SMALL, Size

TILE_PX = 256


def make_mosaic(target: Path, photograph: Path, size: Size) -> None:
    """Lay the photograph side by side until it fills a size."""
    piece = pyvips.Image.new_from_file(str(photograph), memory=True)
    across, down = -(-size.width // piece.width), -(-size.height // piece.height)
    whole = piece.replicate(across, down).crop(0, 0, *size)
    whole.tiffsave(str(target), bigtiff=True, tile=True, tile_width=TILE_PX, tile_height=TILE_PX)


def make_small(folder: Path, photograph: Path, count: int) -> None:
    """Cut small pictures out of the photograph, no two from the same place."""
    whole = pyvips.Image.new_from_file(str(photograph), memory=True)
    places = [
        (left, top)
        for top in range(0, whole.height - SMALL.height, SMALL.height // 3)
        for left in range(0, whole.width - SMALL.width, SMALL.width // 3)
    ]
    if count > len(places):
        raise SystemExit(f"{count} pieces asked for, {len(places)} are there")
    folder.mkdir(exist_ok=True)
    for number, (left, top) in enumerate(places[:count], 1):
        piece = whole.crop(left, top, *SMALL)
        piece.jpegsave(str(folder / f"piece-{number:04}.jpg"), Q=90)


if __name__ == "__main__":
    target, kind, photograph, *numbers = sys.argv[1:]
    if kind == "mosaic":
        make_mosaic(Path(target), Path(photograph), Size(*map(int, numbers)))
    else:
        make_small(Path(target), Path(photograph), int(numbers[0]))
