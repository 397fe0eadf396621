"""The section through a joint: both bodies cut where they meet, hatched across each other."""

from dataclasses import dataclass

import numpy as np

from coupons.answering.meet.grouping import MetJoint
from coupons.answering.meet.meetings import Meeting, Met
from coupons.answering.meet.opposite_faces import Contact
from coupons.answering.meshes.body import Floats
from coupons.answering.meshes.regions import ROUND, SurfaceKind
from coupons.answering.meshes.section import cut
from coupons.answering.meshes.strips import crosswise
from coupons.showing.bodies.face_marks import letter_path
from coupons.showing.bodies.hatching import EXTERNAL_DEG, INTERNAL_DEG, hatch
from coupons.showing.bodies.views import path_of

_ROOM_MM = 3.0  # around the joint
_LEAST_SHARE, _MOST_SHARE = 0.35, 0.75  # height of a section over its width
_LETTER_SHARE = 0.05  # of the width
_LINES = 45.0  # of hatching across the width


@dataclass(frozen=True)
class CutBody:
    """A body in a section: its outline and hatching as paths."""

    name: str
    kind: str
    outline: str
    hatching: str


@dataclass(frozen=True)
class JointSection:
    """A section, in mm: left, top, width and height of the view, the bodies, labels and scale.

    ``labels`` are the strokes of each face's label; ``scale_bar`` is the path of a bar of
    ``scale_mm``.
    """

    view: tuple[float, float, float, float]
    bodies: tuple[CutBody, ...]
    labels: tuple[tuple[str, str], ...]
    pen: float
    scale_bar: str
    scale_mm: float


def section_of(met: Met, joint: Meeting) -> JointSection:
    """Cut the bodies of a joint where their faces meet."""
    group = joint.group
    assert group is not None
    along, up = _plane(group)
    if _points_down(met, joint, up):
        up = -up
    middle = np.mean([pair.middle_mm for pair in group.pairs], axis=0)
    if group.internal in ("pocket", "sleeve"):
        middle = group.pairs[0].middle_mm
    frame = np.column_stack([along, -up])  # y runs down
    half = _half_extents(group, middle, frame)
    left, top = middle @ frame - half
    view = (float(left), float(top), float(2 * half[0]), float(2 * half[1]))
    bodies = []
    for number, printed in enumerate(met.bodies):
        loops = [line @ frame for line in cut(printed.body, middle, np.cross(along, up))]
        kind = {joint.bodies[0]: "internal", joint.bodies[1]: "external"}.get(number, "other")
        if _reaches(loops, view):
            bodies.append(_cut_body(printed.body.name, kind, loops, view))
    height = _LETTER_SHARE * view[2]
    labels = [
        (label, letter_path(label, *_label_place(contact, joint, frame, middle, height), height))
        for label, contact in zip(joint.labels, joint.contacts, strict=True)
        if _is_cut(contact, group)
    ]
    bar = _round_length(view[2] / 5)
    at = (view[0] + 0.04 * view[2], view[1] + view[3] - 0.04 * view[2])
    scale_bar = f"M{at[0]:.2f} {at[1]:.2f}h{bar:g}"
    return JointSection(view, tuple(bodies), tuple(labels), height * 0.16, scale_bar, bar)


def _plane(group: MetJoint) -> tuple[Floats, Floats]:
    """Return the directions of a section: across the joint, and along its depth."""
    first = group.pairs[0]
    pitch = group.pitch
    if pitch is not None:
        return pitch / np.linalg.norm(pitch), first.way
    if first.is_round:
        return crosswise(first.way)[0], first.way
    if len(group.pairs) > 1:
        return first.way, np.cross(first.way, group.pairs[1].way)
    if first.pull is not None:
        return first.way, first.pull
    if group.leg_way is not None:
        return first.way, group.leg_way
    return first.way, _depth_way(first.contacts[0])


def _depth_way(contact: Contact) -> Floats:
    """Return the direction of the lesser extent of a flat contact."""
    frame = np.column_stack(crosswise(contact.normal))
    points = np.concatenate(contact.outlines_mm) @ frame
    edges = np.concatenate([np.roll(one, -1, axis=0) - one for one in contact.outlines_mm]) @ frame
    edges = edges[np.linalg.norm(edges, axis=1) > 1e-9]
    across = np.column_stack([-edges[:, 1], edges[:, 0]])
    across /= np.linalg.norm(across, axis=1)[:, None]
    best = across[np.ptp(points @ across.T, axis=0).argmin()]
    return np.asarray(frame @ best)


def _points_down(met: Met, joint: Meeting, up: Floats) -> bool:
    """Tell whether a section would stand on its head, as the internal body is printed."""
    return float(met.bodies[joint.bodies[0]].axes[2] @ up) < -1e-9


def _half_extents(group: MetJoint, middle: Floats, frame: Floats) -> Floats:
    """Return half the width and height of what is shown."""
    points = []
    for pair in group.pairs[:1] if group.internal in ("pocket", "sleeve") else group.pairs:
        for contact in pair.contacts:
            if contact.kind is SurfaceKind.PLANE:
                points += [line @ frame for line in contact.outlines_mm]
            else:
                place = contact.point_mm @ frame
                half = np.array([pair.sizes_mm[0] / 2, contact.depth_mm / 2])
                points.append(np.array([place - half, place + half]))
    half = np.abs(np.concatenate(points) - middle @ frame).max(axis=0)
    half = half + np.maximum(_ROOM_MM, 0.35 * half[0])
    if group.leg_mm is not None:
        half[1] = max(half[1], group.leg_mm[0])
    half[0] = max(half[0], half[1] / _MOST_SHARE)
    half[1] = max(half[1], _LEAST_SHARE * half[0])
    return np.asarray(half)


def _reaches(loops: list[Floats], view: tuple[float, float, float, float]) -> bool:
    if not loops:
        return False
    points = np.concatenate(loops)
    low, high = points.min(axis=0), points.max(axis=0)
    start, stop = np.array(view[:2]), np.array(view[:2]) + view[2:]
    return bool((high > start).all() and (low < stop).all())


def _cut_body(
    name: str, kind: str, loops: list[Floats], view: tuple[float, float, float, float]
) -> CutBody:
    outline = "".join(
        "M" + "L".join(f"{x:.3f} {y:.3f}" for x, y in loop.tolist()) + "z" for loop in loops
    )
    # y runs down here, which mirrors an angle.
    angle = -{"internal": INTERNAL_DEG, "external": EXTERNAL_DEG, "other": 90.0}[kind]
    return CutBody(
        name, kind, outline, path_of(_inside(hatch(loops, view[2] / _LINES, angle), view))
    )


def _inside(lines: Floats, view: tuple[float, float, float, float]) -> Floats:
    """Leave out lines that are clear of the view; the drawing itself cuts the others off."""
    low, high = lines.min(axis=1), lines.max(axis=1)
    start, stop = np.array(view[:2]), np.array(view[:2]) + view[2:]
    return np.asarray(lines[(high > start).all(axis=1) & (low < stop).all(axis=1)])


def _is_cut(contact: Contact, group: MetJoint) -> bool:
    """Tell whether a contact is in the plane of the section: of a pocket, the first pair is."""
    return any(contact is one for one in group.pairs[0].contacts) or group.internal == "holes"


def _label_place(
    contact: Contact, joint: Meeting, frame: Floats, middle: Floats, height: float
) -> tuple[float, float]:
    """Return where a label goes: beside the contact, in the internal body."""
    group = joint.group
    assert group is not None
    place = contact.point_mm @ frame
    if contact.kind in ROUND:
        return float(place[0] - group.pairs[0].sizes_mm[0] / 2 - 1.2 * height), float(place[1])
    out = np.sign((contact.point_mm - middle) @ frame[:, 0]) or 1.0
    return float(place[0] + out * 1.6 * height), float(place[1])


def _round_length(length: float) -> float:
    """Return 1, 2 or 5 times a power of ten, at most a length.

    Examples
    --------
    >>> _round_length(7.3), _round_length(0.21)
    (5.0, 0.2)
    """
    power = 10.0 ** np.floor(np.log10(length))
    return float(max(step for step in (1.0, 2.0, 5.0) if step * power <= length) * power)
