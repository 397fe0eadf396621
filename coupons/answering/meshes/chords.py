"""How far lines run inside two bodies at once.

Parallel lines on a grid are laid through the box that two bodies share. Triangles are taken line by
line, as a scan goes over them, so that the work grows with the triangles and with what lies inside,
and not with how slim the triangles are. An edge is computed alike for both of its triangles: no
line slips through between them.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coupons.answering.meshes.body import Body, Floats, Ints

_ASIDE = (np.sqrt(2) - 1, np.sqrt(3) - 1)
"""Of the grid's pitch, so that lines do not run along faces that were drawn in whole numbers."""

_MOST_CROSSED = 300_000  # rows of lines, over all triangles: about 30 MB


@dataclass(frozen=True, eq=False)
class Chords:
    """Pieces of lines that lie inside two bodies at once.

    Parameters
    ----------
    middles_mm : ndarray of float, shape (n, 3)
    lengths_mm : ndarray of float, shape (n,)
    axis : ndarray of int, shape (n,)
        Along which each runs: 0, 1 or 2.
    bodies, triangles : ndarray of int, shape (n, 2)
        Whose surface it begins and ends at, 0 or 1, and at which triangle.
    """

    middles_mm: Floats
    lengths_mm: Floats
    axis: Ints
    bodies: Ints
    triangles: Ints

    @property
    def ends_mm(self) -> Floats:
        """Both ends of each, shape (2 n, 3): places on a surface."""
        half = np.zeros_like(self.middles_mm)
        half[np.arange(len(half)), self.axis] = self.lengths_mm / 2
        return np.concatenate([self.middles_mm - half, self.middles_mm + half])

    def of(self, chosen: Ints) -> "Chords":
        """Return some of them."""
        return Chords(
            self.middles_mm[chosen],
            self.lengths_mm[chosen],
            self.axis[chosen],
            self.bodies[chosen],
            self.triangles[chosen],
        )


@dataclass(frozen=True)
class _Grid:
    """Parallel lines along an axis: the two axes across, and where the lines stand on them."""

    axis: int
    start_mm: tuple[float, float]
    pitch_mm: tuple[float, float]
    count: tuple[int, int]

    @property
    def across(self) -> tuple[int, int]:
        return (self.axis + 1) % 3, (self.axis + 2) % 3

    def steps(self, side: int, place_mm: Floats) -> Ints:
        """Return the first line at or after places on one of the axes across."""
        step = np.ceil((place_mm - self.start_mm[side]) / self.pitch_mm[side])
        return np.asarray(np.clip(step, 0, self.count[side]), dtype=np.int64)

    def place_mm(self, side: int, line: Ints) -> Floats:
        return np.asarray(self.start_mm[side] + line * self.pitch_mm[side])


@dataclass(frozen=True, eq=False)
class _Hits:
    """Where lines go through a surface: line, place along it, +1 into the body, and triangle."""

    line: Ints
    along_mm: Floats
    inward: Ints
    triangle: Ints


def common_chords(
    bodies: tuple[Body, Body], box_mm: Floats, pitch_mm: float, most: int, longer_mm: float
) -> Chords:
    """Find where lines along x, y and z lie inside both of two bodies.

    Parameters
    ----------
    bodies : tuple of Body
    box_mm : ndarray of float, shape (2, 3)
        Lowest and highest corner of what is looked through.
    pitch_mm : float
        From line to line; wider where there would be too many.
    most : int
        Lines in a row.
    longer_mm : float
        Shorter pieces are left out.
    """
    return _together(
        [
            _along([_hits(body, grid) for body in bodies], grid, longer_mm)
            for grid in (_grid(box_mm, axis, pitch_mm, most) for axis in range(3))
        ]
    )


def _grid(box_mm: Floats, axis: int, pitch_mm: float, most: int) -> _Grid:
    across = (axis + 1) % 3, (axis + 2) % 3
    extents = [float(box_mm[1, one] - box_mm[0, one]) for one in across]
    counts = [int(np.clip(np.ceil(extent / pitch_mm), 1, most)) for extent in extents]
    pitches = [extent / count for extent, count in zip(extents, counts, strict=True)]
    starts = [
        float(box_mm[0, one]) + aside * pitch
        for one, aside, pitch in zip(across, _ASIDE, pitches, strict=True)
    ]
    return _Grid(axis, (starts[0], starts[1]), (pitches[0], pitches[1]), (counts[0], counts[1]))


def _hits(body: Body, grid: _Grid) -> _Hits:
    """Return where the lines of a grid go through a body's surface."""
    u, v = grid.across
    steps = [grid.steps(side, body.vertices_mm[:, axis]) for side, axis in enumerate((u, v))]
    crossed = np.flatnonzero(_spans(steps[0], body.triangles) & _spans(steps[1], body.triangles))
    corners = body.triangles[crossed]
    order = np.argsort(body.vertices_mm[corners, u], axis=1, kind="stable")
    low, middle, high = np.take_along_axis(corners, order, axis=1).T
    first, change, stop = (steps[0][one] for one in (low, middle, high))
    # Long slim triangles are crossed by very many lines: every second row, or fewer, then does.
    stride = 1 + int((stop - first).sum()) // _MOST_CROSSED
    which, row = _each(-(-first // stride), -(-stop // stride))
    row *= stride
    at_mm = grid.place_mm(0, row)
    one = _on_edge(body, (u, v), low[which], high[which], at_mm)
    before = row < change[which]
    start = np.where(before, low[which], middle[which])
    end = np.where(before, middle[which], high[which])
    two = _on_edge(body, (u, v), start, end, at_mm)
    ends = np.sort(np.column_stack([grid.steps(1, one), grid.steps(1, two)]), axis=1)
    piece, column = _each(ends[:, 0], ends[:, 1])
    triangle, row = crossed[which[piece]], row[piece]
    return _through(body, grid, triangle, row, column)


def _spans(step: Ints, triangles: Ints) -> NDArray[np.bool_]:
    """Tell which triangles have corners on both sides of a line."""
    a, b, c = (step[triangles[:, corner]] for corner in range(3))
    return np.asarray((a != b) | (b != c))


def _each(first: Ints, stop: Ints) -> tuple[Ints, Ints]:
    """Write out ranges: to which each number belongs, and the number."""
    many = stop - first
    which = np.repeat(np.arange(len(first)), many)
    start = np.cumsum(many) - many
    return which, np.arange(int(many.sum())) - start[which] + first[which]


def _on_edge(body: Body, across: tuple[int, int], start: Ints, end: Ints, at_mm: Floats) -> Floats:
    """Return where edges are on the second axis at a place on the first, within their ends."""
    u, v = (body.vertices_mm[:, axis] for axis in across)
    long_mm = u[end] - u[start]
    share = np.clip((at_mm - u[start]) / np.where(long_mm > 0, long_mm, 1.0), 0.0, 1.0)
    return np.asarray(v[start] + share * (v[end] - v[start]))


def _through(body: Body, grid: _Grid, triangle: Ints, row: Ints, column: Ints) -> _Hits:
    u, v = grid.across
    normal, corners = body.doubled_mm2[triangle], body.corners_mm[triangle]
    slope = normal[:, grid.axis]
    aside = (grid.place_mm(0, row) - corners[:, 0, u]) * normal[:, u] + (
        grid.place_mm(1, column) - corners[:, 0, v]
    ) * normal[:, v]
    along = corners[:, :, grid.axis]
    at_mm = along[:, 0] - aside / np.where(slope != 0, slope, np.inf)
    at_mm = np.clip(at_mm, along.min(axis=1), along.max(axis=1))
    inward = -np.sign(slope).astype(np.int64)
    return _Hits(row * grid.count[1] + column, at_mm, inward, triangle)


def _along(hits: Sequence[_Hits], grid: _Grid, longer_mm: float) -> Chords:
    """Return the pieces of the lines of a grid that lie inside both bodies."""
    body = np.repeat([0, 1], [len(one.line) for one in hits])
    line, triangle, inward = (
        np.concatenate([getattr(one, name) for one in hits])
        for name in ("line", "triangle", "inward")
    )
    along_mm = np.concatenate([one.along_mm for one in hits])
    lines = grid.count[0] * grid.count[1]
    # A line that does not leave as often as it enters ran along a face: it says nothing.
    lost = np.zeros(lines, dtype=bool)
    for side in (0, 1):
        lost |= np.bincount(line[body == side], inward[body == side], lines) != 0
    order = np.lexsort((along_mm, line))
    order = order[~lost[line[order]]]
    body, line, triangle = body[order], line[order], triangle[order]
    along_mm, inward = along_mm[order], inward[order]
    within = [np.cumsum(np.where(body == side, inward, 0)) > 0 for side in (0, 1)]
    start = np.flatnonzero(within[0] & within[1])
    lengths_mm = along_mm[start + 1] - along_mm[start]
    start, lengths_mm = start[lengths_mm > longer_mm], lengths_mm[lengths_mm > longer_mm]
    u, v = grid.across
    middles_mm = np.empty((len(start), 3))
    middles_mm[:, grid.axis] = along_mm[start] + lengths_mm / 2
    middles_mm[:, u] = grid.place_mm(0, line[start] // grid.count[1])
    middles_mm[:, v] = grid.place_mm(1, line[start] % grid.count[1])
    return Chords(
        middles_mm,
        lengths_mm,
        np.full(len(start), grid.axis),
        np.column_stack([body[start], body[start + 1]]),
        np.column_stack([triangle[start], triangle[start + 1]]),
    )


def _together(each: Sequence[Chords]) -> Chords:
    return Chords(
        *(
            np.concatenate([getattr(one, name) for one in each])
            for name in ("middles_mm", "lengths_mm", "axis", "bodies", "triangles")
        )
    )
