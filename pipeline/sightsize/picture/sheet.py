"""Place the finished picture on its sheet; the overhang is exact paper tone."""

import pyvips

from sightsize.layout import SheetPlan


def place(picture: pyvips.Image, sheet: SheetPlan, paper: list[int]) -> pyvips.Image:
    """Return the whole sheet with the picture at its place and ``paper`` everywhere else."""
    box = sheet.picture_box
    width, height = sheet.sheet_px
    return picture.embed(box.left, box.top, width, height, extend="background", background=paper)
