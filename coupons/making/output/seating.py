"""Check, with solids, that every mate has room where it is seated in or on its feature.

A loose piece goes in until it comes to rest on its seat. All but the seat and the feature itself
must then stay :data:`ROOM_MM` away: labels, the neighbours' posts and their shoulders.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from coupons.errors import Problem
from coupons.making.bodies.built_bodies import BuiltBody, Sized
from coupons.making.bodies.proportions import ROOM_MM
from coupons.making.bodies.shapes import Box, Part, Text, Vector, boxed
from coupons.making.built_rows import BuiltRow
from coupons.making.output.solids import clearance_mm, overlap_mm3
from coupons.terms import EXTERNAL, INTERNAL, ROUND

NEAR_MM = 1e-4  # places are kept to 1e-6 mm; the kernel's own rounding is far below this
MEETING_MM3 = 1e-3
LIFTED_MM = 1e-3  # held off its seat by so much, a mate does not touch it


@dataclass(frozen=True)
class Seated:
    """A mate in its feature's own frame: turned by half turns (signs of x, y, z), then moved."""

    fixed: BuiltBody
    feature: Sized
    mate: BuiltBody
    signs: Vector
    shift_mm: Vector

    def parts_in_the_way(self) -> tuple[Part, ...]:
        """Return the parts of the fixed body that the mate has no business with."""
        own, axis = self.feature.id, _way(self.feature)
        slab = self.fixed.parts[0]
        low, high = (corner[axis] for corner in boxed(slab.shape))
        seat = self.fixed.seat_mm
        seat_is_slab = min(abs(low - seat), abs(high - seat)) < NEAR_MM
        return tuple(
            part
            for part in self.fixed.parts
            if not (
                part.cut or own in (part.feature, part.seats) or (part is slab and seat_is_slab)
            )
        )

    def parts_met(self) -> tuple[Part, ...]:
        """Return the parts, cutters too but no labels, whose boxes meet the mate's."""
        boxes = self.boxes()
        return tuple(
            part
            for part in self.fixed.parts
            if not isinstance(part.shape, Text)
            and any(_apart(boxed(part.shape), box) == 0 for box in boxes)
        )

    def boxes(self) -> list[Box]:
        """Return the low and high corner of each part of the seated mate."""
        boxes = [boxed(part.shape) for part in self.mate.parts if not part.cut]
        return [_moved(box, self.signs, self.shift_mm) for box in boxes]


def seated(fixed: BuiltBody, feature: Sized, mate: BuiltBody, half_turn: bool = False) -> Seated:
    """Return a mate where it comes to rest, all the way in or on.

    A standing post is turned over to go down into its plate, any other piece goes in as printed.

    Parameters
    ----------
    fixed, mate : BuiltBody
        The body that has the feature, and the loose or bought piece.
    feature : Sized
        The feature that it is tried in or on.
    half_turn : bool
        Turned once more, half round about the way in: the hand may hold it either way.
    """
    way = _way(feature)
    signs: Vector = (1.0, 1.0, 1.0)
    if way == 2 and mate.features[0].form in EXTERNAL:
        signs = (-1.0, 1.0, -1.0)
    if half_turn:
        signs = _signed(signs, (-1.0, -1.0, 1.0) if way == 2 else (-1.0, 1.0, -1.0))
    own = _signed(signs, mate.features[0].centre)
    shift = [feature.centre[k] - own[k] for k in range(3)]
    shift[way] = fixed.seat_mm - signs[way] * mate.seat_mm
    return Seated(fixed, feature, mate, signs, (shift[0], shift[1], shift[2]))


def room_mm(pose: Seated) -> float:
    """Return the distance from a seated mate to anything but its seat, at most :data:`ROOM_MM`.

    Boxes are looked at first: nearly all parts are far away. For what is near, solids decide.
    """
    boxes = pose.boxes()
    near = tuple(
        part
        for part in pose.parts_in_the_way()
        if min(_apart(boxed(part.shape), box) for box in boxes) < ROOM_MM - NEAR_MM
    )
    if not near:
        return ROOM_MM
    return clearance_mm(near, pose.mate.parts, pose.signs, pose.shift_mm, up_to_mm=ROOM_MM)


def crowded(rows: tuple[BuiltRow, ...]) -> list[Problem]:
    """Return each mate that has no room at its seat or cannot reach it."""
    return [problem for row in rows for problem in _crowded_row(row)]


def _crowded_row(row: BuiltRow) -> Iterator[Problem]:
    fixed = {f.id: (body, f) for body in row.bodies for f in body.features if not body.loose}
    mates = {body.id: body for body in (*row.bodies, *row.bought) if body.loose}
    for trial in (*row.trials, *row.holds):
        poses = [seated(*fixed[trial.feature], mates[trial.mate], turn) for turn in (False, True)]
        room = min(room_mm(pose) for pose in poses)
        if room < ROOM_MM - NEAR_MM:
            yield Problem(
                f"{trial.mate} in its place at {trial.feature}",
                f"{ROOM_MM:g} mm of room all round",
                f"{room:.2f} mm to the nearest part",
                "This is a fault of the layout, not of the spec; try another wall_mm or length_mm",
            )
    yield from _meetings(row, fixed, mates)


def _meetings(
    row: BuiltRow, fixed: dict[str, tuple[BuiltBody, Sized]], mates: dict[str, BuiltBody]
) -> Iterator[Problem]:
    """Check whole bodies for overlap where the gap is widest."""
    for body in {id(b): b for b, _ in fixed.values()}.values():
        own = {f.id for f in body.features}
        widest = max(
            (t for t in row.trials if t.feature in own), key=lambda t: t.gap_mm, default=None
        )
        if widest is None or widest.gap_mm <= 0:
            continue  # an interference is drawn: bodies meet on purpose
        pose = seated(body, fixed[widest.feature][1], mates[widest.mate])
        shift = list(pose.shift_mm)
        shift[_way(pose.feature)] += LIFTED_MM * (-1 if _from_below(pose) else 1)
        lifted = replace(pose, shift_mm=(shift[0], shift[1], shift[2]))
        common = overlap_mm3(lifted.parts_met(), pose.mate.parts, pose.signs, lifted.shift_mm)
        if common > MEETING_MM3:
            yield Problem(
                f"{widest.mate} in its place at {widest.feature}",
                "no overlap of mate and body",
                f"{common:.3f} mm³",
                "This is a fault of the layout, not of the spec; try another wall_mm or length_mm",
            )


def _from_below(pose: Seated) -> bool:
    """Return whether a mate comes along the way from its low end: into a window along the bed."""
    return _way(pose.feature) == 1 and pose.feature.form in INTERNAL


def _way(feature: Sized) -> int:
    """Return the own coordinate along which a mate goes in: 1 for y, 2 for z."""
    if feature.form in ROUND:
        return 1 if feature.axis == "y" else 2
    return 1 if feature.axis == "z" else 2


def _signed(signs: Vector, point: Vector) -> Vector:
    return (signs[0] * point[0], signs[1] * point[1], signs[2] * point[2])


def _moved(box: Box, signs: Vector, shift: Vector) -> Box:
    ends = [sorted(signs[k] * corner[k] + shift[k] for corner in box) for k in range(3)]
    (x0, x1), (y0, y1), (z0, z1) = ends
    return (x0, y0, z0), (x1, y1, z1)


def _apart(one: Box, other: Box) -> float:
    """Return the distance of two boxes."""
    gaps = [max(one[0][k] - other[1][k], other[0][k] - one[1][k], 0.0) for k in range(3)]
    return math.hypot(*gaps)
