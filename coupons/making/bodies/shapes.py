"""The simple solids that make up a coupon body, as plain values without a geometry kernel.

A body lives in a frame of its own: x along its row, y away from its labels, z up from the bed.
A shape has an *axis*; its outline is drawn in the other two coordinates, in the order x, y, z.
Every shape knows its volume in closed form, so that an estimate needs no mesh.
"""

import math
from dataclasses import dataclass
from functools import cache
from typing import Literal

from coupons.making.bodies.lettering import PEN_MM, RAISED_MM, Point, Stroke, line_strokes, width_mm

Axis = Literal["x", "y", "z"]
Vector = tuple[float, float, float]
Outline = tuple[Point, ...]
Box = tuple[Vector, Vector]

# Where a number along the axis and the two outline coordinates go in (x, y, z).
_SLOTS: dict[Axis, tuple[int, int, int]] = {"x": (0, 1, 2), "y": (1, 0, 2), "z": (2, 0, 1)}


def to_space(axis: Axis, along_mm: float, point: Point) -> Vector:
    """Return the point of space at ``along_mm`` on the axis and ``point`` in the outline plane."""
    vector = [0.0, 0.0, 0.0]
    for slot, value in zip(_SLOTS[axis], (along_mm, *point), strict=True):
        vector[slot] = value
    return (vector[0], vector[1], vector[2])


def rectangle(low: Point, high: Point) -> Outline:
    """Return the four corners, counter-clockwise."""
    return (low, (high[0], low[1]), high, (low[0], high[1]))


def area_mm2(outline: Outline) -> float:
    """Return the enclosed area (shoelace rule)."""
    pairs = zip(outline, outline[1:] + outline[:1], strict=True)
    return abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in pairs)) / 2


@dataclass(frozen=True)
class Loft:
    """A convex solid between outlines of equally many corners, given at rising places."""

    axis: Axis
    levels: tuple[tuple[float, Outline], ...]

    def corners(self) -> list[Vector]:
        """Return every corner in space."""
        return [to_space(self.axis, at, p) for at, outline in self.levels for p in outline]

    def volume_mm3(self) -> float:
        """Return the volume; Simpson's rule is exact, as areas vary quadratically."""
        total = 0.0
        for (low, below), (high, above) in zip(self.levels, self.levels[1:], strict=False):
            pairs = zip(below, above, strict=True)
            middle = tuple(((a[0] + b[0]) / 2, (a[1] + b[1]) / 2) for a, b in pairs)
            ends = area_mm2(below) + area_mm2(above)
            total += (high - low) * (ends + 4 * area_mm2(middle)) / 6
        return total


@dataclass(frozen=True)
class Prism:
    """An outline, not always convex, moved straight along an axis."""

    axis: Axis
    outline: Outline
    start_mm: float
    stop_mm: float

    def corners(self) -> list[Vector]:
        """Return every corner in space."""
        ends = (self.start_mm, self.stop_mm)
        return [to_space(self.axis, end, p) for end in ends for p in self.outline]

    def volume_mm3(self) -> float:
        """Return area times length."""
        return area_mm2(self.outline) * (self.stop_mm - self.start_mm)


@dataclass(frozen=True)
class Turned:
    """A profile of (radius, place along the axis) points turned about an axis.

    ``outside`` puts the flats of the many-sided solid on the radius rather than its corners: a
    hole must not be narrower than drawn, a pin not thicker.
    """

    axis: Axis
    centre: Point
    profile: Outline
    outside: bool

    @property
    def radius_mm(self) -> float:
        """The largest radius of the profile."""
        return max(radius for radius, _ in self.profile)

    def sides(self) -> int:
        """Return how many sides keep the chord within 2 µm of the circle, a multiple of four."""
        return circle_sides(self.radius_mm)

    def corners(self) -> list[Vector]:
        """Return the corners of the enclosing box."""
        (a, b), r = self.centre, self.radius_mm
        places = [place for _, place in self.profile]
        square = rectangle((a - r, b - r), (a + r, b + r))
        return [to_space(self.axis, end, p) for end in (min(places), max(places)) for p in square]

    def volume_mm3(self) -> float:
        """Return the volume of the round solid: a sum of cone frustums (signed, closed profile)."""
        pairs = zip(self.profile, self.profile[1:] + self.profile[:1], strict=True)
        parts = ((b[1] - a[1]) * (a[0] ** 2 + a[0] * b[0] + b[0] ** 2) for a, b in pairs)
        return abs(math.pi / 3 * sum(parts))


CHORD_ERROR_MM = 0.0018


def circle_sides(radius_mm: float) -> int:
    """Return the number of sides, a multiple of four, at which the chord error is within 2 µm.

    >>> circle_sides(2.5)
    84
    """
    exact = math.pi / math.acos(1 - CHORD_ERROR_MM / max(radius_mm, 1.0))
    return 4 * math.ceil(exact / 4)


@dataclass(frozen=True)
class Text:
    """A line of raised text on a level face, reading along +x; ``place`` is its low left corner."""

    text: str
    place: Vector
    scale: float = 1.0
    raised_mm: float = RAISED_MM

    @property
    def width_mm(self) -> float:
        """Inked width."""
        return width_mm(self.text, self.scale)

    @property
    def pen_mm(self) -> float:
        """Width of a stroke."""
        return PEN_MM * self.scale

    def strokes(self) -> tuple[Stroke, ...]:
        """Return the passes of the pen, the inked box standing on (0, 0)."""
        return line_strokes(self.text, self.scale)

    def corners(self) -> list[Vector]:
        """Return the corners of the inked box."""
        x, y, z = self.place
        high = max(max(s.start[1], s.stop[1]) for s in self.strokes()) + self.pen_mm / 2
        return [(x, y, z), (x + self.width_mm, y + high, z + self.raised_mm)]

    def volume_mm3(self) -> float:
        """Return the raised volume, strokes counted without their overlaps."""
        lengths = (math.dist(s.start, s.stop) for s in self.strokes())
        return sum(lengths) * self.pen_mm * self.raised_mm


Shape = Loft | Prism | Turned | Text


@dataclass(frozen=True)
class Part:
    """One shape that is added to a body or cut from it, and the feature whose faces it makes.

    ``seats`` names the feature whose mate comes to rest on it.
    """

    shape: Shape
    cut: bool = False
    feature: str = ""
    seats: str = ""


@cache
def boxed(shape: Shape) -> Box:
    """Return the low and high corner of one shape."""
    return box_of((Part(shape),))


def box_of(parts: tuple[Part, ...]) -> Box:
    """Return the low and high corner of everything that is added."""
    points = [corner for part in parts if not part.cut for corner in part.shape.corners()]
    low = (min(p[0] for p in points), min(p[1] for p in points), min(p[2] for p in points))
    high = (max(p[0] for p in points), max(p[1] for p in points), max(p[2] for p in points))
    return low, high
