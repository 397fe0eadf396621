"""Which triangles of a mesh are near a box: a tree of boxes, whatever the sizes of the triangles.

The triangles are sorted along a curve that keeps neighbours together (Morton order: the bits of the
three places in turn), and each box of a level holds `_CHILDREN` boxes of the level below. Making it
takes n log n, a query the logarithm of n and what it finds.
"""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

_CHILDREN = 8
_BITS = 10  # of each place in the Morton order
_MOST_PAIRS = 2_000_000  # of boxes compared at once, for the sake of memory


class TriangleTree:
    """The triangles of a mesh, to be found by place.

    Parameters
    ----------
    corners_mm : array, shape (n, 3, 3)
        The corners of each triangle.
    """

    def __init__(self, corners_mm: NDArray[np.floating]) -> None:
        low, high = corners_mm.min(axis=1), corners_mm.max(axis=1)
        self._order = np.argsort(_morton((low + high) / 2), kind="stable")
        self._levels = [(low[self._order], high[self._order])]
        while len(self._levels[-1][0]) > _CHILDREN:
            below_low, below_high = self._levels[-1]
            starts = np.arange(0, len(below_low), _CHILDREN)
            self._levels.append(
                (
                    np.minimum.reduceat(below_low, starts),
                    np.maximum.reduceat(below_high, starts),
                )
            )

    def near(
        self, low_mm: NDArray[np.floating], high_mm: NDArray[np.floating]
    ) -> Iterator[tuple[NDArray[np.intp], NDArray[np.intp]]]:
        """Yield pairs of a box and a triangle whose own box overlaps it.

        Parameters
        ----------
        low_mm, high_mm : array, shape (m, 3)
            The boxes asked about.

        Yields
        ------
        boxes, triangles : array of int
            Every pair once, in several portions.
        """
        tops = len(self._levels[-1][0])
        portion = max(1, _MOST_PAIRS // (16 * _CHILDREN))
        for start in range(0, len(low_mm), portion):
            boxes = np.arange(start, min(start + portion, len(low_mm)))
            pairs = np.repeat(boxes, tops), np.tile(np.arange(tops), len(boxes))
            yield from self._below(len(self._levels) - 1, *pairs, low_mm, high_mm)

    def _below(
        self,
        level: int,
        boxes: NDArray[np.intp],
        nodes: NDArray[np.intp],
        low_mm: NDArray[np.floating],
        high_mm: NDArray[np.floating],
    ) -> Iterator[tuple[NDArray[np.intp], NDArray[np.intp]]]:
        node_low, node_high = self._levels[level]
        meets = (low_mm[boxes] <= node_high[nodes]) & (high_mm[boxes] >= node_low[nodes])
        kept = meets.all(axis=1)
        boxes, nodes = boxes[kept], nodes[kept]
        if level == 0:
            yield boxes, self._order[nodes]
            return
        count = len(self._levels[level - 1][0])
        for start in range(0, len(boxes), _MOST_PAIRS // _CHILDREN):
            some = slice(start, start + _MOST_PAIRS // _CHILDREN)
            children = (nodes[some, None] * _CHILDREN + np.arange(_CHILDREN)).ravel()
            owners = np.repeat(boxes[some], _CHILDREN)
            real = children < count
            yield from self._below(level - 1, owners[real], children[real], low_mm, high_mm)


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
