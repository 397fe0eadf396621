"""Which triangles of a mesh are near others and face them: a tree of boxes.

The triangles are sorted along a curve that keeps neighbours together (Morton order: the bits of the
three places in turn). Each node of a level holds up to `_CHILDREN` nodes of the level below, with
a box around their places and another around their normals. Two trees are compared from the top
down: where two boxes are apart, or all normals of one lie close to those of the other, nothing
below is looked at. On a smooth surface, whose neighbours all face the same way, that leaves little.
Making a tree takes n log n.
"""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

_CHILDREN = 4
_BITS = 10  # of each place in the Morton order
_MOST_PAIRS = 1_000_000  # of nodes compared at once, for the sake of memory

Pairs = tuple[NDArray[np.intp], NDArray[np.intp]]


class TriangleTree:
    """Triangles to be found by their place and by where they face.

    Parameters
    ----------
    low_mm, high_mm : array, shape (n, 3)
        Corners of a box around each triangle.
    normals : array, shape (n, 3)
    """

    def __init__(
        self,
        low_mm: NDArray[np.floating],
        high_mm: NDArray[np.floating],
        normals: NDArray[np.floating],
    ) -> None:
        self.order = np.argsort(_morton((low_mm + high_mm) / 2), kind="stable")
        low = np.column_stack([low_mm, normals])[self.order]
        high = np.column_stack([high_mm, normals])[self.order]
        self.levels = [(low, high)]
        while len(low) > _CHILDREN:
            starts = np.arange(0, len(low), _CHILDREN)
            low, high = np.minimum.reduceat(low, starts), np.maximum.reduceat(high, starts)
            self.levels.append((low, high))


def near_pairs(one: TriangleTree, two: TriangleTree, facing_below: float) -> Iterator[Pairs]:
    """Yield pairs of a triangle of each tree whose boxes overlap and whose normals differ.

    Parameters
    ----------
    one, two : TriangleTree
    facing_below : float
        Only pairs whose normals have a scalar product below this: 1.1 for all.

    Yields
    ------
    ones, twos : array of int
        Every pair once, in portions.
    """
    top = len(one.levels) - 1, len(two.levels) - 1
    ones = np.arange(len(one.levels[-1][0]))
    twos = np.arange(len(two.levels[-1][0]))
    pairs = np.repeat(ones, len(twos)), np.tile(twos, len(ones))
    waiting = [(top, pairs)]
    while waiting:
        level, pairs = waiting.pop()
        if len(pairs[0]) > _MOST_PAIRS:
            half = len(pairs[0]) // 2
            waiting += [(level, (pairs[0][s], pairs[1][s])) for s in _halves(half)]
            continue
        pairs = _kept(one.levels[level[0]], two.levels[level[1]], pairs, facing_below)
        if level == (0, 0):
            yield one.order[pairs[0]], two.order[pairs[1]]
        elif level[0] >= level[1]:
            below, owners = _children(pairs[0], pairs[1], len(one.levels[level[0] - 1][0]))
            waiting.append(((level[0] - 1, level[1]), (below, owners)))
        else:
            below, owners = _children(pairs[1], pairs[0], len(two.levels[level[1] - 1][0]))
            waiting.append(((level[0], level[1] - 1), (owners, below)))


def _halves(half: int) -> tuple[slice, slice]:
    return slice(None, half), slice(half, None)


def _children(nodes: NDArray[np.intp], others: NDArray[np.intp], count: int) -> Pairs:
    """Return the nodes below some nodes, each with what its parent was paired with."""
    below = (nodes[:, None] * _CHILDREN + np.arange(_CHILDREN)).ravel()
    real = below < count
    return below[real], np.repeat(others, _CHILDREN)[real]


def _kept(
    one: tuple[NDArray[np.floating], NDArray[np.floating]],
    two: tuple[NDArray[np.floating], NDArray[np.floating]],
    pairs: Pairs,
    facing_below: float,
) -> Pairs:
    """Leave out pairs of nodes that are apart, or that all face the same way."""
    ones, twos = pairs
    for axis in range(3):
        meets = one[0][ones, axis] <= two[1][twos, axis]
        meets &= one[1][ones, axis] >= two[0][twos, axis]
        ones, twos = ones[meets], twos[meets]
    least = np.zeros(len(ones))
    for axis in range(3, 6):
        a, b = one[0][ones, axis], one[1][ones, axis]
        c, d = two[0][twos, axis], two[1][twos, axis]
        least += np.minimum(np.minimum(a * c, a * d), np.minimum(b * c, b * d))
    faces = least < facing_below
    return ones[faces], twos[faces]


def _morton(places: NDArray[np.floating]) -> NDArray[np.uint64]:
    """Return the place of each point along a curve through space."""
    low = places.min(axis=0)
    span = float((places.max(axis=0) - low).max()) or 1.0
    cells = ((places - low) / span * (2**_BITS - 1)).astype(np.uint64)
    code = np.zeros(len(places), dtype=np.uint64)
    for bit in range(_BITS):
        for axis in range(3):
            taken = (cells[:, axis] >> np.uint64(bit)) & np.uint64(1)
            code |= taken << np.uint64(3 * bit + axis)
    return code
