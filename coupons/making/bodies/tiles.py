"""Tiles that show first-layer swell: thin, without a chamfer, measured at the bed."""

from coupons.making.bodies.built_bodies import BuiltBody, Sized, label, turn_for
from coupons.making.bodies.proportions import EDGE_MM, TILE_DEEP_MM, TILE_MM, Measures
from coupons.making.bodies.series import Item
from coupons.making.bodies.shapes import Loft, Part, Prism, rectangle
from coupons.terms import Direction, Form

OVER_MM = 0.05  # the cutter stands out of the tile
WINDOW_MM = 5.6  # least length of a slot, which jaws reach into
MARK = "↔"


def tile(
    item: Item, form: Form, direction: Direction, wall_mm: float, measures: Measures
) -> BuiltBody:
    """Return one tile: its own width is the tongue, or a window in it is the slot."""
    m, slot = measures, form is Form.SLOT
    top = m.layers_up(TILE_MM)
    wide = max(item.size_mm + 2 * wall_mm, narrowest_mm(item, m)) if slot else item.size_mm
    # Id and mark stand side by side where there is room, else the mark below the id.
    one_line = m.text_mm(item.id + MARK) + 2 * EDGE_MM <= wide
    lines = [item.id + MARK] if one_line else [MARK, item.id]
    line_mm = m.cap_mm + m.label_clear_mm
    strip = round(EDGE_MM + len(lines) * line_mm, 6)
    needed = strip + (WINDOW_MM + wall_mm if slot else EDGE_MM - m.label_clear_mm)
    tile_deep = round(max(TILE_DEEP_MM, needed), 6)
    section = rectangle((0, 0), (wide, tile_deep))
    slab = Loft("z", ((0.0, section), (top, section)))
    parts = [Part(slab, feature=item.id if form is Form.TONGUE else "")]
    middle = wide / 2
    # Jaws go across behind the label, and a tile that is all label is taken in its middle.
    low_y, high_y = strip if slot or one_line else 0.0, tile_deep
    if slot:
        high_y -= wall_mm
        half = item.size_mm / 2
        window = rectangle((middle - half, low_y), (middle + half, high_y))
        parts.append(Part(Prism("z", window, -OVER_MM, top + OVER_MM), cut=True, feature=item.id))
    for number, text in enumerate(lines):
        parts.append(label(text, middle, EDGE_MM + number * line_mm, top, m))
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
    return BuiltBody(item.id, item.id[0], False, turn_for(direction), tuple(parts), (sized,))


def narrowest_mm(item: Item, measures: Measures) -> float:
    """Return the narrowest tile that holds its own label, in two lines if need be."""
    return max(measures.text_mm(text) for text in (item.id, MARK)) + 2 * EDGE_MM
