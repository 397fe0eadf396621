"""Steps: blocks on a floor, whose heights lie between two upper faces, free of the bed.

A height that stands on the bed holds the height of the nozzle above it as well as what tops stand
proud. Steps hold only the second, so that one print tells the two apart.
"""

from coupons.making.bodies.built_bodies import BuiltBody, label, plate
from coupons.making.bodies.field import field_of
from coupons.making.bodies.proportions import (
    EDGE_MM,
    JAW_CLEAR_MM,
    SHOULDER_CLEAR_MM,
    SLENDER,
    SUNK_MM,
)
from coupons.making.bodies.series import Series
from coupons.making.bodies.shapes import Loft, Part, rectangle

BLOCK_MM = 7.0  # least side of a block: the end of a caliper rests on it


def steps(series: Series) -> BuiltBody:
    """Return blocks on a floor with their labels before them, floor to the left of each.

    There the depth rod of a caliper goes down.
    """
    m, floor = series.measures, series.measures.base_mm
    sides = [max(BLOCK_MM, item.size_mm / SLENDER) for item in series.items]
    low_y = EDGE_MM + m.cap_mm + SHOULDER_CLEAR_MM
    high_y = round(low_y + max(sides) + EDGE_MM, 6)
    field = field_of(series, sides, JAW_CLEAR_MM, floor, high_y, before_mm=JAW_CLEAR_MM / 2)
    parts = [
        plate((0, 0), (field.length_mm, high_y), floor, series.turn_deg, m.foot_mm),
        *field.marks,
    ]
    features = []
    for item, x, side in zip(series.items, field.middles_mm, sides, strict=True):
        y, top = low_y + side / 2, floor + item.size_mm
        section = rectangle((x - side / 2, y - side / 2), (x + side / 2, y + side / 2))
        block = Loft("z", ((floor - SUNK_MM, section), (top, section)))
        parts += [Part(block, feature=item.id), label(item.id, x, EDGE_MM, floor, m)]
        features.append(series.sized(item, (x, y, (floor + top) / 2), "z"))
    return series.body_of(parts, features, seat_mm=floor)
