"""Bodies with posts: pins and tongues that stand on a base, or lie on the bed before a spine.

A post has a shoulder that its mate seats on, clear of raised labels, and stands out of the seated
mate, so that full depth is felt and seen. Its tip has a lead-in; the lead-in at its root is the
mate's.
"""

import math

from coupons.making.bodies import Body, label, marks, plate
from coupons.making.lettering import CAP_MM, width_mm
from coupons.making.proportions import (
    BASE_MM,
    EDGE_MM,
    FOOT_CHAMFER_MM,
    GRIP_MM,
    LABEL_CLEAR_MM,
    LEAD_IN_MM,
    SHOULDER_CLEAR_MM,
    SHOULDER_HEIGHT_MM,
    SHOULDER_MM,
    SLOT_PLAY_MM,
    TIP_MM,
    layers_up,
)
from coupons.making.series import Item, Series, spread
from coupons.making.shapes import Loft, Outline, Part, Turned, circle_sides, rectangle
from coupons.terms import Form

SPINE_MM = 8.0  # tallest spine: higher posts stand over it
SUNK_MM = 0.1  # how far a post starts inside its base, so that the union has no touching faces


def standing(series: Series) -> Body:
    """Return posts that stand on a base plate, labels before them."""
    widths = [item.size_mm + 2 * SHOULDER_MM for item in series.items]
    middles, length = spread(series, widths, SHOULDER_MM)
    deep = max(widths) if series.round else _post_width(series)
    post_y = EDGE_MM + CAP_MM + SHOULDER_CLEAR_MM + deep / 2
    high_y = round(post_y + deep / 2 + EDGE_MM, 6)
    base = layers_up(BASE_MM, series.layer_height_mm)
    parts: list[Part] = []
    if series.loose:
        spare = max(0.0, GRIP_MM - length)
        middles, length = [x + spare / 2 for x in middles], length + spare
    else:
        parts, length = _mark_column(series, length, high_y, base)
    parts.insert(0, plate((0, 0), (length, high_y), base, series.turn_deg))
    features = []
    for item, x in zip(series.items, middles, strict=True):
        seat = base + layers_up(SHOULDER_HEIGHT_MM, series.layer_height_mm)
        tip = seat + series.depth_mm + TIP_MM
        build = _standing_pin if series.round else _standing_tongue
        parts += build(series, item, (x, post_y), (base, seat, tip))
        parts.append(label(series.text(item), x, EDGE_MM, base))
        centre = (x, post_y, (seat + tip) / 2)
        features.append(series.sized(item, centre, "z" if series.round else "x"))
    return Body(
        series.body, series.row, series.loose, series.turn_deg, tuple(parts), tuple(features)
    )


def lying(series: Series) -> Body:
    """Return posts that lie on the bed and reach along y from a spine with labels on its top."""
    widths = [item.size_mm if series.round else _post_width(series) for item in series.items]
    middles, length = spread(series, widths, series.wall_mm)
    spine_y = CAP_MM + 2 * EDGE_MM
    if series.loose:
        spare = max(0.0, GRIP_MM - length)
        middles, length = [x + spare / 2 for x in middles], length + spare
        spine_y = max(spine_y, GRIP_MM)
    top = layers_up(min(max(series.largest_mm, 3.0), SPINE_MM), series.layer_height_mm)
    parts: list[Part] = []
    if not series.loose:
        text = "".join(marks(series.turn_deg))
        start = length - EDGE_MM + LABEL_CLEAR_MM
        parts.append(label(text, start + width_mm(text) / 2, EDGE_MM, top))
        length = round(start + width_mm(text) + EDGE_MM, 6)
    parts.insert(0, plate((0, 0), (length, spine_y), top, series.turn_deg))
    reach = spine_y + max(series.depth_mm, CAP_MM + 2 * EDGE_MM) + TIP_MM
    features = []
    for item, x in zip(series.items, middles, strict=True):
        part, z = _lying_post(series, item, x, spine_y, reach)
        parts += [part, label(series.text(item), x, EDGE_MM, top)]
        centre = (x, (spine_y + reach) / 2, z)
        features.append(series.sized(item, centre, "y" if series.round else "z"))
    return Body(
        series.body, series.row, series.loose, series.turn_deg, tuple(parts), tuple(features)
    )


def _post_width(series: Series) -> float:
    """Return the width of a tongue, across which it has play in its slot."""
    return series.length_mm - SLOT_PLAY_MM


def _mark_column(
    series: Series, length: float, high_y: float, base: float
) -> tuple[list[Part], float]:
    texts = marks(series.turn_deg)
    wide = max(width_mm(text) for text in texts)
    middle = length - SHOULDER_MM / 2 + LABEL_CLEAR_MM + wide / 2
    rows_y = (EDGE_MM, high_y - EDGE_MM - CAP_MM)
    parts = [label(text, middle, y, base) for text, y in zip(texts, rows_y, strict=True)]
    return parts, round(middle + wide / 2 + EDGE_MM, 6)


def _standing_pin(
    series: Series, item: Item, at: tuple[float, float], heights: tuple[float, float, float]
) -> list[Part]:
    del series  # a pin is known by its size alone
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
        Part(Turned("z", at, step, outside=False)),
        Part(Turned("z", at, shaft, outside=False), feature=item.id),
    ]


def _standing_tongue(
    series: Series, item: Item, at: tuple[float, float], heights: tuple[float, float, float]
) -> list[Part]:
    base, seat, tip = heights
    half, deep = item.size_mm / 2, _post_width(series) / 2

    def section(grow_x: float, grow_y: float = 0.0) -> Outline:
        low = (at[0] - half - grow_x, at[1] - deep - grow_y)
        return rectangle(low, (at[0] + half + grow_x, at[1] + deep + grow_y))

    step = Loft("z", ((base - SUNK_MM, section(SHOULDER_MM)), (seat, section(SHOULDER_MM))))
    shaft = Loft(
        "z",
        (
            (seat - SUNK_MM, section(0)),
            (tip - LEAD_IN_MM, section(0)),
            (tip, section(-LEAD_IN_MM, -LEAD_IN_MM)),
        ),
    )
    return [Part(step), Part(shaft, feature=item.id)]


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
