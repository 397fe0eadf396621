"""Move the mating faces of bodies so that their joints get the gaps that were answered.

joint with its faces and its wanted sizes → offset of each face → bodies anew, joint by joint: what
cannot be moved as asked is refused by the name of its joint, and the others are moved without it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from coupons.answering.meshes.body import Body, Floats, Ints
from coupons.answering.meshes.regions import ROUND, Region, SurfaceKind, round_of
from coupons.answering.meshes.rounds import Cylinder
from coupons.answering.relieve.face_offset import MovedFaces, offset_faces
from coupons.answering.relieve.face_sizes import (
    across_corners_mm,
    between_mm,
    flat_share,
    has_loose_facets,
    height_mm,
    out_of_axis,
)
from coupons.answering.relieve.roundings import carried
from coupons.progress import steps

PARALLEL_COSINE = 0.999999
_ONE_AXIS_MM = 0.005
_STAYS_MM = 1e-4
"""A face that would move less stays: numbers of a file are not more exact."""
_UNLIKE_MM = 0.6
"""A listed size may differ so far from that of the faces, and by the gap drawn between them."""


@dataclass(frozen=True)
class Side:
    """The faces of one body in a pair.

    Parameters
    ----------
    body : str
        Its name.
    letters : str
        Of its faces, for messages and tables.
    regions : tuple of Region
        The faces of a slot or tongue, on both sides, or the cylinder or cone of a hole or pin;
        either may be interrupted, and so several regions.
    is_internal : bool
        A slot or a hole: it grows as its faces move into the material.
    up : ndarray of float, shape (3,)
        Which way is up in its print, in the frame of its file.
    at_mm : ndarray of float, shape (3,), or None
        At which height of its axis the size of a taper is measured; halfway along if not given.
    """

    body: str
    letters: str
    regions: tuple[Region, ...]
    is_internal: bool
    up: Floats
    at_mm: Floats | None = None

    @property
    def is_round(self) -> bool:
        """Whether it is a hole or a pin."""
        return self.regions[0].kind in ROUND

    def size_in(self, body: Body) -> float:
        """Return its size in a body whose triangles are those of its own body.

        Of a round side, the diameter of the circle through its corners, which is drawn.
        """
        if self.is_round:
            one = round_of(self.regions[0])
            at_mm = one.point_mm if self.at_mm is None else self.at_mm
            return across_corners_mm(body, faces_of(self.regions), one, at_mm)
        near, far = self.walls
        normal = self.regions[0].normal
        return between_mm(body, faces_of(near), faces_of(far), normal)

    @property
    def walls(self) -> tuple[tuple[Region, ...], tuple[Region, ...]]:
        """The flat faces that look the way of the first one, and the others."""
        way = self.regions[0].normal
        near = tuple(region for region in self.regions if region.normal @ way > 0)
        return near, tuple(region for region in self.regions if region.normal @ way <= 0)


@dataclass(frozen=True)
class Wanted:
    """A pair of faces as it is to be drawn.

    Parameters
    ----------
    joint : str
        The name of its joint, which may have several pairs.
    internal, external : Side or None
        None for the side that is hardware.
    facing : tuple
        The faces that look at one another: those of the internal and those of the external body.
    size_mm : float
        As listed.
    sizes_mm : mapping of bool to float
        Size to draw, by whether the side is internal, only of sides that move. It is used as it is
        if ``is_absolute``; else the sides share what is missing of the gap.
    gap_mm : float
        Internal less external size, as it is to be drawn.
    one_face : frozenset of bool
        Sides (by whether internal) whose size changes at the upper face alone, in whole layers.
    is_absolute : bool
        Sizes are as given, in whole layers or where one side alone is printed.
    is_slanted : bool
        The faces of a wedge or taper: their gap is along their normals.
    is_lone : bool
        A hole that meets no body: what goes in stands in no file.
    """

    joint: str
    internal: Side | None
    external: Side | None
    size_mm: float
    sizes_mm: Mapping[bool, float]
    gap_mm: float
    facing: tuple[tuple[tuple[Region, ...], tuple[Region, ...]], ...] = ()
    one_face: frozenset[bool] = frozenset()
    is_absolute: bool = False
    is_slanted: bool = False
    is_lone: bool = False

    @property
    def sides(self) -> tuple[Side, ...]:
        """The printed sides, the internal one first."""
        return tuple(side for side in (self.internal, self.external) if side is not None)

    @property
    def is_round(self) -> bool:
        """Whether it is a hole with a pin."""
        return self.sides[0].is_round

    def gap_in(self, bodies: Mapping[str, Body]) -> float:
        """Return its gap between bodies; with hardware, the size of the printed side."""
        if self.internal is None or self.external is None:
            (side,) = self.sides
            return side.size_in(bodies[side.body])
        internal, external = bodies[self.internal.body], bodies[self.external.body]
        if self.is_round:
            across_mm = self.internal.size_in(internal) - self.external.size_in(external)
            return across_mm * round_of(self.internal.regions[0]).normal_share
        return sum(
            height_mm(external, faces_of(outer), inner[0].normal)
            - height_mm(internal, faces_of(inner), inner[0].normal)
            for inner, outer in self.facing
        )


@dataclass(frozen=True)
class FaceStep:
    """How far one face is moved, for which joint.

    ``offset_mm`` of a cylinder or cone is that of the circle through its corners, which is drawn,
    square to the surface.
    """

    joint: str
    side: Side
    region: Region
    offset_mm: float

    @property
    def facet_mm(self) -> float:
        """Offset of its triangles: the flats of a cylinder move less than its corners."""
        if self.region.kind not in ROUND:
            return self.offset_mm
        one = round_of(self.region)
        return self.offset_mm * flat_share(one) / one.normal_share

    @property
    def corner_steps_mm(self) -> Floats | None:
        """Where its corners go, if it is a round whose facets are no strips along it."""
        if self.region.kind not in ROUND:
            return None
        one = round_of(self.region)
        if not has_loose_facets(self.region.body, self.region.faces, one):
            return None
        outwards_mm = (-1 if one.is_inner else 1) * self.offset_mm / one.normal_share
        return outwards_mm * out_of_axis(self.region.corners_mm, one)


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
    by_hand : mapping of str to tuple of FaceStep
        How far the faces of these joints should have moved, where that is known.
    """

    bodies: Mapping[str, Body]
    moved: tuple[FaceStep, ...]
    refused: Mapping[str, str]
    by_hand: Mapping[str, tuple[FaceStep, ...]] = field(default_factory=dict)


def relieve(
    divided: Sequence[Sequence[Region]],
    wanted: Sequence[Wanted],
    least_wall_mm: Mapping[str, float],
    refused: Mapping[str, str] | None = None,
) -> Relieved:
    """Move the faces of all joints, each by its own offset.

    Parameters
    ----------
    divided : sequence of sequence of Region
        Each body as its regions.
    wanted : sequence of Wanted
    least_wall_mm : mapping of str to float
        By the name of the body; walls are not made thinner than this.
    refused : mapping of str to str, optional
        Joints that are to be left as they are, with the reason.
    """
    planned: dict[str, list[FaceStep]] = {}
    drawn = {regions[0].body.name: regions[0].body for regions in divided}
    odd = {pair.joint: why for pair in reversed(wanted) if (why := odd_faces(pair, drawn))}
    for pair in wanted:
        if pair.joint not in odd:
            planned.setdefault(pair.joint, []).extend(_steps_of(pair, drawn))
    reasons = dict(refused or {})
    reasons |= {name: why for name, why in reversed(odd.items()) if name not in reasons}
    while True:
        left = [step for name, found in planned.items() if name not in reasons for step in found]
        changed, faults = _all_bodies(divided, left, least_wall_mm)
        if not faults:
            by_hand = {name: tuple(planned[name]) for name in reasons if name in planned}
            return Relieved(changed, tuple(left), reasons, by_hand)
        reasons |= faults


def _all_bodies(
    divided: Sequence[Sequence[Region]],
    moved: Sequence[FaceStep],
    least_wall_mm: Mapping[str, float],
) -> tuple[dict[str, Body], dict[str, str]]:
    """Return the bodies that change, and why joints cannot be moved."""
    changed, reasons = {}, {}
    for regions in steps(divided, "bodies moved"):
        body = regions[0].body
        own = [step for step in moved if step.side.body == body.name]
        if not own:
            continue
        asked = [
            MovedFaces(step.joint, step.region.faces, step.facet_mm, step.corner_steps_mm)
            for step in own
        ]
        offsets = {step.region.number: step.facet_mm for step in own}
        names = {step.region.number: step.joint for step in own}
        asked += carried(regions, offsets, names)
        found = offset_faces(body, asked, least_wall_mm=least_wall_mm.get(body.name, 0.0))
        for fault in found.faults:
            letters = {step.joint: step.side.letters for step in own}
            where = " and ".join(dict.fromkeys(letters[name] for name in fault.names))
            for name in fault.names:
                reasons[name] = f"{body.name} {where} {fault.reason}"
        changed[body.name] = found.body
    return changed, reasons


def faces_of(regions: Sequence[Region]) -> Ints:
    """Return the triangles of some regions."""
    return np.concatenate([region.faces for region in regions])


def odd_faces(pair: Wanted, drawn: Mapping[str, Body]) -> str:
    """Say what prevents the faces of a pair from being moved at all; empty if nothing does."""
    for side in pair.sides:
        where = f"{side.body} {side.letters}"
        if any(region.kind is SurfaceKind.FREE for region in side.regions):
            return f"{where} is not flat, a cylinder or a cone: it is not moved"
        if pair.is_slanted:
            if pair.is_absolute:
                return f"{where} is slanted: it is not drawn in whole layers"
            continue
        if not _belong_together(side):
            return f"{where} are not one cylinder, or flat faces opposite one another"
        size_mm = side.size_in(drawn[side.body])
        room_mm = _UNLIKE_MM + (abs(pair.gap_in(drawn)) if len(pair.sides) > 1 else 0.0)
        if not pair.is_lone and abs(size_mm - pair.size_mm) > room_mm:
            return (
                f"{where} measures {size_mm:.2f} mm, the list says {pair.size_mm:g} mm: put back "
                "the row as `coupons meet` wrote it"
            )
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


def _steps_of(pair: Wanted, drawn: Mapping[str, Body]) -> list[FaceStep]:
    """Return how far each face of a pair moves."""
    found = [step for side in pair.sides for step in _side_steps(pair, side, drawn)]
    return [step for step in found if abs(step.offset_mm) >= _STAYS_MM]


def _side_steps(pair: Wanted, side: Side, drawn: Mapping[str, Body]) -> list[FaceStep]:
    growth_mm = _growth_mm(pair, side, drawn)
    outward = -growth_mm if side.is_internal else growth_mm
    moved, share = side.regions, 0.5
    if side.is_internal in pair.one_face:
        moved, share = max(side.walls, key=lambda wall: float(wall[0].point_mm @ side.up)), 1.0
    return [FaceStep(pair.joint, side, region, _clean(share * outward)) for region in moved]


def _growth_mm(pair: Wanted, side: Side, drawn: Mapping[str, Body]) -> float:
    """Return how much a side's size grows, so that the gap comes out whatever is drawn now."""
    if side.is_internal not in pair.sizes_mm:
        return 0.0
    if pair.is_absolute:
        return pair.sizes_mm[side.is_internal] - side.size_in(drawn[side.body])
    share_mm = (pair.gap_mm - pair.gap_in(drawn)) / len(pair.sizes_mm)
    return share_mm if side.is_internal else -share_mm


def _clean(mm: float) -> float:
    return round(mm, 9) + 0.0  # no −0.0
