"""Witnesses of first-layer swell: thin tiles without a chamfer, met where they touch the bed."""

from coupons.making.bodies import Body, Sized, label, turn_for
from coupons.making.lettering import CAP_MM, width_mm
from coupons.making.proportions import EDGE_MM, LABEL_CLEAR_MM, TILE_DEEP_MM, TILE_MM, layers_up
from coupons.making.series import Item
from coupons.making.shapes import Loft, Part, Prism, rectangle
from coupons.terms import Direction, Form

OVER_MM = 0.05  # the cutter stands out of the tile
STRIP_MM = CAP_MM + EDGE_MM + LABEL_CLEAR_MM
MARK = "↔"


def tile(
    item: Item, form: Form, direction: Direction, wall_mm: float, layer_height_mm: float
) -> Body:
    """Return one tile: its own width is the tongue, or a window in it is the slot."""
    top = layers_up(TILE_MM, layer_height_mm)
    text = width_mm(item.id + MARK) + 2 * EDGE_MM
    wide = item.size_mm if form is Form.TONGUE else max(item.size_mm + 2 * wall_mm, text)
    section = rectangle((0, 0), (wide, TILE_DEEP_MM))
    slab = Loft("z", ((0.0, section), (top, section)))
    parts = [Part(slab, feature=item.id if form is Form.TONGUE else "")]
    middle = wide / 2
    low_y, high_y = STRIP_MM, TILE_DEEP_MM
    if form is Form.SLOT:
        high_y -= wall_mm
        half = item.size_mm / 2
        window = rectangle((middle - half, low_y), (middle + half, high_y))
        parts.append(Part(Prism("z", window, -OVER_MM, top + OVER_MM), cut=True, feature=item.id))
    parts.append(label(item.id + MARK, middle, EDGE_MM, top))
    sized = Sized(
        id=item.id,
        form=form,
        direction=direction,
        size_mm=item.size_mm,
        role="swell",
        row=item.id[0],
        centre=(middle, (low_y + high_y) / 2, 0.0),
        axis="x",
        readings=item.readings,
        at_bed=True,
    )
    return Body(item.id, item.id[0], False, turn_for(direction), tuple(parts), (sized,))


def narrowest_mm(item: Item) -> float:
    """Return the narrowest tile that holds its own label."""
    return width_mm(item.id + MARK) + 2 * EDGE_MM
