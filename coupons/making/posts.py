"""Bodies with posts: pins and tongues that stand on a base, or lie on the bed before a spine.

A post has a shoulder that its mate seats on, clear of raised labels, and stands out of the seated
mate, so that full depth is felt and seen. Its tip has a lead-in; the lead-in at its root is the
mate's.
"""

import math

from coupons.making.bodies import Body, label, plate
from coupons.making.field import field_of
from coupons.making.lettering import CAP_MM, Point
from coupons.making.proportions import (
    BASE_MM,
    EDGE_MM,
    FOOT_CHAMFER_MM,
    GRIP_MM,
    LEAD_IN_MM,
    SHOULDER_CLEAR_MM,
    SHOULDER_HEIGHT_MM,
    SHOULDER_MM,
    SLOT_PLAY_MM,
    TIP_MM,
    layers_up,
)
from coupons.making.series import Item, Series
from coupons.making.shapes import Loft, Outline, Part, Prism, Turned, circle_sides, rectangle
from coupons.terms import Form

SPINE_MM = 8.0  # tallest spine: higher posts stand over it
SEAM_DEG, SEAM_DEEP_MM, SEAM_HALF_MM = 67.5, 0.35, 0.4  # groove for a loose pin's seam
EDGE_BREAK_MM = 0.4
SUNK_MM = 0.1  # how far a post starts inside its base, so that the union has no touching faces


def standing(series: Series) -> Body:
    """Return posts that stand on a base plate, labels before them."""
    widths = [width_in_row_mm(series, item) for item in series.items]
    deep = max(widths) if series.round else _post_width(series)
    post_y = EDGE_MM + CAP_MM + SHOULDER_CLEAR_MM + deep / 2
    high_y = round(post_y + deep / 2 + EDGE_MM, 6)
    base = layers_up(BASE_MM, series.layer_height_mm)
    seat = base + layers_up(SHOULDER_HEIGHT_MM, series.layer_height_mm)
    tip = seat + series.depth_mm + TIP_MM
    field = field_of(series, widths, SHOULDER_MM, base, high_y)
    parts = [plate((0, 0), (field.length_mm, high_y), base, series.turn_deg), *field.marks]
    features = []
    for item, x in zip(series.items, field.middles_mm, strict=True):
        parts += _standing_post(series, item, (x, post_y), (base, seat, tip))
        parts.append(label(series.text(item), x, EDGE_MM, base))
        centre = (x, post_y, (seat + tip) / 2)
        features.append(series.sized(item, centre, "z" if series.round else "x"))
    return series.body_of(parts, features, seat_mm=seat)


def lying(series: Series) -> Body:
    """Return posts that lie on the bed and reach along y from a spine with labels on its top."""
    widths = [width_in_row_mm(series, item) for item in series.items]
    spine_y = max(CAP_MM + 2 * EDGE_MM, GRIP_MM if series.loose else 0.0)
    reach = spine_y + max(series.depth_mm, CAP_MM + 2 * EDGE_MM) + TIP_MM
    top = layers_up(min(max(series.largest_mm, 3.0), SPINE_MM), series.layer_height_mm)
    field = field_of(series, widths, series.wall_mm, top)
    parts = [plate((0, 0), (field.length_mm, spine_y), top, series.turn_deg), *field.marks]
    features = []
    for item, x in zip(series.items, field.middles_mm, strict=True):
        part, z = _lying_post(series, item, x, spine_y, reach)
        parts += [part, label(series.text(item), x, EDGE_MM, top)]
        centre = (x, (spine_y + reach) / 2, z)
        features.append(series.sized(item, centre, "y" if series.round else "z"))
    return series.body_of(parts, features, seat_mm=spine_y)


def width_in_row_mm(series: Series, item: Item) -> float:
    """Return what a post takes along its row, with its shoulder where it stands on one."""
    if series.lying:
        return item.size_mm if series.round else _post_width(series)
    return item.size_mm + 2 * SHOULDER_MM


def _post_width(series: Series) -> float:
    """Return the width of a tongue, across which it has play in its slot."""
    return series.length_mm - SLOT_PLAY_MM


def _standing_post(
    series: Series, item: Item, at: Point, heights: tuple[float, float, float]
) -> list[Part]:
    """Return shoulder and shaft between the heights of base, seat and tip."""
    if series.round:
        pin = _standing_pin(item, at, heights)
        # A gauge's seam would be in every trial it takes part in; a fixed pin's is one of many.
        return [*pin, _seam_groove(item, at, heights)] if series.loose else pin
    return _standing_tongue(item, at, heights, _post_width(series) / 2)


def _standing_pin(item: Item, at: Point, heights: tuple[float, float, float]) -> list[Part]:
    base, seat, tip = heights
    r = item.size_mm / 2
    wide = r + SHOULDER_MM
    step = ((0.0, base - SUNK_MM), (wide, base - SUNK_MM), (wide, seat), (0.0, seat))
    shaft = (
        (0.0, seat - SUNK_MM),
        (r, seat - SUNK_MM),
        (r, tip - LEAD_IN_MM),
        (r - LEAD_IN_MM, tip),
        (0.0, tip),
    )
    return [
        Part(Turned("z", at, step, outside=False), seats=item.id),
        Part(Turned("z", at, shaft, outside=False), feature=item.id),
    ]


def _seam_groove(item: Item, at: Point, heights: tuple[float, float, float]) -> Part:
    """Return a fine groove along a pin, away from x and y where the caliper goes.

    Most slicers put the seam into a concave edge where there is one; there it stands below the
    round and spoils neither trial nor reading.
    """
    _, seat, tip = heights
    angle, r = math.radians(SEAM_DEG), item.size_mm / 2
    out = (math.cos(angle), math.sin(angle))

    def spot(away: float, aside: float) -> Point:
        return (
            at[0] + away * out[0] - aside * out[1],
            at[1] + away * out[1] + aside * out[0],
        )

    edge = r + SUNK_MM
    outline = (spot(r - SEAM_DEEP_MM, 0), spot(edge, -SEAM_HALF_MM), spot(edge, SEAM_HALF_MM))
    return Part(Prism("z", outline, seat, tip + SUNK_MM), cut=True)


def _standing_tongue(
    item: Item, at: Point, heights: tuple[float, float, float], deep: float
) -> list[Part]:
    base, seat, tip = heights
    half = item.size_mm / 2

    wide = half + SHOULDER_MM
    around = rectangle((at[0] - wide, at[1] - deep), (at[0] + wide, at[1] + deep))
    step = Loft("z", ((base - SUNK_MM, around), (seat, around)))
    full = _broken_section(at, half, deep)
    small = _broken_section(at, half - LEAD_IN_MM, deep - LEAD_IN_MM)
    shaft = Loft("z", ((seat - SUNK_MM, full), (tip - LEAD_IN_MM, full), (tip, small)))
    return [Part(step, seats=item.id), Part(shaft, feature=item.id)]


def _broken_section(at: Point, half: float, deep: float) -> Outline:
    """Return a tongue's section with its upright edges broken.

    There slicers put the seam, and there a slot's corners are never quite sharp.
    """
    (x, y), c = at, EDGE_BREAK_MM
    return (
        (x - half + c, y - deep),
        (x + half - c, y - deep),
        (x + half, y - deep + c),
        (x + half, y + deep - c),
        (x + half - c, y + deep),
        (x - half + c, y + deep),
        (x - half, y + deep - c),
        (x - half, y - deep + c),
    )


def _lying_post(
    series: Series, item: Item, x: float, spine_y: float, reach: float
) -> tuple[Part, float]:
    """Return a post along y resting on the bed, and the height of its middle."""
    r = item.size_mm / 2
    if series.form is Form.TONGUE:
        half, z = _post_width(series) / 2, r
        full, small = (_bar_section(x, half - c, z, r - c) for c in (0, LEAD_IN_MM))
    else:
        z = round(r * _PIN_FLAT, 6)
        full, small = (_pin_section(x, z, r - c, circle_sides(r)) for c in (0, LEAD_IN_MM))
    levels = ((spine_y - SUNK_MM, full), (reach - LEAD_IN_MM, full), (reach, small))
    return Part(Loft("y", levels), feature=item.id), z


def _bar_section(x: float, half: float, z: float, half_z: float) -> Outline:
    """Return a flat bar's section, its two edges at the bed broken."""
    c = FOOT_CHAMFER_MM
    low, high = z - half_z, z + half_z
    return (
        (x - half + c, low),
        (x + half - c, low),
        (x + half, low + c),
        (x + half, high),
        (x - half, high),
        (x - half, low + c),
    )


# A lying pin keeps its round from 25° below its middle upwards. Below that a 45° chord, which no
# printer needs support for, leads to a flat on the bed; chord and flat stay clear of the mate.
_ROUND_FROM_DEG = -25.0
_PIN_FLAT = (
    math.sin(math.radians(-_ROUND_FROM_DEG)) + math.sin(math.radians(90 + _ROUND_FROM_DEG))
) / 2


def _pin_section(x: float, z: float, r: float, count: int) -> Outline:
    start, sweep = math.radians(_ROUND_FROM_DEG), math.radians(180 - 2 * _ROUND_FROM_DEG)
    steps = math.ceil(count * sweep / math.tau)
    angles = [start + sweep * i / steps for i in range(steps + 1)]
    arc = [(x + r * math.cos(a), z + r * math.sin(a)) for a in angles]
    flat_z = z - r * _PIN_FLAT
    run = r * (_PIN_FLAT + math.sin(start))  # the chord falls at 45°, so it runs in as it falls
    flat_x = r * math.cos(start) - run
    return ((x - flat_x, flat_z), (x + flat_x, flat_z), *arc)
