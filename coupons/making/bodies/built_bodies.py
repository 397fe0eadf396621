"""Bodies as the builders return them: parts and sized features in the body's own frame."""

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

from coupons.making.bodies.lettering import Point
from coupons.making.bodies.proportions import CUT_CORNER_MM, Measures
from coupons.making.bodies.shapes import (
    Axis,
    Box,
    Loft,
    Outline,
    Part,
    Text,
    Vector,
    box_of,
    rectangle,
)
from coupons.making.bodies.stiffness import BarSection
from coupons.terms import Direction, Form, Jaws, Seam

Role = Literal["fit", "gauge", "span", "swell"]
Turn = Literal[0, 90, 45, -45]
Along = Literal["x", "y", "z"]


@dataclass(frozen=True)
class Sized:
    """One sized feature of a body.

    ``axis`` is the body's own axis across the two faces of a flat feature or along a round one,
    ``direction`` the printer's. ``readings`` are the caliper's: jaws and, for rounds, along what.
    ``on_bed`` says of a height that its lower face is the first layer.
    """

    id: str
    form: Form
    direction: Direction
    size_mm: float
    role: Role
    row: str
    centre: Vector
    axis: Axis
    readings: tuple[tuple[Jaws, Along | None], ...] = ()
    at_bed: bool = False
    seam: Seam | None = None
    on_bed: bool = False


@dataclass(frozen=True)
class Bar:
    """The sections of a rule across its own x: in its notches and at its blocks."""

    at_notch: BarSection
    at_block: BarSection


@dataclass(frozen=True)
class BuiltBody:
    """One body before it is placed; ``turn_deg`` is how the bed frame sees its own frame.

    ``seat_mm`` is where along the way in a mate and its feature come to rest on each other. The
    way is along z for what stands and for windows in a plate, else along y. ``bar`` is there for a
    rule, which jaws could bend.
    """

    id: str
    row: str
    loose: bool
    turn_deg: Turn
    parts: tuple[Part, ...]
    features: tuple[Sized, ...]
    seat_mm: float = 0.0
    bar: Bar | None = None

    @cached_property
    def box(self) -> Box:
        """Low and high corner in the body's own frame."""
        return box_of(self.parts)

    def outline(self) -> Outline:
        """Return the corners of its main slab, cut corner and all, seen from above."""
        main = self.parts[0].shape
        if not isinstance(main, Loft):
            raise TypeError("a body's first part is the slab that the others stand on or cut")
        return main.levels[-1][1]

    def cover(self) -> tuple[Point, Point]:
        """Return the low and high corner of what the turned body covers, before it is moved."""
        (x0, y0, _), (x1, y1, _) = self.box
        points = [turned(x, y, self.turn_deg) for x, y in rectangle((x0, y0), (x1, y1))]
        xs, ys = [p[0] for p in points], [p[1] for p in points]
        return (min(xs), min(ys)), (max(xs), max(ys))


def turned(x: float, y: float, turn_deg: int) -> tuple[float, float]:
    """Turn a point about the origin, exactly so for right angles."""
    if turn_deg == 0:
        return (x, y)
    if turn_deg == 90:
        return (-y, x)
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    return (c * x - s * y, s * x + c * y)


def plate(low: Point, high: Point, top_mm: float, turn_deg: Turn, foot_mm: float) -> Part:
    """Return a slab on the bed with a foot chamfer and one corner cut off as a mark.

    The cut corner is the one that lies nearest the bed's origin once the body is turned.
    """
    c = foot_mm
    full = _cut_rectangle(low, high, CUT_CORNER_MM, turn_deg)
    # The same chamfer all round takes 2 − √2 of itself from the cut.
    cut = CUT_CORNER_MM - (2 - math.sqrt(2)) * c
    small = _cut_rectangle((low[0] + c, low[1] + c), (high[0] - c, high[1] - c), cut, turn_deg)
    return Part(Loft("z", ((0.0, small), (c, full), (top_mm, full))))


def _cut_rectangle(low: Point, high: Point, cut: float, turn_deg: Turn) -> Outline:
    (x0, y0), (x1, y1) = low, high
    if turn_deg == 90:  # its own upper left corner comes to lie lowest and leftmost
        return ((x0, y0), (x1, y0), (x1, y1), (x0 + cut, y1), (x0, y1 - cut))
    return ((x0 + cut, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0 + cut))


def label(
    text: str, middle_x_mm: float, low_y_mm: float, face_z_mm: float, measures: Measures
) -> Part:
    """Return a raised label whose middle and foot stand at the given place on a level face."""
    line = Text(text, (0.0, low_y_mm, face_z_mm), measures.letters, measures.raised_mm)
    low_x = round(middle_x_mm - line.width_mm / 2, 6)
    return Part(replace(line, place=(low_x, low_y_mm, face_z_mm)))


# Which printer direction the own x and y of a body lie along, by its turn.
_DIRECTIONS: dict[Turn, tuple[Direction, Direction]] = {
    0: (Direction.X, Direction.Y),
    90: (Direction.Y, Direction.X),
    45: (Direction.XY_PLUS, Direction.XY_MINUS),
    -45: (Direction.XY_MINUS, Direction.XY_PLUS),
}

# Arrows towards the printer's +x and +y, as they stand in the body's own frame.
_MARKS: dict[Turn, tuple[str, str]] = {
    0: ("→X", "↑Y"),
    90: ("↓X", "→Y"),
    45: ("↘X", "↗Y"),
    -45: ("↗X", "↖Y"),
}


def own_direction(turn_deg: Turn, axis: Axis) -> Direction:
    """Return the printer direction in which an own axis of a turned body lies."""
    if axis == "z":
        return Direction.Z
    return _DIRECTIONS[turn_deg][0 if axis == "x" else 1]


def turn_for(direction: Direction) -> Turn:
    """Return the turn that lays a body's own x along a printer direction in the layer plane."""
    turns: dict[Direction, Turn] = {pair[0]: turn for turn, pair in _DIRECTIONS.items()}
    return turns[direction]


def marks(turn_deg: Turn) -> tuple[str, str]:
    """Return the two direction marks of a body, to be read in its own frame."""
    return _MARKS[turn_deg]
