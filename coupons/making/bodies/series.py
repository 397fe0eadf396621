"""A series: like features that share one body, with all that its builder needs."""

from dataclasses import dataclass

from coupons.making.bodies.built_bodies import Along, BuiltBody, Role, Sized, Turn
from coupons.making.bodies.proportions import SHOULDER_MM, Measures
from coupons.making.bodies.shapes import Axis, Part, Vector
from coupons.terms import ROUND, Direction, Form, Jaws, Seam


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
    outer sizes are features too. ``seat_wide_mm`` is how far the shoulder or head of a mate
    reaches over the rim of a window, ``seam`` whether standing pins get a groove for theirs,
    ``on_bed`` whether heights are measured from the bed or from a floor above it.
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
    measures: Measures
    mark: str = ""
    pitch_mm: float = 0.0
    outer: bool = True
    seat_wide_mm: float = SHOULDER_MM
    seam: Seam = Seam.SHOWN
    on_bed: bool = True

    @property
    def round(self) -> bool:
        """Whether the form is round."""
        return self.form in ROUND

    @property
    def lying(self) -> bool:
        """Whether mates go in along the bed: posts that lie, windows through an upright wall."""
        return (self.direction is Direction.Z) != self.round

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
            seam=self.seam if self.form is Form.PIN else None,
            on_bed=self.on_bed and self.form is Form.TONGUE and self.direction is Direction.Z,
        )

    def body_of(self, parts: list[Part], features: list[Sized], seat_mm: float) -> BuiltBody:
        """Return the body of this series from its parts, the slab first, and its features."""
        named = (self.body, self.row, self.loose, self.turn_deg)
        return BuiltBody(*named, tuple(parts), tuple(features), round(seat_mm, 6))
