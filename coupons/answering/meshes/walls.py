"""How thick a body is behind its faces, and how much air is in front, triangle by triangle.

It is exact for flat triangles, not sampled. Two triangles that face apart have the least depth of
plastic between them at a corner of their overlap, as seen along the normal of one: at a corner of
one over the other, or where two edges cross.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coupons.answering.meshes.body import Body, Floats, Ints, boxes_of
from coupons.answering.meshes.box_tree import box_tree, overlapping_and_facing

_APART = -0.94
"""Scalar product of the normals of two faces that count as the two sides of a wall (20°)."""
_TOUCHING_MM = 1e-4
_EDGES = ((0, 1), (1, 2), (2, 0))
_PORTION = 200_000  # of pairs held at once


@dataclass(frozen=True)
class Walls:
    """Pairs of triangles with plastic between them, and how much of it.

    Parameters
    ----------
    front, back : array of int
        Triangles; ``front`` is one of those asked about.
    depth_mm : array
        The least, along the normal of ``front``.
    """

    front: Ints
    back: Ints
    depth_mm: Floats


def walls_behind(body: Body, some: Ints, within_mm: float) -> Walls:
    """Return the walls behind some triangles that are not thicker than a limit.

    Parameters
    ----------
    body : Body
    some : ndarray of int
        The triangles asked about.
    within_mm : float
        Thicker walls are left out. A negative limit asks for the air in front instead, which then
        has negative depths.
    """
    side = 1.0 if within_mm >= 0 else -1.0
    fronts, backs = [np.empty(0, dtype=np.int64)], [np.empty(0, dtype=np.int64)]
    depths = [np.empty(0)]
    for ones, others in _apart(body, some, within_mm):
        depth = _least_depth(body, ones, others, side)
        thin = depth <= abs(within_mm)
        fronts.append(ones[thin])
        backs.append(others[thin])
        depths.append(side * depth[thin])
    return Walls(np.concatenate(fronts), np.concatenate(backs), np.concatenate(depths))


def _apart(body: Body, some: Ints, within_mm: float) -> Iterator[tuple[Ints, Ints]]:
    """Yield pairs of one of some triangles and another on the other side of a wall."""
    corners = body.corners_mm
    low, high = boxes_of(corners[some])
    inward = within_mm * body.normals[some]
    low, high = np.minimum(low, low - inward), np.maximum(high, high - inward)
    every = box_tree(*boxes_of(corners), normals=body.normals)
    asked = box_tree(low, high, normals=body.normals[some])
    for ones, others in overlapping_and_facing(asked, every, _APART):
        for start in range(0, len(ones), _PORTION):
            part = slice(start, start + _PORTION)
            yield some[ones[part]], others[part]


def _inside(
    point: Floats,
    corners: Floats,
    normal: Floats,
    margin_mm: float,
) -> NDArray[np.bool_]:
    """Tell whether points, seen along the normals, lie inside triangles by more than a margin."""
    inside = np.ones(len(point), dtype=bool)
    for a, b in _EDGES:
        edge = corners[:, b] - corners[:, a]
        length = np.linalg.norm(edge, axis=1)
        left = np.einsum("ij,ij->i", np.cross(normal, edge), point - corners[:, a])
        inside &= left > margin_mm * length
    return inside


def _least_depth(body: Body, ones: Ints, others: Ints, side: float) -> Floats:
    """Return the least distance of each back behind its front, along the front's normal.

    It is infinite where the two are not over one another. With ``side`` −1 it is the distance in
    front.
    """
    front, back = body.corners_mm[ones], body.corners_mm[others]
    front_normal, back_normal = body.normals[ones], body.normals[others]
    least = np.full(len(front), np.inf)
    slant = np.einsum("ij,ij->i", front_normal, back_normal)  # about -1

    def take(hit: NDArray[np.bool_], depth: Floats) -> None:
        hit &= side * depth > _TOUCHING_MM
        least[hit] = np.minimum(least[hit], side * depth[hit])

    for corner in range(3):
        # A corner of the back, seen from the front.
        depth = np.einsum("ij,ij->i", front[:, 0] - back[:, corner], front_normal)
        take(_inside(back[:, corner], front, front_normal, 0.0), depth)
        # A corner of the front: along its normal to the plane of the back.
        over = np.einsum("ij,ij->i", front[:, corner] - back[:, 0], back_normal)
        depth = over / np.where(slant < 0, slant, -1.0)
        point = front[:, corner] - depth[:, None] * front_normal
        take(_inside(point, back, back_normal, 0.0), depth)
    for a, b in _EDGES:
        for c, d in _EDGES:
            depth = _edges_cross(front[:, a], front[:, b], back[:, c], back[:, d], front_normal)
            take(np.isfinite(depth), depth)
    return least


def _edges_cross(
    a: Floats,
    b: Floats,
    c: Floats,
    d: Floats,
    along: Floats,
) -> Floats:
    """Return how far a-b is in front of c-d where the two cross as seen along; nan if nowhere."""
    first, second, between = b - a, d - c, c - a
    area = np.einsum("ij,ij->i", np.cross(first, second), along)
    parallel = np.abs(area) < 1e-9
    area = np.where(parallel, 1.0, area)
    on_first = np.einsum("ij,ij->i", np.cross(between, second), along) / area
    on_second = np.einsum("ij,ij->i", np.cross(between, first), along) / area
    crosses = ~parallel & (on_first >= 0) & (on_first <= 1) & (on_second >= 0) & (on_second <= 1)
    gap = a + on_first[:, None] * first - c - on_second[:, None] * second
    return np.where(crosses, np.einsum("ij,ij->i", gap, along), np.nan)
