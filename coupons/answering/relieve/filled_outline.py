"""Triangles that fill a flat outline, with given points inside it.

The outline is filled first; then the points are put in one by one, and diagonals are exchanged
until no triangle's circle holds the corner behind a diagonal (Delaunay's condition), and none has
less height than it must have.
"""

from collections.abc import Sequence
from math import atan2, dist, pi

import numpy as np

from coupons.answering.meshes.body import Floats, Ints
from coupons.making.output.solids import filled_outlines

_MOST_INSIDE = 20_000  # points; each is looked for among all triangles
_MOST_EXCHANGES = 40  # a triangle


def filled_sheet(
    outlines: Sequence[Ints], corners: Ints, places: Floats, narrow: float
) -> Ints | None:
    """Return triangles that fill outlines and have all corners, or None if that fails.

    Parameters
    ----------
    outlines : sequence of ndarray of int
        Corners in order, counter-clockwise; of a hole clockwise.
    corners : ndarray of int
        All corners, in the outlines and inside.
    places : ndarray of float, shape (n, 2)
        Of all corners that there are.
    narrow : float
        Height of a triangle that is avoided where it can be.
    """
    rim = np.concatenate(outlines)
    inside = np.setdiff1d(corners, rim)
    if len(inside) > _MOST_INSIDE:
        return None
    start = rim[filled_outlines([places[line] for line in outlines])]
    sheet = _Sheet(start, corners, places, len(start) + 2 * len(inside), narrow)
    sheet.exchange(range(len(start)))
    for corner in inside.tolist():
        sheet.put_in(corner)
    return sheet.triangles


class _Sheet:
    def __init__(
        self, start: Ints, corners: Ints, places: Floats, room: int, narrow: float
    ) -> None:
        self.places, self.narrow = places, narrow
        self._points = {corner: places[corner].tolist() for corner in corners.tolist()}
        self.count = len(start)
        self._rows = np.zeros((room, 3), dtype=np.int64)
        self._rows[: self.count] = start
        self._at = {
            edge: row for row, corners in enumerate(start.tolist()) for edge in _edges_of(corners)
        }

    @property
    def triangles(self) -> Ints:
        return self._rows[: self.count]

    def put_in(self, corner: int) -> None:
        """Divide the triangle around a corner into three."""
        a, b, c = np.moveaxis(self.places[self.triangles], 1, 0) - self.places[corner]
        # Of a point inside, all three are positive; of one on an edge, one is 0.
        least = np.min([_cross(a, b), _cross(b, c), _cross(c, a)], axis=0)
        row = int(least.argmax())
        a_, b_, c_ = self._rows[row].tolist()
        fresh = [row, self.count, self.count + 1]
        self.count += 2
        for at, one in zip(fresh, ((a_, b_), (b_, c_), (c_, a_)), strict=True):
            self._set(at, (*one, corner))
        self.exchange(fresh)

    def exchange(self, rows: Sequence[int]) -> None:
        """Exchange diagonals, beginning with those of some triangles, until all are good."""
        waiting = list(rows)
        for _ in range(_MOST_EXCHANGES * self.count):
            if not waiting:
                return
            row = waiting.pop()
            for a, b, c in _turns(self._rows[row].tolist()):
                other = self._at.get((b, a))
                if other is None:
                    continue
                d = int(self._rows[other].sum()) - a - b
                if self._is_better(a, b, c, d):
                    del self._at[(a, b)], self._at[(b, a)]
                    self._set(row, (a, d, c))
                    self._set(other, (d, b, c))
                    waiting += [row, other]
                    break

    def _set(self, row: int, corners: tuple[int, int, int]) -> None:
        self._rows[row] = corners
        for edge in _edges_of(corners):
            self._at[edge] = row

    def _is_better(self, a: int, b: int, c: int, d: int) -> bool:
        """Tell whether c–d is the better diagonal of a quadrangle than a–b."""
        if c == d or (c, d) in self._at or (d, c) in self._at:
            return False
        p, q, r, s = (self._points[one] for one in (a, b, c, d))
        after = min(_height(p, s, r), _height(s, q, r))
        if after <= 0:
            return False
        before = min(_height(p, q, r), _height(q, p, s))
        if min(before, after) < self.narrow:
            return after > before
        return _angle(p, q, r) + _angle(q, p, s) > pi + 1e-9


def _edges_of(corners: Sequence[int]) -> tuple[tuple[int, int], ...]:
    a, b, c = corners
    return (a, b), (b, c), (c, a)


def _turns(corners: Sequence[int]) -> tuple[tuple[int, int, int], ...]:
    a, b, c = corners
    return (a, b, c), (b, c, a), (c, a, b)


def _cross(a: Floats, b: Floats) -> Floats:
    return np.asarray(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])


def _height(a: list[float], b: list[float], c: list[float]) -> float:
    """Return the least height of a triangle, negative if it is turned over."""
    doubled = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    longest = max(dist(a, b), dist(b, c), dist(c, a))
    return doubled / longest if longest > 0 else 0.0


def _angle(start: list[float], stop: list[float], at: list[float]) -> float:
    """Return the angle at a corner between the ways to two others."""
    ux, uy, vx, vy = start[0] - at[0], start[1] - at[1], stop[0] - at[0], stop[1] - at[1]
    return atan2(ux * vy - uy * vx, ux * vx + uy * vy)
