"""A row as the machine will print it: walls of at least six lines, heights in whole layers.

Specs state lengths in mm and leave nozzle and layers open. Here both come in, once, so that limits
and builders see the row that is made. A printer rounds heights in silence; the record must not.
"""

from coupons.making.bodies.proportions import (
    SMALLEST_MM,
    layers_up,
    least_wall_mm,
    nearest_layers,
)
from coupons.making.spec.coupon_spec import Assumed
from coupons.making.spec.row_kinds import FitRow, HardwareRow, Row, SizesRow, SpansRow, SwellRow
from coupons.terms import INTERNAL, ROUND, Direction

SPLITTING_MM = -0.3  # bought pieces do not give: more interference splits a printed wall


def settled(row: Row, assumed: Assumed) -> Row:
    """Return the row with its walls, depth, heights and gaps as the machine will print them."""
    layer = assumed.layer_height_mm
    wall, depth = max(row.wall_mm, least_wall_mm(assumed.nozzle_mm)), layers_up(row.depth_mm, layer)
    new: dict[str, object] = {"wall_mm": round(wall, 6), "depth_mm": depth}
    if _in_layers(row):
        match row:
            case FitRow():
                size = _size(row.size_mm, layer)
                gaps = tuple(nearest_layers(gap, layer) for gap in row.gaps())
                new |= {"size_mm": size, "gaps_mm": _once(gaps)}
            case HardwareRow():
                new["gaps_mm"] = _once(tuple(_bought_gap(row, gap, layer) for gap in row.gaps()))
            case SizesRow():
                new["sizes_mm"] = _once(tuple(_size(size, layer) for size in row.sizes_mm))
            case SpansRow() | SwellRow():
                pass
    return row.model_copy(update=new)


def rounded(row: Row, assumed: Assumed) -> bool:
    """Return whether heights or gaps of a row had to be moved to whole layers."""
    now = settled(row, assumed)
    if isinstance(row, SizesRow) and isinstance(now, SizesRow):
        return row.sizes_mm != now.sizes_mm
    if isinstance(row, FitRow | HardwareRow) and isinstance(now, FitRow | HardwareRow):
        return (row.size_mm, row.gaps()) != (now.size_mm, now.gaps())
    return False


def _in_layers(row: Row) -> bool:
    """Return whether the sizes of a row are heights: flat faces across z."""
    if isinstance(row, SpansRow | SwellRow):
        return False
    return row.form not in ROUND and row.direction is Direction.Z


def _size(size_mm: float, layer_mm: float) -> float:
    return max(nearest_layers(size_mm, layer_mm), layers_up(SMALLEST_MM, layer_mm))


def _bought_gap(row: HardwareRow, gap_mm: float, layer_mm: float) -> float:
    """Return the gap that the nearest whole layers leave to hardware of a fixed size."""
    sign = 1 if row.form in INTERNAL else -1
    drawn = nearest_layers(row.size_mm + sign * gap_mm, layer_mm)
    gap = sign * (drawn - row.size_mm)
    if gap < SPLITTING_MM <= gap_mm:
        gap += layer_mm
    return round(gap, 6)


def _once(values: tuple[float, ...]) -> tuple[float, ...]:
    return tuple(dict.fromkeys(values))
