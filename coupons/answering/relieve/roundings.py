"""Roundings beside a face that moves: they go with it, and keep their radius where they can.

A rounding runs tangentially into one or two flat faces. Where one of them moves, the rounding is
shifted so that it stays tangential to both, with all of its strips as they were. Where both move by
as much, its strips move by as much too: the shape stays parallel to what it was, also in a slot
with round ends, whose radius then changes.
"""

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from coupons.answering.meshes.body import Body, Floats, Ints
from coupons.answering.meshes.regions import Kind, Region
from coupons.answering.meshes.rounds import PARALLEL
from coupons.answering.meshes.strips import SMOOTH
from coupons.answering.relieve.face_offset import MovedFaces

_WHOLE_DEG = 359.0
_SAME_MM = 1e-9


def carried(
    regions: Sequence[Region], offsets_mm: Mapping[int, float], names: Mapping[int, str]
) -> Iterator[MovedFaces]:
    """Yield the roundings that go with moved faces.

    Parameters
    ----------
    regions : sequence of Region
        All of a body.
    offsets_mm : mapping of int to float
        Of the faces that move, by the number of their region.
    names : mapping of int to str
        What these faces are called; a rounding has the name of the face that it goes with.
    """
    label = _labels(regions)
    for region in regions:
        if region.number in offsets_mm or not _is_rounding(region):
            continue
        beside = _tangential(region, regions, label)
        moved = [number for number in beside if offsets_mm.get(number)]
        if not moved:
            continue
        wanted = np.array([offsets_mm.get(number, 0.0) for number in beside])
        normals = np.array([regions[number].normal for number in beside])
        yield MovedFaces(names[moved[0]], region.faces, _steps(region, normals, wanted))


def _is_rounding(region: Region) -> bool:
    one = region.cylinder
    return region.kind is Kind.CYLINDER and one is not None and one.arc_deg < _WHOLE_DEG


def _labels(regions: Sequence[Region]) -> Ints:
    label = np.zeros(sum(len(region.faces) for region in regions), dtype=np.int64)
    for region in regions:
        label[region.faces] = region.number
    return label


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
    return [number for number in found if regions[number].kind is Kind.PLANE]


def _steps(region: Region, normals: Floats, wanted: Floats) -> Floats:
    """Return the offset of each triangle of a rounding."""
    if len(wanted) > 1 and np.ptp(wanted) < _SAME_MM:
        return np.full(len(region.faces), wanted[0])
    shift = np.linalg.pinv(normals) @ wanted
    return np.asarray(region.body.normals[region.faces] @ shift)
