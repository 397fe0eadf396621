"""Bodies with posts: pins and tongues that stand on a base, or lie on the bed before a spine.

A post has a shoulder that its mate seats on, clear of raised labels, and stands out of the seated
mate, so that full depth is felt and seen. Its tip has a lead-in; the lead-in at its root is the
mate's.
"""

import math

from coupons.making.bodies.built_bodies import BuiltBody, label, plate
from coupons.making.bodies.field import field_of
from coupons.making.bodies.lettering import Point
from coupons.making.bodies.proportions import (
    EDGE_MM,
    GRIP_MM,
    JAW_CLEAR_MM,
    SHOULDER_CLEAR_MM,
    SHOULDER_MM,
    SLOT_PLAY_MM,
    SUNK_MM,
    TIP_MM,
    Measures,
)
from coupons.making.bodies.series import Item, Series
from coupons.making.bodies.shapes import Loft, Outline, Part, Prism, Turned, circle_sides, rectangle
from coupons.making.bodies.windows import depth_of_wall_mm
from coupons.terms import Form, Seam

SPINE_MM = 8.0  # tallest spine: higher posts stand over it
# A groove for a loose pin's seam: its place, and depth and half width per nozzle.
SEAM_DEG, SEAM_DEEP, SEAM_HALF = 67.5, 0.875, 1.0
SEAM_LEAST_HALF_MM = 0.4
EDGE_BREAK_MM = 0.4


def standing(series: Series) -> BuiltBody:
    """Return posts that stand on a base plate, labels before them."""
    m = series.measures
    widths = [width_in_row_mm(series, item) for item in series.items]
    deep = max(widths) if series.round else _post_width(series)
    post_y = EDGE_MM + m.cap_mm + SHOULDER_CLEAR_MM + deep / 2
    high_y = round(post_y + deep / 2 + EDGE_MM, 6)
    base = m.base_mm
    seat = base + m.shoulder_height_mm
    tip = seat + series.depth_mm + TIP_MM
    between = max(SHOULDER_MM, _jaw_room_mm(series) - 2 * SHOULDER_MM)
    field = field_of(series, widths, between, base, high_y)
    parts = [
        plate((0, 0), (field.length_mm, high_y), base, series.turn_deg, m.foot_mm),
        *field.marks,
    ]
    features = []
    for item, x in zip(series.items, field.middles_mm, strict=True):
        parts += _standing_post(series, item, (x, post_y), (base, seat, tip))
        parts.append(label(series.text(item), x, EDGE_MM, base, m))
        centre = (x, post_y, (seat + tip) / 2)
        features.append(series.sized(item, centre, "z" if series.round else "x"))
    return series.body_of(parts, features, seat_mm=seat)


def lying(series: Series) -> BuiltBody:
    """Return posts that lie on the bed and reach along y from a spine with labels on its top."""
    m = series.measures
    widths = [width_in_row_mm(series, item) for item in series.items]
    spine_y = max(m.cap_mm + 2 * EDGE_MM, GRIP_MM if series.loose else 0.0)
    reach = spine_y + depth_of_wall_mm(series) + TIP_MM
    top = m.layers_up(min(max(series.largest_mm, 3.0), SPINE_MM))
    # A lying tongue is read across z, from its free end; a lying pin from both its sides.
    between = max(series.wall_mm, _jaw_room_mm(series) if series.round else 0.0)
    field = field_of(series, widths, between, top)
    parts = [
        plate((0, 0), (field.length_mm, spine_y), top, series.turn_deg, m.foot_mm),
        *field.marks,
    ]
    features = []
    for item, x in zip(series.items, field.middles_mm, strict=True):
        part, z = _lying_post(series, item, x, spine_y, reach)
        parts += [part, label(series.text(item), x, EDGE_MM, top, m)]
        centre = (x, (spine_y + reach) / 2, z)
        features.append(series.sized(item, centre, "y" if series.round else "z"))
    return series.body_of(parts, features, seat_mm=spine_y)


def width_in_row_mm(series: Series, item: Item) -> float:
    """Return the width of a post along its row, including its shoulder if it has one."""
    if series.lying:
        return item.size_mm if series.round else _post_width(series)
    return item.size_mm + 2 * SHOULDER_MM


def _jaw_room_mm(series: Series) -> float:
    """Return the distance between posts that lets jaws reach those that are measured."""
    read = any(item.readings for item in series.items)
    return JAW_CLEAR_MM if read and len(series.items) > 1 else 0.0


def _post_width(series: Series) -> float:
    """Return the width of a tongue, across which it has play in its slot."""
    return series.length_mm - SLOT_PLAY_MM


def _standing_post(
    series: Series, item: Item, at: Point, heights: tuple[float, float, float]
) -> list[Part]:
    """Return shoulder and shaft between the heights of base, seat and tip."""
    if series.round:
        pin = _standing_pin(item, at, heights, series.measures.lead_in_mm)
        groove = _seam_groove(item, at, heights, series.measures.nozzle_mm)
        return [*pin, groove] if series.seam is Seam.HIDDEN else pin
    return _standing_tongue(item, at, heights, _post_width(series) / 2, series.measures)


def _standing_pin(
    item: Item, at: Point, heights: tuple[float, float, float], lead_in: float
) -> list[Part]:
    base, seat, tip = heights
    r = item.size_mm / 2
    wide = r + SHOULDER_MM
    step = ((0.0, base - SUNK_MM), (wide, base - SUNK_MM), (wide, seat), (0.0, seat))
    shaft = (
        (0.0, seat - SUNK_MM),
        (r, seat - SUNK_MM),
        (r, tip - lead_in),
        (r - lead_in, tip),
        (0.0, tip),
    )
    return [
        Part(Turned("z", at, step, outside=False), seats=item.id),
        Part(Turned("z", at, shaft, outside=False), feature=item.id),
    ]


def _seam_groove(
    item: Item, at: Point, heights: tuple[float, float, float], nozzle_mm: float
) -> Part:
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

    edge, half = r + SUNK_MM, min(max(SEAM_LEAST_HALF_MM, SEAM_HALF * nozzle_mm), r / 2)
    deep = half * SEAM_DEEP / SEAM_HALF
    outline = (spot(r - deep, 0), spot(edge, -half), spot(edge, half))
    return Part(Prism("z", outline, seat, tip + SUNK_MM), cut=True)


def _standing_tongue(
    item: Item, at: Point, heights: tuple[float, float, float], deep: float, measures: Measures
) -> list[Part]:
    base, seat, tip = heights
    half, lead_in = item.size_mm / 2, measures.lead_in_mm
    wide = half + SHOULDER_MM
    around = rectangle((at[0] - wide, at[1] - deep), (at[0] + wide, at[1] + deep))
    step = Loft("z", ((base - SUNK_MM, around), (seat, around)))
    broken = broken_edge_mm(measures)
    full = _broken_section(at, half, deep, broken)
    small = _broken_section(at, half - lead_in, deep - lead_in, broken)
    shaft = Loft("z", ((seat - SUNK_MM, full), (tip - lead_in, full), (tip, small)))
    return [Part(step, seats=item.id), Part(shaft, feature=item.id)]


def broken_edge_mm(measures: Measures) -> float:
    """Return how much of a standing tongue's width its broken edges take at each side."""
    return max(EDGE_BREAK_MM, measures.nozzle_mm)


def _broken_section(at: Point, half: float, deep: float, broken: float) -> Outline:
    """Return a tongue's section with its upright edges broken.

    There slicers put the seam, and there a slot's corners are never quite sharp.
    """
    (x, y), c = at, min(broken, half / 2, deep / 2)
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
    r, lead_in, foot = item.size_mm / 2, series.measures.lead_in_mm, series.measures.foot_mm
    if series.form is Form.TONGUE:
        half, z = _post_width(series) / 2, r
        full, small = (_bar_section(x, half - c, z, r - c, foot) for c in (0, lead_in))
    else:
        z = round(r * PIN_FLAT, 6)
        full, small = (_pin_section(x, z, r - c, circle_sides(r)) for c in (0, lead_in))
    levels = ((spine_y - SUNK_MM, full), (reach - lead_in, full), (reach, small))
    return Part(Loft("y", levels), feature=item.id), z


def _bar_section(x: float, half: float, z: float, half_z: float, foot: float) -> Outline:
    """Return a flat bar's section, its two edges at the bed broken."""
    c = min(foot, half_z, half / 2)
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
ROUND_FROM_DEG = -25.0
PIN_FLAT = (
    math.sin(math.radians(-ROUND_FROM_DEG)) + math.sin(math.radians(90 + ROUND_FROM_DEG))
) / 2
"""Height of a lying pin's middle over its flat, as a share of its radius."""


def _pin_section(x: float, z: float, r: float, count: int) -> Outline:
    start, sweep = math.radians(ROUND_FROM_DEG), math.radians(180 - 2 * ROUND_FROM_DEG)
    steps = math.ceil(count * sweep / math.tau)
    angles = [start + sweep * i / steps for i in range(steps + 1)]
    arc = [(x + r * math.cos(a), z + r * math.sin(a)) for a in angles]
    flat_z = z - r * PIN_FLAT
    run = r * (PIN_FLAT + math.sin(start))  # the chord falls at 45°, so it runs in as it falls
    flat_x = r * math.cos(start) - run
    return ((x - flat_x, flat_z), (x + flat_x, flat_z), *arc)
