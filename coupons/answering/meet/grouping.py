"""Joints of more than one pair of faces: pockets, sleeves, two pins at a pitch, springy legs."""

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from coupons.answering.meet.opposite_faces import Contact
from coupons.answering.meet.pairing import Pair, Paired
from coupons.answering.meshes.body import Body, Floats
from coupons.answering.meshes.regions import Region, SurfaceKind
from coupons.answering.meshes.shells import winding
from coupons.answering.meshes.strips import crosswise
from coupons.answering.meshes.surface import Surface

_SQUARE = 0.01
_ALIKE_MM = 0.02
_SPRINGY = 5.0  # times as long as thick: a leg bends, and a wall less
_WIDEST_LEG = 1.5  # times as wide as long: what is wider is a wall
_INTO_MM = 0.05


@dataclass(frozen=True, eq=False)
class MetJoint:
    """A joint: one pair of faces, or two that work together.

    Parameters
    ----------
    internal, external : str
        Forms as a list of joints names them: slot, hole, pocket, sleeve, holes, legs; tongue, pin,
        plate, bar, pins.
    pairs : tuple of Pair
    corners_mm : tuple of float
        Radii of the corners of a pocket or sleeve, internal and external.
    leg_mm : tuple of float, or None
        Free length and thickness of a leg.
    leg_way : ndarray of float, shape (3,), or None
        Direction along the legs.
    """

    internal: str
    external: str
    pairs: tuple[Pair, ...]
    corners_mm: tuple[float, float] = (0.0, 0.0)
    leg_mm: tuple[float, float] | None = None
    leg_way: Floats | None = None

    @property
    def contacts(self) -> tuple[Contact, ...]:
        """All contacts, pair by pair."""
        return tuple(contact for pair in self.pairs for contact in pair.contacts)

    @property
    def external_side(self) -> int:
        """Which side of its contacts (0 or 1) is the external body."""
        return self.pairs[0].external

    @property
    def area_mm2(self) -> float:
        """Over which it meets."""
        return sum(pair.area_mm2 for pair in self.pairs)

    @property
    def pitch(self) -> Floats | None:
        """From the first to the second axis of two holes, square to them."""
        if self.internal != "holes":
            return None
        first, second = self.pairs
        away = second.middle_mm - first.middle_mm
        return np.asarray(away - (away @ first.way) * first.way)


def grouped(found: Paired, surfaces: tuple[Surface, ...]) -> tuple[list[MetJoint], list[Contact]]:
    """Join the pairs of two bodies into joints; return them and the contacts that are in none."""
    flat = [pair for pair in found.pairs if not pair.is_round and not pair.slant_deg]
    slanted = [pair for pair in found.pairs if pair.slant_deg and not pair.is_round]
    tapers = [pair for pair in found.pairs if pair.slant_deg and pair.is_round]
    rounds = [pair for pair in found.pairs if pair.is_round and not pair.slant_deg]
    left = list(found.left)
    groups: list[MetJoint] = []
    for first, second in combinations(flat, 2):
        if first in flat and second in flat and _is_pocket(first, second):
            flat = [pair for pair in flat if pair is not first and pair is not second]
            group, left = _pocket(first, second, left, surfaces)
            groups.append(group)
    groups += [_slot_or_legs(pair, surfaces) for pair in flat]
    groups += [MetJoint("slot", "tongue", (pair,)) for pair in slanted]
    groups += [MetJoint("hole", "pin", (pair,)) for pair in tapers]
    return [*groups, *_holes(rounds)], left


def _is_pocket(first: Pair, second: Pair) -> bool:
    """Tell whether two pairs stand square to each other around the same block."""
    if first.external != second.external or abs(first.way @ second.way) > _SQUARE:
        return False
    away = second.middle_mm - first.middle_mm
    return all(abs(float(away @ one.way)) < 0.25 * one.sizes_mm[1] for one in (first, second))


def _pocket(
    first: Pair, second: Pair, left: list[Contact], surfaces: tuple[Surface, ...]
) -> tuple[MetJoint, list[Contact]]:
    """Make a pocket if something stops its pull, else a sleeve; its corners belong to it."""
    first, second = sorted((first, second), key=lambda pair: -pair.sizes_mm[0])
    pull = np.cross(first.way, second.way)
    stops = [
        one
        for one in left
        if one.kind is SurfaceKind.PLANE and abs(float(one.normal @ pull)) > 1 - _SQUARE
    ]
    corner = [
        one
        for one in left
        if one.kind is SurfaceKind.CYLINDER and abs(float(one.normal @ pull)) > 1 - _SQUARE
    ]
    internal, external = ("pocket", "plate") if stops else ("sleeve", "bar")
    sides = (1 - first.external, first.external)
    radii = tuple(_corner_mm(surfaces[side], side, (first, second), pull) for side in sides)
    group = MetJoint(internal, external, (first, second), (radii[0], radii[1]))
    return group, [one for one in left if one not in corner]


def _corner_mm(surface: Surface, side: int, pairs: tuple[Pair, Pair], pull: Floats) -> float:
    """Return the radius of the roundings that run into both faces of a corner; 0 if sharp."""
    planes = [
        region for pair in pairs for contact in pair.contacts for region in contact.regions[side]
    ]
    radii = [
        region.cylinder.corner_mm / 2
        for region in surface.regions
        if region.cylinder is not None
        and 60 <= region.cylinder.arc_deg <= 120
        and abs(float(region.cylinder.axis @ pull)) > 1 - _SQUARE
        and sum(runs_into(region, plane) for plane in planes) >= 2
    ]
    return float(np.median(radii)) if radii else 0.0


def runs_into(rounding: Region, plane: Region) -> bool:
    """Tell whether a rounding runs smoothly into a plane: its axis is one radius from it."""
    assert rounding.cylinder is not None
    away = abs(float((rounding.point_mm - plane.point_mm) @ plane.normal))
    return abs(away - rounding.cylinder.corner_mm / 2) < _ALIKE_MM


def _holes(rounds: list[Pair]) -> list[MetJoint]:
    """Join two alike pins on parallel axes; of more than two, the two that are farthest apart."""
    rest = list(rounds)
    groups = []
    while len(rest) > 1:
        alike = [(i, j) for i, j in combinations(range(len(rest)), 2) if is_twin(rest[i], rest[j])]
        if not alike:
            break
        i, j = max(alike, key=lambda pair: _pitch_mm(rest[pair[0]], rest[pair[1]]))
        groups.append(MetJoint("holes", "pins", (rest[i], rest[j])))
        twins = {n for n in range(len(rest)) if is_twin(rest[i], rest[n])} - {i, j}
        groups += [MetJoint("hole", "pin", (rest[n],)) for n in sorted(twins)]
        rest = [pair for n, pair in enumerate(rest) if n not in {i, j, *twins}]
    return [*groups, *(MetJoint("hole", "pin", (pair,)) for pair in rest)]


def is_twin(one: Pair, other: Pair) -> bool:
    """Tell whether two pins in holes are alike and on parallel axes, as those of one pattern."""
    sizes = np.abs(np.subtract(one.sizes_mm, other.sizes_mm)).max()
    parallel = float(np.linalg.norm(np.cross(one.way, other.way))) < _SQUARE
    return bool(parallel and sizes < _ALIKE_MM and one.external == other.external)


def _pitch_mm(one: Pair, other: Pair) -> float:
    return float(np.linalg.norm(np.cross(other.middle_mm - one.middle_mm, one.way)))


def _slot_or_legs(pair: Pair, surfaces: tuple[Surface, ...]) -> MetJoint:
    side = 1 - pair.external
    legs = [_leg(contact, side, surfaces[side].body) for contact in pair.contacts]
    held = [leg for leg in legs if leg is not None]
    if len(held) < len(legs):
        return MetJoint("slot", "tongue", (pair,))
    size = (min(leg[0] for leg in held), max(leg[1] for leg in held))
    return MetJoint("legs", "bar", (pair,), leg_mm=size, leg_way=held[0][2])


def _leg(contact: Contact, side: int, body: Body) -> tuple[float, float, Floats] | None:
    """Return free length, thickness and direction if the wall behind a face is a springy leg.

    A leg is held at one end alone: beyond one edge of its face its material goes on, beyond the
    other three it does not.
    """
    region = contact.regions[side][0]
    inward = -region.normal
    corners = region.corners_mm.reshape(-1, 3)
    frame = _edge_frame(contact)
    spread = corners @ frame
    low, high = spread.min(axis=0), spread.max(axis=0)
    middle = frame @ ((low + high) / 2) + (region.point_mm @ inward) * inward
    thickness = _thickness_mm(body, middle, inward)
    if thickness is None or (high - low).max() < _SPRINGY * thickness:
        return None
    held = []
    for axis in (0, 1):
        half = (high[axis] - low[axis]) / 2 + _INTO_MM
        ends = (middle + sign * half * frame[:, axis] + thickness / 2 * inward for sign in (-1, 1))
        held.append(sum(winding(body.corners_mm, end) > 0.5 for end in ends))
    for axis in (0, 1):
        length = float(high[axis] - low[axis])
        is_narrow = float(high[1 - axis] - low[1 - axis]) <= _WIDEST_LEG * length
        is_free = held[axis] == 1 and held[1 - axis] == 0
        if is_free and is_narrow and length >= _SPRINGY * thickness:
            return length, thickness, frame[:, axis]
    return None


def _edge_frame(contact: Contact) -> Floats:
    """Return two directions in the plane of a contact, one along its longest edge."""
    edges = np.concatenate([np.roll(one, -1, axis=0) - one for one in contact.outlines_mm])
    along = edges[np.linalg.norm(edges, axis=1).argmax()]
    length = float(np.linalg.norm(along))
    if length == 0:
        return np.column_stack(crosswise(contact.normal))
    return np.column_stack([along / length, np.cross(contact.normal, along / length)])


def _thickness_mm(body: Body, start: Floats, way: Floats) -> float | None:
    """Return how far a ray goes through material from a point of the surface."""
    leaving = np.flatnonzero(body.normals @ way > 1e-6)  # faces through which the ray comes out
    normals = body.normals[leaving]
    a, b, c = np.moveaxis(body.corners_mm[leaving] - start, 1, 0)
    along = np.einsum("kx,kx->k", a, normals) / (normals @ way)
    hit = along[:, None] * way
    inside = along > 1e-3
    for u, v in ((a, b), (b, c), (c, a)):
        side = np.einsum("kx,kx->k", np.cross(v - u, hit - u), normals)
        inside &= side >= -1e-9
    return float(along[inside].min()) if inside.any() else None
