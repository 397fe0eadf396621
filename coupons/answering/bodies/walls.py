"""How thick a body is behind its faces, and where its faces cross, triangle by triangle.

Both are exact for flat triangles, not sampled. Two triangles that face apart have the least depth
of plastic between them at a corner of their overlap, as seen along the normal of one: at a corner
of one over the other, or where two edges cross. Two triangles cross where an edge of one goes
through the inside of the other.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coupons.answering.bodies.triangle_tree import TriangleTree, near_pairs

_APART = -0.94
"""Cosine between normals from which two faces count as the two sides of a wall (20°)."""
_SAME_WAY = 0.1
"""Cosine between normals from which two faces look the same way."""
_TOUCHING_MM = 1e-4
"""Triangles that go through one another by less only touch: 32-bit places are off by as much."""
_EDGES = ((0, 1), (1, 2), (2, 0))
_PORTION = 200_000  # of pairs held at once


@dataclass(frozen=True)
class Mesh:
    """Triangles in space, with what is often asked of them.

    Parameters
    ----------
    vertices_mm : array, shape (v, 3)
    triangles : array of int, shape (n, 3)
    """

    vertices_mm: NDArray[np.floating]
    triangles: NDArray[np.integer]

    @property
    def corners_mm(self) -> NDArray[np.floating]:
        """Corners of each triangle, shape (n, 3, 3)."""
        return np.asarray(self.vertices_mm[self.triangles])


def normals_of(
    corners_mm: NDArray[np.floating],
) -> tuple[NDArray[np.floating], NDArray[np.floating]]:
    """Return the normal of each triangle, zero where it has none, and twice its area."""
    cross = np.cross(corners_mm[:, 1] - corners_mm[:, 0], corners_mm[:, 2] - corners_mm[:, 0])
    double_area = np.linalg.norm(cross, axis=1)
    return cross / np.where(double_area > 0, double_area, 1)[:, None], double_area


def crossing_pairs(mesh: Mesh, some: NDArray[np.intp]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the pairs of triangles that go through one another, of which one is among ``some``.

    Triangles with a common corner are not compared, nor those that face the same way: where a
    closed body begins to cross itself, faces look at one another.
    """
    corners = mesh.corners_mm
    found: list[tuple[NDArray[np.intp], NDArray[np.intp]]] = []
    for ones, others in _near(corners, corners[some], some, _SAME_WAY):
        apart = _share_no_corner(mesh.triangles, ones, others)
        ones, others = ones[apart], others[apart]
        crosses = _edge_through(corners[ones], corners[others])
        crosses |= _edge_through(corners[others], corners[ones])
        found.append((ones[crosses], others[crosses]))
    return _joined(found)


def _near(
    corners: NDArray[np.floating],
    reach: NDArray[np.floating],
    some: NDArray[np.intp],
    facing_below: float,
) -> Iterator[tuple[NDArray[np.intp], NDArray[np.intp]]]:
    """Yield pairs of one of some triangles, which reach through space, and one of all."""
    normals, _ = normals_of(corners)
    every = TriangleTree(*_box(corners), normals)
    asked = TriangleTree(*_box(reach), normals[some])
    for ones, others in near_pairs(asked, every, facing_below):
        for start in range(0, len(ones), _PORTION):
            part = slice(start, start + _PORTION)
            yield some[ones[part]], others[part]


def _box(points: NDArray[np.floating]) -> tuple[NDArray[np.floating], NDArray[np.floating]]:
    """Return the low and high corners of the boxes around some points each."""
    low = high = points[:, 0]
    for k in range(1, points.shape[1]):
        low, high = np.minimum(low, points[:, k]), np.maximum(high, points[:, k])
    return low, high


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

    front: NDArray[np.intp]
    back: NDArray[np.intp]
    depth_mm: NDArray[np.floating]


def walls_behind(mesh: Mesh, some: NDArray[np.intp], within_mm: float) -> Walls:
    """Return the walls behind some triangles that are not thicker than a limit.

    Parameters
    ----------
    mesh : Mesh
    some : array of int
        The triangles asked about.
    within_mm : float
        Thicker walls are left out. A negative limit asks for the air in front instead, which then
        has negative depths.
    """
    corners = mesh.corners_mm
    normals, _ = normals_of(corners)
    inward = -within_mm * normals[some][:, None, :]
    swept = np.concatenate([corners[some], corners[some] + inward], axis=1)
    side = 1.0 if within_mm >= 0 else -1.0
    fronts, backs, depths = [], [], []
    for ones, others in _near(corners, swept, some, _APART):
        depth = _least_depth(corners[ones], corners[others], normals[ones], normals[others], side)
        thin = depth <= abs(within_mm)
        fronts.append(ones[thin])
        backs.append(others[thin])
        depths.append(side * depth[thin])
    if not fronts:
        none = np.zeros(0, dtype=np.intp)
        return Walls(none, none, np.zeros(0))
    return Walls(np.concatenate(fronts), np.concatenate(backs), np.concatenate(depths))


def _joined(
    found: list[tuple[NDArray[np.intp], NDArray[np.intp]]],
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    if not found:
        return np.zeros(0, dtype=np.intp), np.zeros(0, dtype=np.intp)
    return np.concatenate([one for one, _ in found]), np.concatenate([two for _, two in found])


def _share_no_corner(
    triangles: NDArray[np.integer], ones: NDArray[np.intp], others: NDArray[np.intp]
) -> NDArray[np.bool_]:
    same = triangles[ones][:, :, None] == triangles[others][:, None, :]
    apart: NDArray[np.bool_] = ~same.any(axis=(1, 2))
    return apart


def _edge_through(edged: NDArray[np.floating], faced: NDArray[np.floating]) -> NDArray[np.bool_]:
    """Tell for each pair whether an edge of the first goes through the inside of the second."""
    normal, _ = normals_of(faced)
    height = np.einsum("ijk,ik->ij", edged - faced[:, :1], normal)
    through = np.zeros(len(edged), dtype=bool)
    for a, b in _EDGES:
        up, down = height[:, a], height[:, b]
        sides = (np.minimum(up, down) < -_TOUCHING_MM) & (np.maximum(up, down) > _TOUCHING_MM)
        where = np.flatnonzero(sides)
        share = (up[where] / (up[where] - down[where]))[:, None]
        point = edged[where, a] + share * (edged[where, b] - edged[where, a])
        through[where] |= _inside(point, faced[where], normal[where], _TOUCHING_MM)
    return through


def _inside(
    point: NDArray[np.floating],
    corners: NDArray[np.floating],
    normal: NDArray[np.floating],
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


def _least_depth(
    front: NDArray[np.floating],
    back: NDArray[np.floating],
    front_normal: NDArray[np.floating],
    back_normal: NDArray[np.floating],
    side: float,
) -> NDArray[np.floating]:
    """Return the least distance of each back behind its front, along the front's normal.

    It is infinite where the two are not over one another. With ``side`` −1 it is the distance in
    front.
    """
    least = np.full(len(front), np.inf)
    slant = np.einsum("ij,ij->i", front_normal, back_normal)  # about -1

    def take(hit: NDArray[np.bool_], depth: NDArray[np.floating]) -> None:
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
    a: NDArray[np.floating],
    b: NDArray[np.floating],
    c: NDArray[np.floating],
    d: NDArray[np.floating],
    along: NDArray[np.floating],
) -> NDArray[np.floating]:
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
