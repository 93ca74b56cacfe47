"""Sheets and files: pictures placed on a stock sheet, and that sheet as the lab gets it.

A ``SheetPlan`` has one or several pictures. A ``FilePlan`` is what is written, verified and
recorded. Both hold either pictures that were opened or pictures that were not.
"""

from dataclasses import dataclass, replace
from typing import Any, Generic, TypeVar, cast

from sightsize.model.geometry import Box
from sightsize.model.job import PrintRequest
from sightsize.model.settings import Delivery
from sightsize.plan.layout import Place, Stock
from sightsize.plan.picture import AnyPicture, PicturePlan

P = TypeVar("P", bound=AnyPicture, covariant=True)


@dataclass(frozen=True, kw_only=True)
class PlacedPicture(Generic[P]):
    """A picture at its place on a sheet, and the request that it answers."""

    request: PrintRequest
    picture: P
    place: Place


@dataclass(frozen=True, kw_only=True)
class BorderMark:
    """A box of one lightness (L*) drawn into the border."""

    box: Box
    lightness: float


@dataclass(frozen=True, kw_only=True)
class SheetPlan(Generic[P]):
    """A stock sheet, the pictures on it, and the marks in its border.

    All that is neither picture nor mark is border, of ``border_lightness`` (L*).
    """

    stock: Stock
    border_lightness: float
    pictures: tuple[PlacedPicture[P], ...]
    marks: tuple[BorderMark, ...] = ()

    @property
    def drawn_boxes(self) -> tuple[Box, ...]:
        """What of the sheet is not border."""
        return tuple(each.place.box for each in self.pictures) + tuple(
            each.box for each in self.marks
        )


@dataclass(frozen=True, kw_only=True)
class FilePlan(Generic[P]):
    """A sheet as the lab gets it: ``copies`` of one file."""

    name: str
    sheet: SheetPlan[P]
    delivery: Delivery
    copies: int

    @property
    def pictures(self) -> tuple[PlacedPicture[P], ...]:
        """The pictures on the sheet."""
        return self.sheet.pictures

    def with_pictures(
        self, pictures: "tuple[PlacedPicture[PicturePlan], ...]"
    ) -> "FilePlan[PicturePlan]":
        """Return the same file with its pictures opened."""
        sheet = replace(self.sheet, pictures=cast(Any, pictures))
        return cast("FilePlan[PicturePlan]", replace(self, sheet=sheet))

    @property
    def request(self) -> PrintRequest:
        """The request that the file is known by: that of its first picture."""
        return self.sheet.pictures[0].request
