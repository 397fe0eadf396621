"""Pairs of boxes that overlap, found with a tree of boxes and whole arrays at a time.

The boxes are put in the order of a curve that fills space, so that neighbours in the list are
neighbours in space; the tree is then a list of levels, each half as long as the one below it.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coupons.answering.meshes.ordering import stable_order

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
    sheets : tuple of Sheets
        Level by level, what is needed to leave out pairs of one smooth sheet.
    """

    order: Ints
    lows: tuple[Floats, ...]
    highs: tuple[Floats, ...]
    sheets: tuple["Sheets", ...]


@dataclass(frozen=True, eq=False)
class Sheets:
    """To which smooth sheet of a surface boxes belong, and how their normals spread.

    Parameters
    ----------
    label : ndarray of int, shape (n,)
        The sheet that all boxes below have in common, or -1.
    low, high : ndarray of float, shape (n, 3)
        Bounds of the normals below.
    """

    label: Ints
    low: Floats
    high: Floats

    def halved(self) -> "Sheets":
        """Return those of the level above."""
        least, most = (_of_two(self.label, which) for which in (np.minimum, np.maximum))
        return Sheets(
            np.where(least == most, least, -1),
            _of_two(self.low, np.minimum),
            _of_two(self.high, np.maximum),
        )

    def may_cross(self, i: Ints, j: Ints) -> NDArray[np.bool_]:
        """Tell which pairs may hold triangles that cross.

        A piece of one sheet whose normals all have one direction in common lies above a plane like
        a cloth on a table: it cannot cross itself.
        """
        together = (self.label[i] >= 0) & (self.label[i] == self.label[j])
        low, high = np.minimum(self.low[i], self.low[j]), np.maximum(self.high[i], self.high[j])
        middle, half = (low + high) / 2, (high - low) / 2
        least = (middle**2 - half * np.abs(middle)).sum(axis=1)
        return np.asarray(~(together & (least > 0)))

    def may_differ(self, i: Ints, other: "Sheets", j: Ints, below: float) -> NDArray[np.bool_]:
        """Tell which pairs may hold triangles with a lower scalar product of their normals."""
        least = np.zeros(len(i))
        for axis in range(3):
            a, b = self.low[i, axis], self.high[i, axis]
            c, d = other.low[j, axis], other.high[j, axis]
            least += np.minimum(np.minimum(a * c, a * d), np.minimum(b * c, b * d))
        return np.asarray(least < below)


def box_tree(
    low: Floats, high: Floats, sheet: Ints | None = None, normals: Floats | None = None
) -> BoxTree:
    """Build the tree of boxes, shape (n, 3); with normals and sheets of a surface if given."""
    middle = (low + high) / 2
    order = _along_curve(middle) if sheet is None else _sheet_by_sheet(middle, sheet)
    lows, highs, sheets = [low[order]], [high[order]], []
    if normals is not None:
        label = np.full(len(low), -1) if sheet is None else sheet[order]
        sheets.append(Sheets(label, normals[order], normals[order]))
    while len(lows[-1]) > 1:
        lows.append(_of_two(lows[-1], np.minimum))
        highs.append(_of_two(highs[-1], np.maximum))
        if sheets:
            sheets.append(sheets[-1].halved())
    return BoxTree(order, tuple(lows), tuple(highs), tuple(sheets))


def _of_two(values: NDArray[np.generic], which: np.ufunc) -> NDArray[Any]:
    """Return the lower or higher of each two values that follow one another; a last one alone."""
    found = which(values[: len(values) - 1 : 2], values[1::2])
    return np.concatenate([found, values[-1:]]) if len(values) % 2 else found


def overlapping(a: BoxTree, b: BoxTree, reach: float = 0.0) -> Iterator[tuple[Ints, Ints]]:
    """Yield pairs of boxes of two trees that overlap or lie within reach, in portions."""
    yield from _descend(a, b, reach, is_self=False)


def overlapping_and_facing(
    a: BoxTree, b: BoxTree, facing_below: float
) -> Iterator[tuple[Ints, Ints]]:
    """Yield pairs of boxes of two trees with normals that overlap and face different ways.

    Parameters
    ----------
    a, b : BoxTree
    facing_below : float
        Only pairs whose normals have a lower scalar product than this. On a smooth surface, where
        neighbours face the same way, few are left.
    """
    yield from _descend(a, b, 0.0, is_self=False, facing_below=facing_below)


def overlapping_within(tree: BoxTree, least: float) -> Iterator[tuple[Ints, Ints]]:
    """Yield pairs of boxes of a tree with sheets that overlap so far and may cross, each once."""
    yield from _descend(tree, tree, -least, is_self=True)


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
            near[near] = a.sheets[at_a].may_cross(i[near], j[near])
        elif facing_below is not None:
            differ = a.sheets[at_a].may_differ(i[near], b.sheets[at_b], j[near], facing_below)
            near[near] = differ
        i, j = i[near], j[near]
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


def _near(
    a: BoxTree, b: BoxTree, at: tuple[int, int], pairs: tuple[Ints, Ints], reach: float
) -> NDArray[np.bool_]:
    (at_a, at_b), (i, j) = at, pairs
    near = np.ones(len(i), dtype=bool)
    for axis in range(3):
        near &= a.lows[at_a][i, axis] <= b.highs[at_b][j, axis] + reach
        near &= b.lows[at_b][j, axis] <= a.highs[at_a][i, axis] + reach
    return near


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
    spread = _spread(np.arange(2**_BITS))
    key = spread[cells[:, 0]] | spread[cells[:, 1]] << 1 | spread[cells[:, 2]] << 2
    return stable_order(key)


def _spread(numbers: Ints) -> Ints:
    """Return numbers whose bits stand three places apart."""
    found = np.zeros(len(numbers), dtype=np.int64)
    for bit in range(_BITS):
        found |= ((numbers >> bit) & 1) << (3 * bit)
    return found


def _sheet_by_sheet(points: Floats, sheet: Ints) -> Ints:
    """Return the order of points sheet by sheet, both along the curve: most nodes are then pure."""
    counts = np.bincount(sheet)
    sums = [np.bincount(sheet, points[:, axis]) for axis in range(3)]
    of_sheet = np.empty(len(counts), dtype=np.int64)
    of_sheet[_along_curve(np.column_stack(sums) / counts[:, None])] = np.arange(len(counts))
    of_point = np.empty(len(points), dtype=np.int64)
    of_point[_along_curve(points)] = np.arange(len(points))
    return np.lexsort((of_point, of_sheet[sheet]))
