"""Bodies with windows: holes and slots through a flat plate, or through an upright wall.

In a plate the way through is z and labels lie before the windows; in a wall it is y and labels
lie on the top. Both mouths of a window have a lead-in.
"""

from coupons.making.bodies.built_bodies import BuiltBody, Sized, label, own_direction, plate
from coupons.making.bodies.field import field_of
from coupons.making.bodies.proportions import (
    CUT_CORNER_MM,
    EDGE_MM,
    ROOM_MM,
)
from coupons.making.bodies.series import Item, Series
from coupons.making.bodies.shapes import Axis, Outline, Part, Prism, Turned
from coupons.terms import Form, Jaws

OVER_MM = 0.05  # cutters stand out of the faces they cut, so that no two faces coincide


def windowed_plate(series: Series) -> BuiltBody:
    """Return a plate with windows along z; the outer sides of a fixed one are features too."""
    m, top = series.measures, series.depth_mm
    widths = [item.size_mm for item in series.items]
    deep = max(widths) if series.round else series.length_mm
    window_y = EDGE_MM + m.cap_mm + ROOM_MM + series.seat_wide_mm + deep / 2
    high_y = round(window_y + deep / 2 + series.wall_mm, 6)
    field = field_of(series, widths, series.wall_mm, top, high_y)
    parts = [
        plate((0, 0), (field.length_mm, high_y), top, series.turn_deg, m.foot_mm),
        *field.marks,
    ]
    features = []
    for item, x in zip(series.items, field.middles_mm, strict=True):
        parts.append(_plate_window(series, item, x, window_y))
        parts.append(label(series.text(item), x, EDGE_MM, top, m))
        centre = (x, window_y, top / 2)
        features.append(series.sized(item, centre, "z" if series.round else "x"))
    if series.outer and not series.loose:
        features += outer_sizes(series, field.length_mm, high_y, top)
    return series.body_of(parts, features, seat_mm=0.0 if series.loose else top)


def windowed_wall(series: Series) -> BuiltBody:
    """Return an upright wall with windows along y, floor and roof as thick as its walls."""
    m, flat = series.measures, not series.round
    floor = m.layers_up(series.wall_mm)
    widths = [series.length_mm if flat else item.size_mm for item in series.items]
    deep = depth_of_wall_mm(series)
    top = m.layers_up(floor + series.largest_mm + series.wall_mm)
    # The cut corner takes from the end wall at one mouth of the first window.
    field = field_of(series, widths, series.wall_mm, top, before_mm=CUT_CORNER_MM)
    parts = [plate((0, 0), (field.length_mm, deep), top, series.turn_deg, m.foot_mm), *field.marks]
    features = []
    for item, x in zip(series.items, field.middles_mm, strict=True):
        z = floor + (item.size_mm if flat else series.largest_mm) / 2
        parts.append(_wall_window(series, item, x, z, deep))
        parts.append(label(series.text(item), x, EDGE_MM, top, m))
        features.append(series.sized(item, (x, deep / 2, z), "z" if flat else "y"))
    return series.body_of(parts, features, seat_mm=0.0)


def depth_of_wall_mm(series: Series) -> float:
    """Return how thick an upright wall is, as labels stand on it: the way through its windows."""
    return max(series.depth_mm, series.measures.cap_mm + 2 * EDGE_MM)


def outer_sizes(series: Series, length: float, high_y: float, top: float) -> list[Sized]:
    """Return the two outer sizes of a plate: lengths for the caliper that cost no plastic."""
    if series.turn_deg not in (0, 90):
        return []
    sides: tuple[tuple[Axis, float], ...] = (("x", length), ("y", high_y))
    return [
        Sized(
            id=f"{series.row}{direction.upper()}",
            form=Form.TONGUE,
            direction=direction,
            size_mm=size,
            role="span",
            row=series.row,
            centre=(length / 2, high_y / 2, top / 2),
            axis=axis,
            readings=((Jaws.OUTSIDE, None),),
        )
        for axis, size in sides
        for direction in (own_direction(series.turn_deg, axis),)
    ]


def _flared(half: float, low: float, high: float, lead_in: float) -> Outline:
    """Return half a window's profile as (half width, place through) with a lead-in at both ends."""
    reach = lead_in + OVER_MM
    return (
        (half + reach, low - OVER_MM),
        (half, low + lead_in),
        (half, high - lead_in),
        (half + reach, high + OVER_MM),
    )


def _hole(axis: Axis, centre: tuple[float, float], item: Item, high: float, lead_in: float) -> Part:
    flared = _flared(item.size_mm / 2, 0.0, high, lead_in)
    profile = ((0.0, -OVER_MM), *flared, (0.0, high + OVER_MM))
    return Part(Turned(axis, centre, profile, outside=True), cut=True, feature=item.id)


def _plate_window(series: Series, item: Item, x: float, y: float) -> Part:
    if series.round:
        return _hole("z", (x, y), item, series.depth_mm, series.measures.lead_in_mm)
    profile = slot_profile(item, x, 0.0, series.depth_mm, series.measures.lead_in_mm)
    half = series.length_mm / 2
    return Part(Prism("y", profile, y - half, y + half), cut=True, feature=item.id)


def _wall_window(series: Series, item: Item, x: float, z: float, deep: float) -> Part:
    if series.round:
        return _hole("y", (x, z), item, deep, series.measures.lead_in_mm)
    lead_in = series.measures.lead_in_mm
    profile = tuple((b, a) for a, b in slot_profile(item, z, 0.0, deep, lead_in))
    half = series.length_mm / 2
    return Part(Prism("x", profile, x - half, x + half), cut=True, feature=item.id)


def slot_profile(item: Item, middle: float, low: float, high: float, lead_in: float) -> Outline:
    """Return a slot's section as (across, through), flared at both mouths."""
    flared = _flared(item.size_mm / 2, low, high, lead_in)
    right = [(middle + half, through) for half, through in flared]
    left = [(2 * middle - across, through) for across, through in reversed(right)]
    return (*right, *left)
