"""Pairs of boxes that overlap, found with a tree of boxes and whole arrays at a time.

The boxes are put in the order of a curve that fills space, so that neighbours in the list are
neighbours in space; the tree is then a list of levels, each half as long as the one below it.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
_BITS = 10  # of each coordinate of the curve
_AT_ONCE = 1_000_000  # pairs that are held at a time, about 50 MB


@dataclass(frozen=True, eq=False)
class BoxTree:
    """Boxes in a tree.

    Parameters
    ----------
    order : ndarray of int, shape (n,)
        Which box stands at each place of the lowest level.
    lows, highs : tuple of ndarray, each of shape (n over a power of two, 3)
        Level by level, the boxes themselves first, a single one last.
    labels : tuple of ndarray of int
        The label that all boxes below have in common, or -1.
    ways : tuple of pairs of ndarray, each of shape (n over a power of two, 3)
        Level by level, the least and the most of the normals of what is in the boxes; empty if no
        normals were given.
    """

    order: Ints
    lows: tuple[Floats, ...]
    highs: tuple[Floats, ...]
    labels: tuple[Ints, ...]
    ways: tuple[tuple[Floats, Floats], ...] = ()


def box_tree(
    low: Floats, high: Floats, labels: Ints | None = None, normals: Floats | None = None
) -> BoxTree:
    """Build the tree of boxes, shape (n, 3) each; boxes may have labels of 0 or more."""
    order = _along_curve((low + high) / 2)
    own = np.full(len(low), -1) if labels is None else labels
    lows, highs, common = [low[order]], [high[order]], [own[order]]
    while len(lows[-1]) > 1:
        starts = np.arange(0, len(lows[-1]), 2)
        lows.append(np.minimum.reduceat(lows[-1], starts))
        highs.append(np.maximum.reduceat(highs[-1], starts))
        least, most = (f.reduceat(common[-1], starts) for f in (np.minimum, np.maximum))
        common.append(np.where(least == most, least, -1))
    ways = () if normals is None else _ways(normals[order])
    return BoxTree(order, tuple(lows), tuple(highs), tuple(common), ways)


def _ways(normals: Floats) -> tuple[tuple[Floats, Floats], ...]:
    levels = [(normals, normals)]
    while len(levels[-1][0]) > 1:
        least, most = levels[-1]
        starts = np.arange(0, len(least), 2)
        levels.append((np.minimum.reduceat(least, starts), np.maximum.reduceat(most, starts)))
    return tuple(levels)


def overlapping(a: BoxTree, b: BoxTree, reach: float = 0.0) -> Iterator[tuple[Ints, Ints]]:
    """Yield pairs of boxes of two trees that overlap or lie within reach, in portions."""
    yield from _descend(a, b, reach, is_self=False)


def overlapping_and_facing(
    a: BoxTree, b: BoxTree, facing_below: float
) -> Iterator[tuple[Ints, Ints]]:
    """Yield pairs of boxes of two trees that overlap and whose normals differ.

    On a smooth surface, where neighbours face the same way, few are left to look at.

    Parameters
    ----------
    a, b : BoxTree
        With normals.
    facing_below : float
        Only pairs whose normals have a lower scalar product than this.
    """
    yield from _descend(a, b, 0.0, is_self=False, facing_below=facing_below)


def overlapping_within(tree: BoxTree) -> Iterator[tuple[Ints, Ints]]:
    """Yield pairs of boxes of one tree that overlap, each pair once, none with a common label."""
    yield from _descend(tree, tree, 0.0, is_self=True)


def _descend(
    a: BoxTree, b: BoxTree, reach: float, *, is_self: bool, facing_below: float | None = None
) -> Iterator[tuple[Ints, Ints]]:
    """Go down both trees; what is waiting is a stack of portions, so that memory stays bounded."""
    top = (len(a.lows) - 1, len(b.lows) - 1)
    waiting = [(top, np.zeros(1, dtype=np.int64), np.zeros(1, dtype=np.int64))]
    while waiting:
        (at_a, at_b), i, j = waiting.pop()
        near = _near(a, b, (at_a, at_b), (i, j), reach)
        if is_self:
            near &= _unlike(a.labels[at_a], i, j)
        i, j = i[near], j[near]
        if facing_below is not None:
            faces = _least_product(a.ways[at_a], b.ways[at_b], i, j) < facing_below
            i, j = i[faces], j[faces]
        if at_a == at_b == 0:
            yield (a.order[i], b.order[j])
            continue
        halved = (at_a > 0 and at_a >= at_b, at_b > 0 and at_b >= at_a)
        if halved[0]:
            i, j = _halves(i, j, len(a.lows[at_a - 1]))
        if halved[1]:
            j, i = _halves(j, i, len(b.lows[at_b - 1]))
        if is_self:
            once = (i < j) if at_a == 1 else (i <= j)
            i, j = i[once], j[once]
        waiting += _portions((at_a - halved[0], at_b - halved[1]), i, j)


def _portions(level: tuple[int, int], i: Ints, j: Ints) -> list[tuple[tuple[int, int], Ints, Ints]]:
    starts = range(0, len(i), _AT_ONCE)
    return [(level, i[start : start + _AT_ONCE], j[start : start + _AT_ONCE]) for start in starts]


def _unlike(labels: Ints, i: Ints, j: Ints) -> NDArray[np.bool_]:
    """Tell which pairs of nodes of one tree may hold two different labels."""
    return np.asarray((labels[i] < 0) | (labels[i] != labels[j]))


def _near(
    a: BoxTree, b: BoxTree, at: tuple[int, int], pairs: tuple[Ints, Ints], reach: float
) -> NDArray[np.bool_]:
    (at_a, at_b), (i, j) = at, pairs
    near = np.ones(len(i), dtype=bool)
    for axis in range(3):
        near &= a.lows[at_a][i, axis] <= b.highs[at_b][j, axis] + reach
        near &= b.lows[at_b][j, axis] <= a.highs[at_a][i, axis] + reach
    return near


def _least_product(a: tuple[Floats, Floats], b: tuple[Floats, Floats], i: Ints, j: Ints) -> Floats:
    """Return for each pair what the scalar product of two of its normals is at least."""
    total = np.zeros(len(i))
    for axis in range(3):
        ends = [one[i, axis] * two[j, axis] for one in a for two in b]
        total += np.minimum(np.minimum(ends[0], ends[1]), np.minimum(ends[2], ends[3]))
    return total


def _halves(i: Ints, j: Ints, many: int) -> tuple[Ints, Ints]:
    """Replace each node by its one or two halves."""
    both = np.concatenate([2 * i, 2 * i + 1])
    inside = both < many
    return both[inside], np.concatenate([j, j])[inside]


def _along_curve(points: Floats) -> Ints:
    """Return the order of points along a curve through nested cubes (Morton's)."""
    low = points.min(axis=0)
    extent = float((points.max(axis=0) - low).max()) or 1.0
    cells = ((points - low) / extent * (2**_BITS - 1)).astype(np.int64)
    key = np.zeros(len(points), dtype=np.int64)
    for bit in range(_BITS):
        for axis in range(3):
            key |= ((cells[:, axis] >> bit) & 1) << (3 * bit + axis)
    return np.argsort(key, kind="stable")
