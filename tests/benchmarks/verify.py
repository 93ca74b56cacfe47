"""Hold the prints against one another, so that no subject is fast by leaving work out.

    python verify.py SPEC PRINT...      prints the JSON of one `Look` for each print

Two numbers compare the pictures away from their edges. The mean difference is taken over means of
4 x 4 pixels, so that resampling kernels may differ but tone, geometry and mono conversion may not.
The detail ratio compares what those means leave out, so that sharpening may not be missing.
It cannot tell light that was resized in gamma from light that was resized linear.
"""

import json
import sys
from io import BytesIO
from pathlib import Path
from typing import NotRequired, TypedDict

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageChops
from PIL.JpegImagePlugin import JpegImageFile, get_sampling
from spec import DETAIL_RATIOS, FLOOR, LARGEST_DIFFERENCE_CODES, PEERS, SPECS, TUNED, Spec

FloatImage = NDArray[np.float32]

# The prints are as large as they were asked for; nothing here comes from outside.
Image.MAX_IMAGE_PIXELS = None

CELL_PX = 4
EDGE_PX = 16

_STANDARD_CODING_BYTES = 2 * (17 + 12) + 2 * (17 + 162)
"""Two DC and two AC Huffman tables of ITU-T T.81, Annex K.3; optimised ones leave codes out."""

_DHT, _SOS = 0xC4, 0xDA


class Comparison(TypedDict):
    """How far one picture stands from the reference: mean absolute differences, and detail."""

    pixels_codes: float
    means_codes: float
    detail_ratio: float


class Look(TypedDict):
    """What one print file is, what is wrong with it, and how far it is from the reference."""

    subject: str
    megabytes: float
    optimised_coding: bool
    faults: list[str]
    comparison: NotRequired[Comparison]


def look(path: Path, reference: Path | None, spec: Spec) -> Look:
    """Hold one print against the spec and, but for the floor's, against the reference."""
    optimised = coding_is_optimised(path.read_bytes())
    found: Look = {
        "subject": path.stem,
        "megabytes": path.stat().st_size / 1e6,
        "optimised_coding": optimised,
        "faults": file_faults(path, spec),
    }
    if optimised != spec.optimised_coding:
        found["faults"].append("Huffman coding is not as specified")
    if path.stem != FLOOR and not is_grey(path):
        found["faults"].append("the picture is not black-and-white")
    if reference is not None:
        found["comparison"] = compare(_picture(path, spec), _picture(reference, spec))
        found["faults"] += comparison_faults(found["comparison"])
    return found


def compare(picture: FloatImage, reference: FloatImage) -> Comparison:
    """Compare two pictures pixel by pixel, by the means of cells, and by the detail left."""
    means, detail = _split(picture)
    reference_means, reference_detail = _split(reference)
    return {
        "pixels_codes": float(np.abs(picture - reference).mean()),
        "means_codes": float(np.abs(means - reference_means).mean()),
        "detail_ratio": float(detail.std() / reference_detail.std()),
    }


def comparison_faults(comparison: Comparison) -> list[str]:
    """Say in what a picture is not the reference's."""
    faults = []
    if comparison["means_codes"] >= LARGEST_DIFFERENCE_CODES:
        faults.append("tone, geometry or mono conversion is not the reference's")
    if not DETAIL_RATIOS[0] < comparison["detail_ratio"] < DETAIL_RATIOS[1]:
        faults.append("sharpness is not the reference's")
    return faults


def file_faults(path: Path, spec: Spec) -> list[str]:
    """Say what about a print file is not as specified."""
    with Image.open(path) as opened:
        assert isinstance(opened, JpegImageFile)
        right = {
            "size": opened.size == spec.sheet,
            "channels": opened.mode == "RGB",
            "chroma sampling": get_sampling(opened) == 0,
            "quality": _luma_table(opened) == _luma_table_of(spec.quality),
            "resolution": opened.info.get("dpi") == (spec.ppi, spec.ppi),
            "profile": "icc_profile" in opened.info,
            "white sheet": _is_white_around(opened, spec),
        }
    return [f"{fact} is not as specified" for fact, holds in right.items() if not holds]


def is_grey(path: Path) -> bool:
    """Whether red, green and blue are the same in every pixel."""
    with Image.open(path) as opened:
        red, green, blue = opened.convert("RGB").split()
    return all(ImageChops.difference(red, band).getbbox() is None for band in (green, blue))


def coding_is_optimised(jpeg: bytes) -> bool:
    """Whether a JPEG's Huffman tables are other than the standard's whole set."""
    return _huffman_bytes(jpeg) != _STANDARD_CODING_BYTES


def _huffman_bytes(jpeg: bytes) -> int:
    position, total = 2, 0
    while (marker := jpeg[position + 1]) != _SOS:
        length = int.from_bytes(jpeg[position + 2 : position + 4])
        total += length - 2 if marker == _DHT else 0
        position += 2 + length
    return total


def _picture(path: Path, spec: Spec) -> FloatImage:
    """The grey picture inside its edges, cut to whole cells."""
    box = spec.picture
    width = (box.width - 2 * EDGE_PX) // CELL_PX * CELL_PX
    height = (box.height - 2 * EDGE_PX) // CELL_PX * CELL_PX
    left, top = box.left + EDGE_PX, box.top + EDGE_PX
    with Image.open(path) as opened:
        grey = opened.convert("L").crop((left, top, left + width, top + height))
    return np.asarray(grey, dtype=np.float32)


def _split(picture: FloatImage) -> tuple[FloatImage, FloatImage]:
    """The means of cells, and what is left of the picture without them."""
    rows, columns = (side // CELL_PX for side in picture.shape)
    cells = picture.reshape(rows, CELL_PX, columns, CELL_PX)
    means = cells.mean(axis=(1, 3), keepdims=True)
    return means, cells - means


def _luma_table(opened: JpegImageFile) -> list[int]:
    return list(opened.quantization[0])


def _luma_table_of(quality: int) -> list[int]:
    """The luma table of a quality, as the picture library that reads the prints writes it."""
    buffer = BytesIO()
    Image.new("L", (8, 8)).save(buffer, "JPEG", quality=quality)
    with Image.open(buffer) as written:
        assert isinstance(written, JpegImageFile)
        return _luma_table(written)


def _is_white_around(opened: Image.Image, spec: Spec) -> bool:
    """Whether the sheet is white; blocks that the picture shares may ring a little."""
    paper = np.asarray(opened.convert("L")).copy()
    box, block = spec.picture, 8
    rows = slice(box.top - block, box.top + box.height + block)
    columns = slice(box.left - block, box.left + box.width + block)
    paper[rows, columns] = 255
    return bool(paper.min() == 255)


def main(arguments: list[str]) -> None:
    """Print a look at every print; the floor's, still in colour, is not compared."""
    spec, *prints = arguments
    paths = {Path(text).stem: Path(text) for text in prints}
    reference = next((paths[peer] for peer in (*PEERS, TUNED) if peer in paths), None)
    looks = [
        look(path, None if subject == FLOOR else reference, SPECS[spec])
        for subject, path in paths.items()
    ]
    print(json.dumps(looks))


if __name__ == "__main__":
    main(sys.argv[1:])
