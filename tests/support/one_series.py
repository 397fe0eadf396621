"""A series of like features as the builders of bodies take it, for a usual machine."""

from coupons.making.bodies.proportions import Measures
from coupons.making.bodies.series import Item, Series
from coupons.terms import Direction, Form

USUAL = Measures(0.4, 0.2)


def series(form, direction, sizes, loose=False, readings=(), **more):
    """Return features A1, A2, … of the sizes, each with the same readings."""
    items = tuple(Item(f"A{n}", size, readings) for n, size in enumerate(sizes, start=1))
    given = {
        "body": "A",
        "row": "A",
        "form": Form(form),
        "direction": Direction(direction),
        "role": "gauge" if loose else "fit",
        "items": items,
        "turn_deg": 0,
        "loose": loose,
        "wall_mm": 3.0,
        "depth_mm": 3.6,
        "length_mm": 7.0,
        "measures": USUAL,
    }
    return Series(**(given | more))
