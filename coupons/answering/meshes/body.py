"""A body as a closed surface of triangles, and what follows from it directly."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from coupons.answering.meshes.ordering import stable_order

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Body:
    """A closed body in its place, in mm; its arrays cannot be written to.

    Parameters
    ----------
    name : str
        Unique among the bodies that were read together.
    file : str
        Name of the file that it was read from.
    vertices_mm : ndarray of float, shape (n, 3)
        No two vertices are equal.
    triangles : ndarray of int, shape (m, 3)
        Indices of vertices, counter-clockwise as seen from outside.
    known_edges : Edges, optional
        Those of its triangles, if they were found before.
    rounded_mm : float
        How far few digits in its file may have moved each coordinate.
    """

    name: str
    file: str
    vertices_mm: Floats
    triangles: Ints
    known_edges: "Edges | None" = None
    rounded_mm: float = 0.0

    def __post_init__(self) -> None:
        self.vertices_mm.flags.writeable = False
        self.triangles.flags.writeable = False

    @cached_property
    def corners_mm(self) -> Floats:
        """The corners of each triangle, shape (m, 3, 3)."""
        return _fixed(np.take(self.vertices_mm, self.triangles, axis=0))

    @cached_property
    def doubled_mm2(self) -> Floats:
        """Normals whose length is twice the area of the triangle, shape (m, 3)."""
        a, b, c = np.moveaxis(self.corners_mm, 1, 0)
        return _fixed(np.cross(b - a, c - a))

    @cached_property
    def areas_mm2(self) -> Floats:
        """Area of each triangle."""
        return _fixed(np.sqrt(np.einsum("ij,ij->i", self.doubled_mm2, self.doubled_mm2)) / 2)

    @cached_property
    def normals(self) -> Floats:
        """Outward unit normals, shape (m, 3); zero for a triangle without area."""
        lengths = 2 * self.areas_mm2
        return _fixed(self.doubled_mm2 / np.where(lengths > 0, lengths, 1)[:, None])

    @cached_property
    def edges(self) -> "Edges":
        """The edges, each with its two triangles."""
        return edges_of(self.triangles) if self.known_edges is None else self.known_edges

    @cached_property
    def box_mm(self) -> Floats:
        """Lowest and highest coordinates, shape (2, 3)."""
        return _fixed(np.array([self.vertices_mm.min(axis=0), self.vertices_mm.max(axis=0)]))

    @cached_property
    def volume_mm3(self) -> float:
        """Volume inside the surface."""
        return signed_volume(self.corners_mm)

    @cached_property
    def rounding_mm(self) -> float:
        """How far 32-bit numbers, or few digits, may have moved its vertices."""
        return max(float(np.abs(self.box_mm).max()) * 2.0**-23, self.rounded_mm)


@dataclass(frozen=True, eq=False)
class Edges:
    """Edges of a surface, each with the two triangles that it joins.

    Parameters
    ----------
    triangles : ndarray of int, shape (k, 2)
        The triangle that runs along the edge from its first to its second vertex, then the other.
    vertices : ndarray of int, shape (k, 2)
    opened, turned : ndarray of int, shape (j, 2)
        Edges with one triangle, and edges along which triangles run the same way.
    """

    triangles: Ints
    vertices: Ints
    opened: Ints
    turned: Ints


def edges_of(triangles: Ints) -> Edges:
    """Find which triangles share an edge; where four meet at one, they are paired in order."""
    start = triangles.ravel()
    stop = np.roll(triangles, -1, axis=1).ravel()
    owner = np.repeat(np.arange(len(triangles)), 3)
    low, high = np.minimum(start, stop), np.maximum(start, stop)
    is_forward = start < stop
    many = int(triangles.max()) + 1
    key = low * many + high
    forward = np.flatnonzero(is_forward)
    backward = np.flatnonzero(~is_forward)
    forward = forward[stable_order(key[forward])]
    backward = backward[stable_order(key[backward])]
    if len(forward) == len(backward) and np.array_equal(key[forward], key[backward]):
        none = np.empty((0, 2), dtype=np.int64)
        pairs = np.column_stack([owner[forward], owner[backward]])
        return Edges(pairs, np.column_stack([low[forward], high[forward]]), none, none)
    return _unbalanced(key, is_forward, owner, many)


def _unbalanced(key: Ints, is_forward: NDArray[np.bool_], owner: Ints, many: int) -> Edges:
    """Pair the edges of a surface that is not closed as far as they go."""
    keys, place, times = np.unique(key, return_inverse=True, return_counts=True)
    ahead = np.bincount(place, weights=is_forward, minlength=len(keys)).astype(np.int64)
    sound = ahead * 2 == times
    ends = np.column_stack([keys // many, keys % many])
    order = np.lexsort((~is_forward, key))
    once = order[np.isin(place[order], np.flatnonzero(sound & (times == 2)))]
    return Edges(
        owner[once].reshape(-1, 2),
        ends[place[once[::2]]],
        ends[times % 2 == 1],
        ends[(times % 2 == 0) & ~sound],
    )


def signed_volume(corners_mm: Floats) -> float:
    """Return the volume inside triangles, shape (m, 3, 3); negative if they face inwards."""
    middle = corners_mm.reshape(-1, 3).mean(axis=0)
    a, b, c = np.moveaxis(corners_mm - middle, 1, 0)
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)


def triangle_heights_mm(corners_mm: Floats) -> Floats:
    """Return the least height of triangles given by their corners, of shape (n, 3, 3)."""
    a, b, c = np.moveaxis(corners_mm, 1, 0)
    doubled = lengths_of(np.cross(b - a, c - a))
    longest = np.maximum(np.maximum(lengths_of(b - a), lengths_of(c - b)), lengths_of(a - c))
    return np.asarray(doubled / np.where(longest > 0, longest, 1))


# Along an axis of three, numpy's own sums and extremes are several times slower than these.


def lengths_of(ways: Floats) -> Floats:
    """Return the lengths of vectors, shape (n, 3)."""
    return np.asarray(np.sqrt(np.einsum("ij,ij->i", ways, ways)))


def middles_of(corners_mm: Floats) -> Floats:
    """Return the middle of each triangle's corners, shape (n, 3)."""
    return np.asarray((corners_mm[:, 0] + corners_mm[:, 1] + corners_mm[:, 2]) / 3)


def boxes_of(corners_mm: Floats) -> tuple[Floats, Floats]:
    """Return the lowest and highest coordinates of each triangle, shape (n, 3) each."""
    a, b, c = np.moveaxis(corners_mm, 1, 0)
    return np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)


def _fixed(values: Floats) -> Floats:
    values.flags.writeable = False
    return values
