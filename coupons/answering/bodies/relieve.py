"""Move the mating faces of bodies so that their joints get the gaps that were answered.

joint with its faces and its wanted sizes → offset of each face → bodies anew, joint by joint: what
cannot be moved as asked is refused by the name of its joint, and the others are moved without it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from coupons.answering.bodies.body import Body, Floats, Ints
from coupons.answering.bodies.face_offset import MovedFaces, offset_faces
from coupons.answering.bodies.face_sizes import across_corners_mm, between_mm
from coupons.answering.bodies.regions import Kind, Region, regions_of
from coupons.answering.bodies.roundings import carried
from coupons.answering.bodies.rounds import Cylinder
from coupons.progress import steps

PARALLEL_COSINE = 0.999999
_ONE_AXIS_MM = 0.005
_UNLIKE_MM = 0.6
"""A listed size may differ from that of the faces by the gap that is drawn between them."""


@dataclass(frozen=True)
class Side:
    """The faces of one body in a joint.

    Parameters
    ----------
    body : str
        Its name.
    letters : str
        Of its faces, for messages and tables.
    regions : tuple of Region
        The faces of a slot or tongue, on both sides, or the cylinder of a hole or pin; either may
        be interrupted, and so several regions.
    is_internal : bool
        A slot or a hole: it grows as its faces move into the material.
    up : ndarray of float, shape (3,)
        Which way is up in its print, in the frame of its file.
    """

    body: str
    letters: str
    regions: tuple[Region, ...]
    is_internal: bool
    up: Floats

    @property
    def is_round(self) -> bool:
        """Whether it is a hole or a pin."""
        return self.regions[0].kind is Kind.CYLINDER

    @property
    def size_mm(self) -> float:
        """Its size as drawn: of a round one, the diameter of the circle through its corners."""
        return self.size_in(self.regions[0].body)

    def size_in(self, body: Body) -> float:
        """Return its size in a body whose triangles are those of its own body."""
        one = self.regions[0].cylinder
        if one is not None:
            return across_corners_mm(body, _faces(self.regions), one)
        near, far = self.walls
        return between_mm(body, _faces(near), _faces(far), self.regions[0].normal)

    @property
    def walls(self) -> tuple[tuple[Region, ...], tuple[Region, ...]]:
        """The flat faces that look the way of the first one, and the others."""
        way = self.regions[0].normal
        near = tuple(region for region in self.regions if region.normal @ way > 0)
        return near, tuple(region for region in self.regions if region.normal @ way <= 0)


@dataclass(frozen=True)
class Wanted:
    """A joint as it is to be drawn.

    Parameters
    ----------
    name : str
    internal, external : Side or None
        None for the side that is hardware.
    size_mm : float
        As listed.
    sizes_mm : mapping of bool to float
        Size to draw by whether the side is internal, only for sides that move. Used as it is for
        ``is_absolute``; else the sum of the changes makes the gap.
    gap_mm : float
        Internal less external size, as it is to be drawn.
    one_face : frozenset of bool
        Sides (by whether internal) whose size changes at the upper face alone, in whole layers.
    is_absolute : bool
        Both sizes are as given, such as with hardware or in whole layers.
    """

    name: str
    internal: Side | None
    external: Side | None
    size_mm: float
    sizes_mm: Mapping[bool, float]
    gap_mm: float
    one_face: frozenset[bool] = frozenset()
    is_absolute: bool = False

    @property
    def sides(self) -> tuple[Side, ...]:
        """The printed sides, the internal one first."""
        return tuple(side for side in (self.internal, self.external) if side is not None)


@dataclass(frozen=True)
class FaceStep:
    """How far one face is moved, for which joint."""

    joint: str
    side: Side
    region: Region
    offset_mm: float


@dataclass(frozen=True)
class Relieved:
    """Bodies with their faces moved.

    Parameters
    ----------
    bodies : mapping of str to Body
        Those that changed, by name.
    moved : tuple of FaceStep
    refused : mapping of str to str
        Why joints were left as they were, by name.
    """

    bodies: Mapping[str, Body]
    moved: tuple[FaceStep, ...]
    refused: Mapping[str, str]


def relieve(
    bodies: Sequence[Body],
    wanted: Sequence[Wanted],
    least_wall_mm: Mapping[str, float],
    refused: Mapping[str, str] | None = None,
) -> Relieved:
    """Move the faces of all joints, each by its own offset.

    Parameters
    ----------
    bodies : sequence of Body
    wanted : sequence of Wanted
    least_wall_mm : mapping of str to float
        By the name of the body; walls are not made thinner than this.
    refused : mapping of str to str, optional
        Joints that are to be left as they are, with the reason.
    """
    reasons = dict(refused or {})
    planned: dict[str, list[FaceStep]] = {}
    for joint in wanted:
        if joint.name not in reasons:
            if odd := odd_faces(joint):
                reasons[joint.name] = odd
            else:
                planned[joint.name] = _steps_of(joint)
    regions = {body.name: regions_of(body) for body in bodies}
    while True:
        left = [step for name, found in planned.items() if name not in reasons for step in found]
        changed, faults = _all_bodies(bodies, regions, left, least_wall_mm)
        if not faults:
            return Relieved(changed, tuple(left), reasons)
        reasons |= faults


def _all_bodies(
    bodies: Sequence[Body],
    regions: Mapping[str, Sequence[Region]],
    moved: Sequence[FaceStep],
    least_wall_mm: Mapping[str, float],
) -> tuple[dict[str, Body], dict[str, str]]:
    """Return the bodies that change, and why joints cannot be moved."""
    changed, reasons = {}, {}
    for body in steps(bodies, "bodies moved"):
        own = [step for step in moved if step.side.body == body.name]
        if not own:
            continue
        asked = [MovedFaces(step.joint, step.region.faces, step.offset_mm) for step in own]
        offsets = {step.region.number: step.offset_mm for step in own}
        names = {step.region.number: step.joint for step in own}
        asked += carried(regions[body.name], offsets, names)
        found = offset_faces(body, asked, least_wall_mm=least_wall_mm.get(body.name, 0.0))
        for fault in found.faults:
            letters = {step.joint: step.side.letters for step in own}
            for name in fault.names:
                reasons[name] = f"{body.name} {letters[name]} {fault.reason}"
        changed[body.name] = found.body
    return changed, reasons


def _faces(regions: Sequence[Region]) -> Ints:
    return np.concatenate([region.faces for region in regions])


def odd_faces(joint: Wanted) -> str:
    """Say what prevents the faces of a joint from being moved at all; empty if nothing does."""
    for side in joint.sides:
        where = f"{side.body} {side.letters}"
        if any(region.kind is Kind.FREE for region in side.regions):
            return f"{where} is neither flat nor a cylinder: it is not moved"
        if not _belong_together(side):
            return f"{where} are not one cylinder, or flat faces opposite one another"
        if abs(side.size_mm - joint.size_mm) > _UNLIKE_MM:
            return f"{where} measures {side.size_mm:.2f} mm, the list says {joint.size_mm:g} mm"
    return ""


def _belong_together(side: Side) -> bool:
    """Tell whether faces are those of one slot, tongue, hole or pin."""
    kinds = {region.kind for region in side.regions}
    if len(kinds) != 1:
        return False
    first = side.regions[0]
    if first.cylinder is not None:
        return all(_same_cylinder(first.cylinder, region.cylinder) for region in side.regions)
    along = [abs(float(region.normal @ first.normal)) for region in side.regions]
    return min(along) > PARALLEL_COSINE and all(side.walls)


def _same_cylinder(one: Cylinder, two: Cylinder | None) -> bool:
    if two is None or one.is_inner is not two.is_inner:
        return False
    beside = np.cross(two.point_mm - one.point_mm, one.axis)
    return bool(
        abs(one.axis @ two.axis) > PARALLEL_COSINE
        and np.linalg.norm(beside) < _ONE_AXIS_MM
        and abs(one.corner_mm - two.corner_mm) < _ONE_AXIS_MM
    )


def _steps_of(joint: Wanted) -> list[FaceStep]:
    """Return how far each face of a joint moves."""
    found = [step for side in joint.sides for step in _side_steps(joint, side)]
    return [step for step in found if step.offset_mm]


def _side_steps(joint: Wanted, side: Side) -> list[FaceStep]:
    growth_mm = _new_size_mm(joint, side) - side.size_mm
    outward = -growth_mm if side.is_internal else growth_mm
    moved, share = side.regions, 0.5
    if side.is_round:
        share *= _flats_share(side.regions[0])
    elif side.is_internal in joint.one_face:
        moved, share = max(side.walls, key=lambda wall: float(wall[0].point_mm @ side.up)), 1.0
    return [FaceStep(joint.name, side, region, _clean(share * outward)) for region in moved]


def _new_size_mm(joint: Wanted, side: Side) -> float:
    """Return the size to draw a side with, so that the gap comes out whatever is drawn now."""
    if side.is_internal not in joint.sizes_mm:
        return side.size_mm
    if joint.is_absolute or joint.internal is None or joint.external is None:
        return joint.sizes_mm[side.is_internal]
    missing_mm = joint.gap_mm - (joint.internal.size_mm - joint.external.size_mm)
    share_mm = missing_mm / len(joint.sizes_mm)
    return side.size_mm + (share_mm if side.is_internal else -share_mm)


def _flats_share(region: Region) -> float:
    """Return how far flats move as the corners of a cylinder move by 1."""
    one = region.cylinder
    return 1.0 if one is None else float(np.cos(np.radians(one.arc_deg / one.strips / 2)))


def _clean(mm: float) -> float:
    return round(mm, 9) + 0.0  # no −0.0
