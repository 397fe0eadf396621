"""Cut flat faces into triangles anew where moved corners turn some of them over.

A face stays what it is as its corners move in its plane, but a narrow triangle in it may be turned
over: a corner goes across the edge opposite. Then the two triangles at this edge are cut along the
other diagonal of their quadrangle. Where many corners move at once, this is done in small steps, in
which one corner after the other comes to such an edge. No corner moves otherwise, the surface stays
closed, and both triangles stay in their face.
"""

from dataclasses import dataclass
from functools import cached_property
from math import dist, hypot

import numpy as np
from numpy.typing import NDArray

from coupons.answering.meshes.body import Floats, Ints, lengths_of
from coupons.answering.meshes.ordering import stable_order

_STEPS = (1, 8)  # tried in turn, as long as triangles are left turned over
FEW = 100
"""With more turned over, corners in the middle of the face are in the way, which no cut helps."""
_ROUNDED_MM = 1e-9  # more than numbers of 64 bits are rounded by
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
    flat: NDArray[np.bool_]
    ways: Floats
    flat_mm: float

    @property
    def narrow_mm(self) -> float:
        """The height of a triangle whose normal cannot be trusted."""
        return 2 * self.flat_mm

    def turned(self, corners_mm: Floats, triangles: Ints) -> Ints:
        """Return the triangles that are turned over, or lost their height.

        Parameters
        ----------
        corners_mm : ndarray of float, shape (n, 3)
            All corners, somewhere on their way.
        triangles : ndarray of int, shape (m, 3)
            All triangles; some may be cut anew.
        """
        first, second, third = (triangles != self.triangles).T
        is_cut = first | second | third
        at = np.flatnonzero(self._may_turn | is_cut[self.some])
        return self.some[at[self._is_turned(corners_mm, triangles, at)]]

    @cached_property
    def _may_turn(self) -> NDArray[np.bool_]:
        """Which of the moving triangles are not too high to turn over anywhere on their way.

        Where the edges from one corner change by no more than s, twice the area of a triangle with
        the longest edge L changes by no more than 2 L s + s², and L by no more than 2 s.
        """
        rows = self.triangles[self.some]
        first, second, third = (
            np.take(self.to_mm, rows[:, k], axis=0) - np.take(self.from_mm, rows[:, k], axis=0)
            for k in range(3)
        )
        change = np.maximum(lengths_of(second - first), lengths_of(third - first)) + _ROUNDED_MM
        doubled, longest = self._sizes(self.from_mm, self.triangles, self.some)
        least = doubled - (2 * longest + change) * change
        return np.asarray(self.flat | (least <= self.flat_mm * (longest + 2 * change)))

    def _is_turned(self, corners_mm: Floats, triangles: Ints, at: Ints) -> NDArray[np.bool_]:
        some = self.some[at]
        doubled, longest = self._sizes(corners_mm, triangles, some)
        high_mm = doubled / np.where(longest > 0, longest, 1)
        least_mm = np.where(self.flat[at], -self.flat_mm, self.flat_mm)
        return np.asarray(self.ways[some].any(axis=1) & (high_mm <= least_mm))

    def _sizes(self, corners_mm: Floats, triangles: Ints, some: Ints) -> tuple[Floats, Floats]:
        """Return twice the area of triangles as they are to face, and their longest edges."""
        a, b, c = (np.take(corners_mm, triangles[some, k], axis=0) for k in range(3))
        ab, ac = b - a, c - a
        longest = np.maximum(np.maximum(lengths_of(ab), lengths_of(ac)), lengths_of(c - b))
        return np.einsum("ij,ij->i", np.cross(ab, ac), self.ways[some]), longest

    @cached_property
    def edges(self) -> tuple[Ints, Ints]:
        """The directed edges of all triangles in order, as start · n + end, and their triangles."""
        starts, ends = self.triangles.ravel(), np.roll(self.triangles, -1, axis=1).ravel()
        key = starts * len(self.from_mm) + ends
        order = stable_order(key)
        return key[order], order // 3


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
        self._keys, self._rows = moving.edges
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
