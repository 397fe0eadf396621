"""The proportions of a coupon that are the same whatever the spec: walls, lead-ins, margins.

Lengths in mm. Each number has its reason beside it; specs may ask for more, never for less.
"""

from dataclasses import dataclass
from functools import cached_property

from coupons.making.bodies.lettering import (
    CAP_MM,
    LEAST_PEN_MM,
    PEN_MM,
    RAISED_MM,
    width_mm,
)

EDGE_MM = 1.0  # from a label to the edge of its face: a caliper jaw must not ride up on it
LABEL_APART_MM = 1.3  # between labels of neighbouring items, which must not read as one word
LABEL_CLEAR_MM = 0.8  # between labels, for a 0.4 mm nozzle
LEAD_IN_MM = 0.4  # at both mouths of a fit feature: keeps swell and stringing out of the trial
FOOT_CHAMFER_MM = 0.4  # around every body at the bed: keeps first-layer swell off outer faces
# The corner of a body that was nearest the origin of the bed. Not more than 2 − √2 of the thinnest
# wall, so that a window's corner, a wall away from both sides, is a wall away from the cut too.
CUT_CORNER_MM = 1.75
SHOULDER_MM = 1.2  # step around a post: the mate seats on it, clear of raised labels
ROOM_MM = 1.0  # around a seated mate: nothing but its seat and its own feature comes nearer
SHOULDER_CLEAR_MM = 0.3  # between a post's shoulder and a label of its own base
BASE_MM = 1.4  # plate under standing posts
SUNK_MM = 0.1  # a post starts this far inside its base, so that the union has no touching faces
TIP_MM = 1.0  # by how much a post stands out of its mate when seated: depth can be felt and seen
SLOT_PLAY_MM = 1.0  # a slot is this much longer than its tongue is wide, so that only two faces fit
MIN_WALL_MM = 3.0
WALL_IN_LINES = 6  # and not less than this many extruded lines
LINE_PER_NOZZLE = 1.125  # width of an extruded line over nozzle diameter (common practice)
GRIP_MM = 9.0  # least side of a loose piece that fingers hold
STROKE_IN_LINES = 2  # a letter's stroke: its two sides are drawn
SMALLEST_MM = 2.0  # smallest size that a nozzle up to 0.8 mm draws as a closed round: two lines
THICKEST_LAYER = 0.8  # of the nozzle (common practice, no source)
LARGEST_MM = 300.0
BRIDGE_MM = 12.0  # longest roof printed over nothing: longer ones sag into the fit
NOTCH_MM = 4.0  # narrowest notch of a rule that caliper jaws reach into
JAW_CLEAR_MM = 5.0  # room for a caliper jaw, about 3.5 mm thick, beside what it reads
SLENDER = 3.0  # a post is at most this many times as tall as thick, or it snaps
TILE_MM = 1.0  # thickness of a swell witness: a caliper across it finds the first layer
TILE_DEEP_MM = 14.0
BODY_SPACE_MM = 4.0  # between bodies on a plate
# Printing speed where none is stated: small parts are printed slowly (common practice, no source).
DEFAULT_SPEED_MM_S = 60.0
BED_MARGIN_MM = 5.0  # from a body to the edge of the bed


def line_width_mm(nozzle_mm: float) -> float:
    """Return the width of one extruded line."""
    return nozzle_mm * LINE_PER_NOZZLE


def least_wall_mm(nozzle_mm: float) -> float:
    """Return the thinnest wall that a coupon may have between features."""
    return max(MIN_WALL_MM, WALL_IN_LINES * line_width_mm(nozzle_mm))


def layers_up(height_mm: float, layer_height_mm: float) -> float:
    """Return the height rounded up to whole layers.

    >>> layers_up(3.0, 0.2), layers_up(3.0, 0.16)
    (3.0, 3.04)
    """
    count = -int(-(height_mm / layer_height_mm - 1e-9) // 1)
    return round(count * layer_height_mm, 6)


def nearest_layers(height_mm: float, layer_height_mm: float) -> float:
    """Return the height, which may be negative, rounded to whole layers; halves go up.

    >>> nearest_layers(4.0, 0.28), nearest_layers(-0.2, 0.12), nearest_layers(0.3, 0.2)
    (3.92, -0.24, 0.4)
    """
    return round((height_mm / layer_height_mm + 0.5 + 1e-9) // 1 * layer_height_mm, 6)


@dataclass(frozen=True)
class Measures:
    """The proportions that follow the nozzle and the layers."""

    nozzle_mm: float
    layer_height_mm: float

    def layers_up(self, height_mm: float) -> float:
        """Return the height rounded up to whole layers."""
        return layers_up(height_mm, self.layer_height_mm)

    @cached_property
    def letters(self) -> float:
        """How much larger letters are than for a 0.4 mm nozzle: a stroke is two lines wide."""
        stroke = max(LEAST_PEN_MM, STROKE_IN_LINES * line_width_mm(self.nozzle_mm))
        return round(stroke / PEN_MM, 6)

    @cached_property
    def cap_mm(self) -> float:
        """Height of a capital."""
        return round(CAP_MM * self.letters, 6)

    @cached_property
    def raised_mm(self) -> float:
        """How far a label stands out of its face."""
        return self.layers_up(RAISED_MM)

    @cached_property
    def label_clear_mm(self) -> float:
        """Space between labels."""
        return round(LABEL_CLEAR_MM * max(1.0, self.letters), 6)

    @cached_property
    def label_apart_mm(self) -> float:
        """Space between labels of a row."""
        return round(LABEL_APART_MM + max(0.0, 2 * (self.letters - 1)), 6)

    @cached_property
    def lead_in_mm(self) -> float:
        """Lead-in at both mouths of a window and at the tip of a post: a layer at least."""
        return max(LEAD_IN_MM, self.layer_height_mm)

    @cached_property
    def foot_mm(self) -> float:
        """Chamfer around a body at the bed: a layer at least."""
        return max(FOOT_CHAMFER_MM, self.layer_height_mm)

    @cached_property
    def base_mm(self) -> float:
        """Plate under standing posts: three layers at least."""
        return self.layers_up(max(BASE_MM, 3 * self.layer_height_mm))

    @cached_property
    def shoulder_height_mm(self) -> float:
        """Height of a mate's seat: there labels of both sides may meet face to face."""
        return self.layers_up(2 * self.raised_mm + ROOM_MM)

    def text_mm(self, text: str) -> float:
        """Return how wide a label is."""
        return width_mm(text, self.letters)


def room_on(bed_mm: tuple[float, float]) -> tuple[float, float]:
    """Return what the margin leaves of a bed."""
    return (bed_mm[0] - 2 * BED_MARGIN_MM, bed_mm[1] - 2 * BED_MARGIN_MM)
