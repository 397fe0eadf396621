"""Hardware as bodies: it is not printed, but it needs room where it is tried.

A shank has a grip or head behind it, a ring an outside. Both stand in a frame of their own as a
loose piece of the same form would, so that they are seated in the same way.
"""

from coupons.making.bodies.built_bodies import BuiltBody, Sized
from coupons.making.bodies.proportions import GRIP_MM, SLOT_PLAY_MM, TIP_MM
from coupons.making.bodies.series import Series
from coupons.making.bodies.shapes import Axis, Outline, Part, Prism, Turned, rectangle
from coupons.terms import EXTERNAL, Form

HEAD_PER_SHANK = (
    2.0  # a screw's head is at most about twice as wide as its thread (common practice)
)
LARGEST_HEADED_MM = 12.0  # thicker pieces that are tried by hand are rings, rods and dowels


def outside_mm(nominal_mm: float, outer_mm: float | None) -> float:
    """Return the width of the widest part of hardware: as stated, else that of a usual head."""
    if outer_mm is not None:
        return outer_mm
    return nominal_mm * (HEAD_PER_SHANK if nominal_mm <= LARGEST_HEADED_MM else 1.0)


def bought_piece(
    series: Series, piece: str, mate: Form, size_mm: float, outer_mm: float
) -> BuiltBody:
    """Return the body of hardware that is tried in or over the features of a series.

    Parameters
    ----------
    series : Series
        The fixed features.
    piece : str
        Its id.
    mate : Form
        Its own form.
    size_mm, outer_mm : float
        Its size, and the width of its head, grip or outside.
    """
    way: Axis = "y" if series.lying else "z"
    axis: Axis = way if series.round else ("z" if series.lying else "x")
    shank = mate in EXTERNAL
    seat = GRIP_MM if shank else 0.0
    reach = seat + series.depth_mm + (TIP_MM if shank else 0.0)
    narrow = _section(series, size_mm, series.length_mm - (SLOT_PLAY_MM if shank else 0.0))
    wide = _section(series, outer_mm, series.length_mm - SLOT_PLAY_MM + outer_mm - size_mm)
    if shank:
        # A flat piece is a bar, held by itself: it has no head.
        parts = [_straight(way, wide if series.round else narrow, 0.0, seat)]
        parts.append(_straight(way, narrow, seat, reach, feature=piece))
    else:
        parts = [_straight(way, wide, 0.0, reach)]
        parts.append(_straight(way, narrow, 0.0, reach, feature=piece, cut=True))
    along = (seat + reach) / 2
    centre = (0.0, along, 0.0) if series.lying else (0.0, 0.0, along)
    sized = Sized(piece, mate, series.direction, size_mm, "gauge", series.row, centre, axis)
    return BuiltBody(piece, series.row, True, series.turn_deg, tuple(parts), (sized,), seat)


def _section(series: Series, across_mm: float, beside_mm: float) -> float | Outline:
    """Return a section across the way in: a diameter, or the corners of a flat one."""
    if series.round:
        return across_mm
    half = (across_mm / 2, beside_mm / 2)
    if series.lying:  # the section is drawn in x and z, and flat faces are met along z
        half = (half[1], half[0])
    return rectangle((-half[0], -half[1]), half)


def _straight(
    way: Axis,
    section: float | Outline,
    start: float,
    stop: float,
    feature: str = "",
    cut: bool = False,
) -> Part:
    if isinstance(section, float):
        profile = ((0.0, start), (section / 2, start), (section / 2, stop), (0.0, stop))
        return Part(Turned(way, (0.0, 0.0), profile, outside=cut), cut=cut, feature=feature)
    return Part(Prism(way, section, start, stop), cut=cut, feature=feature)
