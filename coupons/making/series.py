"""A series: alike features that share one body, and where each stands along its row."""

from dataclasses import dataclass

from coupons.making.bodies import Along, Role, Sized, Turn
from coupons.making.lettering import width_mm
from coupons.making.proportions import CUT_CORNER_MM, EDGE_MM, LABEL_CLEAR_MM
from coupons.making.shapes import Axis, Vector
from coupons.terms import ROUND, Direction, Form, Jaws


@dataclass(frozen=True)
class Item:
    """One feature to build: its id, drawn size and caliper readings."""

    id: str
    size_mm: float
    readings: tuple[tuple[Jaws, Along | None], ...] = ()


@dataclass(frozen=True)
class Series:
    """Alike features for one body, with all the builders need to know.

    ``mark`` is a glyph set behind a loose piece's label (where its thickness lies), ``pitch_mm``
    the least distance between neighbours that their mates ask for. ``outer`` says that the body's
    outer sizes are features too.
    """

    body: str
    row: str
    form: Form
    direction: Direction
    role: Role
    items: tuple[Item, ...]
    turn_deg: Turn
    loose: bool
    wall_mm: float
    depth_mm: float
    length_mm: float
    layer_height_mm: float
    mark: str = ""
    pitch_mm: float = 0.0
    outer: bool = True

    @property
    def round(self) -> bool:
        """Whether the form is round."""
        return self.form in ROUND

    @property
    def largest_mm(self) -> float:
        """The largest size."""
        return max(item.size_mm for item in self.items)

    def text(self, item: Item) -> str:
        """Return the label of an item."""
        return item.id + self.mark

    def sized(self, item: Item, centre: Vector, axis: Axis) -> Sized:
        """Return the feature that the record will name."""
        return Sized(
            id=item.id,
            form=self.form,
            direction=self.direction,
            size_mm=item.size_mm,
            role=self.role,
            row=self.row,
            centre=centre,
            axis=axis,
            readings=item.readings,
        )


def spread(series: Series, widths_mm: list[float], between_mm: float) -> tuple[list[float], float]:
    """Return the middle of each item along the row and where the last field ends.

    ``widths_mm`` is what each takes along the row; between two there is at least ``between_mm``,
    and labels keep clear of each other.
    """
    texts = [width_mm(series.text(item)) for item in series.items]
    # No nearer than this, or the first label would meet the cut corner.
    end_margin = max(between_mm / 2, CUT_CORNER_MM + 0.5 - EDGE_MM - LABEL_CLEAR_MM / 2 + 0.2)
    middles, at = [], end_margin
    for width, text in zip(widths_mm, texts, strict=True):
        cell = max(width + between_mm, text + LABEL_CLEAR_MM, series.pitch_mm)
        middles.append(round(at + cell / 2, 6))
        at += cell
    return middles, round(at + end_margin, 6)
