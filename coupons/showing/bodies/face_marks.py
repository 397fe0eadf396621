"""The hatching and the letter of each meeting face, in the place of the face."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from coupons.answering.meet.meetings import Meeting, Met
from coupons.answering.meet.opposite_faces import Contact
from coupons.answering.meshes.body import Floats
from coupons.answering.meshes.regions import Region, SurfaceKind, round_of
from coupons.answering.meshes.strips import crosswise
from coupons.making.bodies.lettering import CAP_MM, line_strokes, width_mm
from coupons.showing.bodies.hatching import EXTERNAL_DEG, INTERNAL_DEG, hatch

_REST_DEG = 0.0
_SHARE = 30.0  # of the body's length: hatching lines across it


@dataclass(frozen=True, eq=False)
class FaceMark:
    """A meeting face of one body.

    Parameters
    ----------
    label : str
    kind : str
        ``internal`` or ``external`` side of a joint, ``rest``, ``lone`` hole, or ``free``.
    lines_mm : ndarray of float, shape (n, 2, 3)
        Its hatching, in space.
    places_mm : ndarray of float, shape (k, 3)
        Where its letter may go, the best place first.
    """

    label: str
    kind: str
    lines_mm: Floats
    places_mm: Floats


def marks_of(met: Met, number: int) -> list[FaceMark]:
    """Return the marks of all meeting faces of one body."""
    size = float(np.ptp(met.bodies[number].body.box_mm, axis=0).max())
    spacing = max(size / _SHARE, 0.4)
    marks = []
    for meeting in (*met.joints, *met.rests):
        if number in meeting.bodies:
            marks += list(_meeting_marks(meeting, number, spacing))
    for label, hole in zip(met.lone_labels, met.lone, strict=True):
        if number == hole.body:
            lines = _round_lines(hole.regions, spacing)
            marks.append(FaceMark(label, "lone", lines, _places(lines, hole.cylinder.point_mm)))
    for n, contact in enumerate(met.free, start=1):
        if number in contact.bodies:
            marks.append(_free_mark(f"Q{n}", contact, number))
    return marks


def _meeting_marks(meeting: Meeting, number: int, spacing: float) -> Iterator[FaceMark]:
    kind = "rest"
    if meeting.group is not None:
        kind = "internal" if number == meeting.bodies[0] else "external"
    angle = {"rest": _REST_DEG, "internal": INTERNAL_DEG, "external": EXTERNAL_DEG}[kind]
    for label, contact in zip(meeting.labels, meeting.contacts, strict=True):
        side = contact.bodies.index(number)
        if contact.kind is SurfaceKind.PLANE:
            lines = _flat_lines(contact, side, spacing, angle)
        else:
            lines = _round_lines(contact.regions[side], spacing, contact)
        yield FaceMark(label, kind, lines, _places(lines, contact.point_mm))


def _flat_lines(contact: Contact, side: int, spacing: float, angle_deg: float) -> Floats:
    """Hatch the area of a contact on the face of one of its bodies."""
    frame = np.column_stack(crosswise(contact.normal))
    height = contact.point_mm @ contact.normal + (contact.gap_mm if side else 0.0)
    flat = hatch([line @ frame for line in contact.outlines_mm], spacing, angle_deg)
    return np.asarray(flat @ frame.T + height * contact.normal)


def _round_lines(
    regions: tuple[Region, ...], spacing: float, contact: Contact | None = None
) -> Floats:
    """Draw lines along the wall of a cylinder or cone, over the length of a contact if given."""
    lines = []
    for region in regions:
        one = round_of(region)
        u, v = crosswise(one.axis)
        around = region.corners_mm.mean(axis=1) - one.point_mm
        there = np.unique(np.round(np.arctan2(around @ v, around @ u), 2))
        step = max(spacing / (one.corner_mm / 2), 2 * np.pi / 48)
        wanted = np.unique(np.round(there / step)) * step
        ends = [one.point_mm + at * one.axis for at in _span(region, contact)]
        radii = [one.diameter_at(end) / 2 * one.flat_mm / one.corner_mm for end in ends]
        for angle in wanted:
            out = np.cos(angle) * u + np.sin(angle) * v
            lines.append([end + radius * out for end, radius in zip(ends, radii, strict=True)])
    return np.array(lines, dtype=np.float64).reshape(-1, 2, 3)


def _span(region: Region, contact: Contact | None) -> tuple[float, float]:
    """Return where along a round's axis a contact lies, from the round's middle."""
    one = round_of(region)
    if contact is None:
        return -one.half_length_mm, one.half_length_mm
    middle = float((contact.point_mm - one.point_mm) @ one.axis)
    half = contact.depth_mm / 2
    own = one.half_length_mm
    if len(contact.regions[0]) + len(contact.regions[1]) > 2:  # in pieces: each piece is hatched
        return -own, own
    return max(middle - half, -own), min(middle + half, own)


def _free_mark(label: str, contact: Contact, number: int) -> FaceMark:
    region = contact.regions[contact.bodies.index(number)][0]
    corners = region.corners_mm[:: max(1, len(region.faces) // 400)]
    return FaceMark(label, "free", corners[:, :2], contact.point_mm[None])


def _places(lines: Floats, otherwise: Floats) -> Floats:
    """Return middles of hatching lines, those of long lines near the middle of the face first."""
    if not len(lines):
        return otherwise[None]
    middles = lines.mean(axis=1)
    length = np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1)
    away = np.linalg.norm(middles - middles.mean(axis=0), axis=1)
    order = np.argsort(0.5 * away / max(float(away.max()), 1e-9) - length / length.max())
    return np.asarray(middles[order])


def letter_path(label: str, x: float, y: float, height: float) -> str:
    """Return the strokes of a label around a place of a drawing: the letters of a coupon."""
    scale = height / CAP_MM
    left, base = x - width_mm(label, scale) / 2, y + height / 2
    return "".join(
        f"M{left + stroke.start[0]:.2f} {base - stroke.start[1]:.2f}"
        f"L{left + stroke.stop[0]:.2f} {base - stroke.stop[1]:.2f}"
        for stroke in line_strokes(label, scale)
    )
