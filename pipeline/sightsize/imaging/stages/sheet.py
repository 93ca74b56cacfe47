"""Place the finished pictures on their sheet; the border is exact paper tone."""

from collections.abc import Sequence

import pyvips

from sightsize.imaging.colour.output import border_value
from sightsize.model.settings import Delivery
from sightsize.plan.picture import AnyPicture
from sightsize.plan.sheet import BorderMark, SheetPlan


def lay_on_sheet(
    pictures: Sequence[pyvips.Image], sheet: SheetPlan[AnyPicture], delivery: Delivery
) -> pyvips.Image:
    """Return the whole sheet: pictures at their places, marks at theirs, border all round."""
    border = [float(each) for each in border_value(sheet.border_lightness, delivery)]
    image = None
    for picture, placed in zip(pictures, sheet.pictures, strict=True):
        turned = _turn(picture, placed.place.quarter_turns)
        box = placed.place.box
        if image is None:
            image = turned.embed(
                box.left, box.top, *sheet.stock.size_px, extend="background", background=border
            )
        else:
            image = image.insert(turned, box.left, box.top)
    assert image is not None
    for mark in sheet.marks:
        image = image.insert(_draw(mark, image, delivery), mark.box.left, mark.box.top)
    return image


def _turn(picture: pyvips.Image, quarter_turns: int) -> pyvips.Image:
    """A picture turned clockwise; turning needs its pixels out of order, so it is held."""
    if quarter_turns % 4 == 0:
        return picture
    return picture.copy_memory().rot(f"d{quarter_turns % 4 * 90}")


def _draw(mark: BorderMark, image: pyvips.Image, delivery: Delivery) -> pyvips.Image:
    value = [float(each) for each in border_value(mark.lightness, delivery)]
    one = pyvips.Image.black(1, 1, bands=image.bands).linear([0] * image.bands, value)
    patch = one.cast(image.format).copy(interpretation=image.interpretation)
    return patch.embed(0, 0, mark.box.width, mark.box.height, extend="copy")
