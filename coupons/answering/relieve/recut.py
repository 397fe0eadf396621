"""Cut flat faces into triangles anew where moved corners turn some of them over.

A face stays what it is as its corners move in its plane, but a narrow triangle in it may be turned
over: a corner goes across the edge opposite. Then the two triangles at this edge are cut along the
other diagonal of their quadrangle. Where many corners move at once, this is done in small steps, in
which one corner after the other comes to such an edge. No corner moves otherwise, the surface stays
closed, and both triangles stay in their face.
"""

from dataclasses import dataclass
from math import dist, hypot

import numpy as np

from coupons.answering.meshes.body import Floats, Ints

_STEPS = (1, 8)  # tried in turn, as long as triangles are left turned over
FEW = 100
"""With more turned over, corners in the middle of the face are in the way, which no cut helps."""
_MOST_CUTS = 50  # per triangle that is turned over in a step


@dataclass(frozen=True, eq=False)
class Moving:
    """Triangles whose corners move.

    Parameters
    ----------
    from_mm, to_mm : ndarray of float, shape (n, 3)
        All corners before and after.
    triangles : ndarray of int, shape (m, 3)
        All triangles before.
    some : ndarray of int
        Those with a corner that moves.
    flat : ndarray of bool
        Which of these have no height before, and need none after.
    ways : ndarray of float, shape (m, 3)
        Which way each triangle is to face; zero where it does not matter.
    flat_mm : float
        Corners this close to a plane are in it.
    """

    from_mm: Floats
    to_mm: Floats
    triangles: Ints
    some: Ints
    flat: np.ndarray[tuple[int], np.dtype[np.bool_]]
    ways: Floats
    flat_mm: float

    @property
    def narrow_mm(self) -> float:
        """The height of a triangle whose normal cannot be trusted."""
        return 2 * self.flat_mm

    def turned(self, corners_mm: Floats, triangles: Ints) -> Ints:
        """Return the triangles that are turned over, or lost their height."""
        a, b, c = np.moveaxis(corners_mm[triangles[self.some]], 1, 0)
        edges = np.array([b - a, c - b, a - c])
        longest = np.sqrt(np.einsum("kij,kij->ki", edges, edges).max(axis=0))
        doubled = np.einsum("ij,ij->i", np.cross(b - a, c - a), self.ways[self.some])
        high_mm = doubled / np.where(longest > 0, longest, 1)
        known = self.ways[self.some].any(axis=1)
        least_mm = np.where(self.flat, -self.flat_mm, self.flat_mm)
        return np.asarray(self.some[known & (high_mm <= least_mm)])


def recut(moving: Moving, most: int | None = None) -> tuple[Ints, Ints]:
    """Return the triangles after the move, and which of them are turned over for all that.

    A triangle that goes over the end of its face stays turned over. If more than ``most`` are
    turned over, none is cut.
    """
    left = moving.turned(moving.to_mm, moving.triangles)
    triangles = moving.triangles
    for steps in _STEPS:
        if not len(left) or (most is not None and len(left) > most):
            break
        triangles = moving.triangles.copy()
        cutter = _Cutter(moving, triangles)
        for step in range(1, steps + 1):
            share = step / steps
            cutter.corners_mm = (1 - share) * moving.from_mm + share * moving.to_mm
            cutter.cut_all(moving.turned(cutter.corners_mm, triangles).tolist())
        left = moving.turned(moving.to_mm, triangles)
    return triangles, left


class _Cutter:
    def __init__(self, moving: Moving, triangles: Ints) -> None:
        self.ways, self.flat_mm = moving.ways, moving.flat_mm
        self.triangles = triangles
        self.corners_mm = moving.from_mm
        self._many = len(moving.from_mm)
        starts, ends = triangles.ravel(), np.roll(triangles, -1, axis=1).ravel()
        key = starts * self._many + ends
        order = np.argsort(key, kind="stable")
        self._keys, self._rows = key[order], order // 3
        self._new: dict[tuple[int, int], int] = {}

    def cut_all(self, waiting: list[int]) -> None:
        """Cut triangles that are turned over, and those that this turns over in their place."""
        for _ in range(_MOST_CUTS * len(waiting)):
            if not waiting:
                return
            waiting += self._cut(waiting.pop())

    def _cut(self, row: int) -> list[int]:
        """Cut a triangle and its neighbour along the other diagonal; return what is still bad."""
        way = self.ways[row]
        corners = self.triangles[row].tolist()
        if self._height(corners, way) > self.flat_mm:
            return []
        a, b, c = self._longest_first(corners)
        other = self._at(b, a)
        d = next(one for one in self.triangles[other].tolist() if one not in (a, b))
        # A diagonal that is there already would join four triangles.
        if not self._is_flat(other, d, a, way) or self._at(c, d) >= 0 or self._at(d, c) >= 0:
            return []
        cuts = (a, d, c), (d, b, c)
        before = min(self._height(corners, way), self._height([b, a, d], way))
        heights = [self._height(list(cut), way) for cut in cuts]
        if min(heights) <= before:
            return []
        for at, cut in zip((row, other), cuts, strict=True):
            self.triangles[at] = cut
            self._new |= {(cut[k], cut[(k + 1) % 3]): at for k in range(3)}
        return [at for at, high in zip((row, other), heights, strict=True) if high <= self.flat_mm]

    def _at(self, start: int, end: int) -> int:
        """Return the triangle that runs along an edge from start to end; −1 if there is none."""
        row = self._new.get((start, end), -1)
        if row < 0:
            key = start * self._many + end
            at = min(int(np.searchsorted(self._keys, key)), len(self._keys) - 1)
            row = int(self._rows[at]) if self._keys[at] == key else -1
        a, b, c = self.triangles[row].tolist()
        return row if row >= 0 and (start, end) in ((a, b), (b, c), (c, a)) else -1

    def _is_flat(self, row: int, corner: int, on_plane: int, way: Floats) -> bool:
        off_mm = float((self.corners_mm[corner] - self.corners_mm[on_plane]) @ way)
        return abs(off_mm) <= 4 * self.flat_mm and float(self.ways[row] @ way) > 0.9

    def _longest_first(self, corners: list[int]) -> tuple[int, int, int]:
        a, b, c = self.corners_mm[corners].tolist()
        lengths = dist(a, b), dist(b, c), dist(c, a)
        k = lengths.index(max(lengths))
        return corners[k], corners[(k + 1) % 3], corners[(k + 2) % 3]

    def _height(self, corners: list[int], way: Floats) -> float:
        """Return the least height of a triangle, negative if it is turned over."""
        # Plain numbers: for three corners an array costs ten times as much.
        (ax, ay, az), (bx, by, bz), (cx, cy, cz) = self.corners_mm[corners].tolist()
        ux, uy, uz, vx, vy, vz = bx - ax, by - ay, bz - az, cx - ax, cy - ay, cz - az
        x, y, z = way.tolist()
        doubled = x * (uy * vz - uz * vy) + y * (uz * vx - ux * vz) + z * (ux * vy - uy * vx)
        longest = max(hypot(ux, uy, uz), hypot(vx, vy, vz), hypot(cx - bx, cy - by, cz - bz))
        return doubled / longest if longest > 0 else 0.0
