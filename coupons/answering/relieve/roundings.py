"""Roundings beside a face that moves: they go with it, and keep their radius where they can.

A rounding runs tangentially into one or two flat faces. Where one of them moves, the rounding is
shifted so that it stays tangential to both, with all of its strips as they were. Where both move by
as much, its strips move by as much too: the shape stays parallel to what it was, also in a slot
with round ends, whose radius then changes.

A pin or a hole may run out into a rounding at its end or mouth. That turns about the same axis, and
moves as far from it as the pin or hole does. Where roundings run together in a corner, the patch
between them goes with them.
"""

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from coupons.answering.meshes.body import Body, Floats, Ints
from coupons.answering.meshes.regions import ROUND, Region, SurfaceKind, round_of
from coupons.answering.meshes.rounds import PARALLEL
from coupons.answering.meshes.strips import SMOOTH
from coupons.answering.relieve.face_offset import MovedFaces
from coupons.answering.relieve.face_sizes import flat_share, out_of_axis

_WHOLE_DEG = 359.0
_SAME_MM = 1e-9
_LEVEL = 0.9999  # cosine between an axis and the normal of a face square to it
_ASKEW = np.sin(SMOOTH / 2)
"""How far the facets of a surface that turns about an axis may face past it."""


def carried(
    regions: Sequence[Region], offsets_mm: Mapping[int, float], names: Mapping[int, str]
) -> Iterator[MovedFaces]:
    """Yield the roundings that go with moved faces.

    Parameters
    ----------
    regions : sequence of Region
        All of a body.
    offsets_mm : mapping of int to float
        Of the triangles of the faces that move, by the number of their region.
    names : mapping of int to str
        What these faces are called; a rounding has the name of the face that it goes with.
    """
    work = _Carried(regions, offsets_mm, names)
    if any(offsets_mm.values()):
        work.edges_between_flat_faces()
        work.ends_of_rounds()
        work.corners_between_roundings()
    yield from work.found.values()


class _Carried:
    def __init__(
        self,
        regions: Sequence[Region],
        offsets_mm: Mapping[int, float],
        names: Mapping[int, str],
    ) -> None:
        self.regions, self.offsets_mm, self.names = regions, offsets_mm, names
        self.label = _labels(regions)
        self.beside = _smooth_neighbours(regions, self.label)
        self.found: dict[int, MovedFaces] = {}
        # The flat faces to which a rounding stays tangential, where it is shifted as it is.
        self.shifted: dict[int, list[int]] = {}
        # Round faces, and how far their corners move away from their axis.
        self.about: dict[int, tuple[Region, float]] = {}

    def edges_between_flat_faces(self) -> None:
        """Carry the roundings of edges."""
        for region in self.regions:
            if region.number in self.offsets_mm or not _is_rounding(region):
                continue
            beside = _tangential(region, self.regions, self.label)
            moved = [number for number in beside if self.offsets_mm.get(number)]
            if not moved:
                continue
            wanted = np.array([self.offsets_mm.get(number, 0.0) for number in beside])
            name = self.names[moved[0]]
            if len(wanted) > 1 and np.ptp(wanted) < _SAME_MM:
                steps = np.full(len(region.faces), wanted[0])
                corner_mm = float(wanted[0]) / flat_share(round_of(region))
                self.about[region.number] = (region, _outwards(region) * corner_mm)
            else:
                self.shifted[region.number] = beside
                steps = _shifted(region, [self.regions[number] for number in beside], wanted)
            self.found[region.number] = MovedFaces(name, region.faces, steps)

    def ends_of_rounds(self) -> None:
        """Carry what runs smoothly out of a pin or hole and turns about its axis."""
        for number, offset_mm in self.offsets_mm.items():
            region = self.regions[number]
            if region.kind in ROUND and offset_mm:
                share = flat_share(round_of(region)) / round_of(region).normal_share
                self.about[number] = (region, _outwards(region) * offset_mm / share)
        waiting = list(self.about)
        while waiting:
            number = waiting.pop()
            middle, outwards_mm = self.about[number]
            for other in sorted(self.beside[number]):
                region = self.regions[other]
                if self._is_taken(other) or not _turns_about(region, middle):
                    continue
                name = self.names.get(number) or self.found[number].name
                self.found[other] = self._turning(name, region, middle, outwards_mm)
                self.about[other] = (middle, outwards_mm)
                waiting.append(other)

    def _turning(self, name: str, region: Region, middle: Region, outwards_mm: float) -> MovedFaces:
        """Carry a region that turns about an axis away from it, and along with flat faces."""
        steps = outwards_mm * out_of_axis(region.corners_mm, round_of(middle))
        axis = round_of(middle).axis
        for number in self.beside[region.number]:
            flat = self.regions[number]
            if flat.kind is SurfaceKind.PLANE and abs(float(flat.normal @ axis)) > _LEVEL:
                steps = steps + self.offsets_mm.get(number, 0.0) * flat.normal
        return MovedFaces(name, region.faces, _square(region, steps), steps)

    def corners_between_roundings(self) -> None:
        """Carry the patches between roundings that are shifted."""
        for region in self.regions:
            if self._is_taken(region.number):
                continue
            lead = [number for number in self.beside[region.number] if number in self.shifted]
            if not lead:
                continue
            flat = {number for one in lead for number in self.shifted[one]}
            flat |= {
                n for n in self.beside[region.number] if self.regions[n].kind is SurfaceKind.PLANE
            }
            beside = sorted(flat)
            wanted = np.array([self.offsets_mm.get(number, 0.0) for number in beside])
            normals = np.array([self.regions[number].normal for number in beside])
            steps = np.broadcast_to(np.linalg.pinv(normals) @ wanted, region.corners_mm.shape)
            name = self.found[lead[0]].name
            self.found[region.number] = MovedFaces(
                name, region.faces, _square(region, steps), steps
            )

    def _is_taken(self, number: int) -> bool:
        """Tell whether a region is a face of its own, or goes with another one already."""
        return self.regions[number].kind is not SurfaceKind.FREE or number in self.found


def _is_rounding(region: Region) -> bool:
    one = region.cylinder
    return region.kind is SurfaceKind.CYLINDER and one is not None and one.arc_deg < _WHOLE_DEG


def _labels(regions: Sequence[Region]) -> Ints:
    label = np.zeros(sum(len(region.faces) for region in regions), dtype=np.int64)
    for region in regions:
        label[region.faces] = region.number
    return label


def _smooth_neighbours(regions: Sequence[Region], label: Ints) -> dict[int, set[int]]:
    """Return which regions run smoothly into each region, by number."""
    body: Body = regions[0].body
    sides = label[body.edges.triangles]
    rim = np.flatnonzero(sides[:, 0] != sides[:, 1])
    one, two = body.edges.triangles[rim].T
    turn = np.einsum("ij,ij->i", body.normals[one], body.normals[two])
    pairs = np.unique(sides[rim[turn > np.cos(SMOOTH)]], axis=0)
    found: dict[int, set[int]] = {region.number: set() for region in regions}
    for i, j in pairs.tolist():
        found[i].add(j)
        found[j].add(i)
    return found


def _tangential(region: Region, regions: Sequence[Region], label: Ints) -> list[int]:
    """Return the numbers of the flat faces that a rounding runs into along its length."""
    body: Body = region.body
    edges = body.edges
    sides = label[edges.triangles]
    at_rim = (sides == region.number).any(axis=1) & (sides[:, 0] != sides[:, 1])
    rim = np.flatnonzero(at_rim)
    ends = body.vertices_mm[edges.vertices[rim]]
    way = ends[:, 1] - ends[:, 0]
    way = way / np.linalg.norm(way, axis=1, keepdims=True)
    axis = region.cylinder.axis if region.cylinder is not None else np.zeros(3)
    along = np.linalg.norm(np.cross(way, axis), axis=1) < PARALLEL
    one, two = edges.triangles[rim, 0], edges.triangles[rim, 1]
    turn = np.einsum("ij,ij->i", body.normals[one], body.normals[two])
    smooth = along & (turn > np.cos(SMOOTH))
    others = np.where(sides[rim, 0] == region.number, sides[rim, 1], sides[rim, 0])
    found = np.unique(others[smooth]).tolist()
    return [number for number in found if regions[number].kind is SurfaceKind.PLANE]


def _shifted(region: Region, flat: Sequence[Region], wanted_mm: Floats) -> Floats:
    """Return the offset of each triangle of a region that goes with flat faces as it is."""
    shift = np.linalg.pinv(np.array([one.normal for one in flat])) @ wanted_mm
    return np.asarray(region.body.normals[region.faces] @ shift)


def _square(region: Region, steps_mm: Floats) -> Floats:
    """Return how far each triangle of a region goes along its normal as its corners move."""
    normals = region.body.normals[region.faces]
    return np.asarray(np.einsum("ij,ij->i", steps_mm.mean(axis=1), normals))


def _outwards(region: Region) -> float:
    """Return 1 for a round face that looks away from its axis, −1 for one that looks to it."""
    return -1.0 if round_of(region).is_inner else 1.0


def _turns_about(region: Region, middle: Region) -> bool:
    """Tell whether a region turns about the axis of a round face."""
    out = out_of_axis(region.corners_mm.mean(axis=1), round_of(middle))
    around = np.cross(round_of(middle).axis, out)
    past = np.einsum("ij,ij->i", region.body.normals[region.faces], around)
    return bool(np.abs(past).max() <= _ASKEW)
