"""Flat patches: triangles beside each other in one plane, and the edges between patches."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from coupons.answering.meshes.body import Body, Floats, Ints, middles_of, triangle_heights_mm
from coupons.answering.meshes.ordering import stable_order

FLAT_MM = 2e-5
"""Neighbours whose corners lie this close to one plane are in it; rounding is added."""
_SAME_WAY = 2e-3
"""Length of the difference of two normals by which a narrow triangle is in a neighbour's plane."""


@dataclass(frozen=True, eq=False)
class Patches:
    """The flat patches of a body, numbered from 0.

    Parameters
    ----------
    body : Body
    label : ndarray of int, shape (m,)
        The patch of each triangle.
    normals : ndarray of float, shape (k, 3)
        Outward.
    heights_mm : ndarray of float, shape (k,)
        Of each patch's plane along its normal.
    areas_mm2 : ndarray of float, shape (k,)
    """

    body: Body
    label: Ints
    normals: Floats
    heights_mm: Floats
    areas_mm2: Floats

    @cached_property
    def triangles(self) -> tuple[Ints, Ints]:
        """The triangles in the order of their patches, and where each patch begins, shape (k+1)."""
        order = stable_order(self.label)
        return order, np.searchsorted(self.label[order], np.arange(len(self.normals) + 1))


@dataclass(frozen=True, eq=False)
class Seams:
    """Where two patches meet, one seam for each pair of patches.

    Parameters
    ----------
    patches : ndarray of int, shape (s, 2)
        The lower number first.
    start_mm, way : ndarray of float, shape (s, 3)
        An end of the longest edge of the seam, and its unit direction.
    length_mm : ndarray of float, shape (s,)
        Of all edges of the seam.
    angle : ndarray of float, shape (s,)
        Between the normals of the two patches, in radians.
    edges : ndarray of int, shape (s,)
        The longest edge, as a row of the body's edges.
    """

    patches: Ints
    start_mm: Floats
    way: Floats
    length_mm: Floats
    angle: Floats
    edges: Ints

    @cached_property
    def _by_patch(self) -> tuple[Ints, Ints]:
        patch = self.patches.T.ravel()
        order = np.argsort(patch, kind="stable")
        starts = np.searchsorted(patch[order], np.arange(int(patch.max(initial=-1)) + 2))
        return order % len(self.patches), starts

    def around(self, patches: Ints) -> Ints:
        """Return the seams of some patches, those between two of them twice."""
        rows, starts = self._by_patch
        counts = starts[patches + 1] - starts[patches]
        within = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
        return np.asarray(rows[np.repeat(starts[patches], counts) + within])


def flat_patches(body: Body) -> Patches:
    """Find the flat patches of a body."""
    pairs = body.edges.triangles
    room_mm = FLAT_MM + 4 * body.rounding_mm
    is_thin = _narrow(body, 2 * room_mm)
    ways = _ways(body, is_thin, room_mm)
    flat = _off_plane(body, ways) <= room_mm
    beside = np.flatnonzero(is_thin[pairs].any(axis=1))
    turn = np.linalg.norm(ways[pairs[beside, 0]] - ways[pairs[beside, 1]], axis=1)
    flat[beside] = turn <= _SAME_WAY
    return _without_bent(_measured(body, joined(len(body.triangles), pairs[flat])))


def joined(many: int, pairs: Ints) -> Ints:
    """Return the number of the group of each number below ``many``, joined by pairs."""
    ones = np.ones(len(pairs), dtype=np.int8)
    graph = coo_array((ones, (pairs[:, 0], pairs[:, 1])), shape=(many, many))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int64)


def _ways(body: Body, is_thin: NDArray[np.bool_], room_mm: float) -> Floats:
    """Return the normal of each triangle; one too narrow to have any gets that of a neighbour.

    A triangle that is hardly higher than the rounding of its corners may seem to face anywhere. It
    belongs to the plane of the neighbour beyond its longest edge that has its third corner too.
    Zero where there is no such plane.
    """
    if not is_thin.any():
        return body.normals
    ways = np.where(is_thin[:, None], 0.0, body.normals)
    edges = body.edges
    near = np.flatnonzero(is_thin[edges.triangles].any(axis=1))
    one, two = np.concatenate([edges.triangles[near], edges.triangles[near, ::-1]]).T
    ends = np.tile(edges.vertices[near], (2, 1))
    start = body.vertices_mm[ends[:, 0]]
    length = np.linalg.norm(body.vertices_mm[ends[:, 1]] - start, axis=1)
    far = body.vertices_mm[body.triangles[two].sum(axis=1) - ends.sum(axis=1)] - start
    unknown: NDArray[np.bool_] = is_thin.copy()
    while True:  # narrow ones beside narrow ones come one after the other
        off = np.abs(np.einsum("kx,kx->k", far, ways[one]))
        found = np.flatnonzero(~unknown[one] & unknown[two] & (off <= room_mm))
        if not len(found):
            break
        found = found[np.argsort(length[found], kind="stable")]
        ways[two[found]] = ways[one[found]]  # the last, longest edge decides
        unknown[two[found]] = False
    return ways


def _narrow(body: Body, most_mm: float) -> NDArray[np.bool_]:
    """Tell which triangles are no higher than a little."""
    is_narrow = np.zeros(len(body.triangles), dtype=bool)
    longest_mm = float(np.linalg.norm(np.ptp(body.box_mm, axis=0)))
    small = np.flatnonzero(2 * body.areas_mm2 <= most_mm * longest_mm)
    is_narrow[small] = triangle_heights_mm(body.corners_mm[small]) <= most_mm
    return is_narrow


def _off_plane(body: Body, ways: Floats) -> Floats:
    """Return how far, at least, a corner of one triangle lies off the plane of its neighbour."""
    pairs, ends = body.edges.triangles, body.edges.vertices
    start = np.take(body.vertices_mm, ends[:, 0], axis=0)
    known = np.asarray(ways.any(axis=1))
    off = np.full(len(pairs), np.inf)
    a, b, c = body.triangles.T
    in_all, shared = a + b + c, ends[:, 0] + ends[:, 1]
    way = [np.take(ways, pairs[:, side], axis=0) for side in (0, 1)]
    for one, other in ((0, 1), (1, 0)):
        far = in_all[pairs[:, other]] - shared  # the corner that is not shared
        away = np.take(body.vertices_mm, far, axis=0) - start
        height = np.abs(np.einsum("kx,kx->k", away, way[one]))
        off = np.minimum(off, np.where(known[pairs[:, one]], height, np.inf))
    facing = np.einsum("kx,kx->k", *way)
    # A thin triangle may lie folded back on its neighbour, in the same plane.
    return np.where(known[pairs].all(axis=1) & (facing < 0.5), np.inf, off)


def _measured(body: Body, label: Ints) -> Patches:
    many = int(label.max()) + 1
    total = np.column_stack([np.bincount(label, body.doubled_mm2[:, k], many) for k in range(3)])
    length = np.linalg.norm(total, axis=1)
    normals = total / np.where(length > 0, length, 1)[:, None]
    areas = np.asarray(np.bincount(label, body.areas_mm2, many), dtype=np.float64)
    middles = middles_of(body.corners_mm)
    own = np.einsum("kx,kx->k", middles, np.take(normals, label, axis=0)) * body.areas_mm2
    heights = np.bincount(label, own, many) / np.where(areas > 0, areas, 1)
    return Patches(body, label, normals, heights, areas)


def _without_bent(patches: Patches) -> Patches:
    """Break up patches that bend: neighbours each nearly in line, as on a finely divided round."""
    body, label = patches.body, patches.label
    normals = np.take(patches.normals, label, axis=0)
    off = np.zeros(len(label))
    for k in range(3):
        heights = np.einsum("kx,kx->k", body.corners_mm[:, k], normals)
        off = np.maximum(off, np.abs(heights - patches.heights_mm[label]))
    worst = np.zeros(len(patches.normals))
    np.maximum.at(worst, label, off)
    bent = worst[label] > 10 * (FLAT_MM + 4 * body.rounding_mm)
    if not bent.any():
        return patches
    fresh = np.where(bent, len(worst) + np.arange(len(label)), label)
    return _measured(body, np.unique(fresh, return_inverse=True)[1].astype(np.int64))


def seams_of(patches: Patches) -> Seams:
    """Return the seams between all patches that share an edge."""
    edges = patches.body.edges
    sides = patches.label[edges.triangles]
    between = np.flatnonzero(sides[:, 0] != sides[:, 1])
    sides = np.sort(sides[between], axis=1)
    ends = patches.body.vertices_mm[edges.vertices[between]]
    away = ends[:, 1] - ends[:, 0]
    length = np.linalg.norm(away, axis=1)
    many = len(patches.normals)
    key = sides[:, 0] * many + sides[:, 1]
    order = np.lexsort((-length, key))
    keys, first, place = np.unique(key[order], return_index=True, return_inverse=True)
    longest = order[first]
    pairs = np.column_stack([keys // many, keys % many])
    cosine = np.einsum("kx,kx->k", patches.normals[pairs[:, 0]], patches.normals[pairs[:, 1]])
    across = np.linalg.norm(
        np.cross(patches.normals[pairs[:, 0]], patches.normals[pairs[:, 1]]), axis=1
    )
    way = away[longest] / np.where(length[longest] > 0, length[longest], 1)[:, None]
    return Seams(
        pairs,
        ends[longest, 0],
        way,
        np.asarray(np.bincount(place, length[order], len(keys)), dtype=np.float64),
        np.arctan2(across, cosine),
        between[longest],
    )


def patch_corners(patches: Patches, wanted: Ints) -> tuple[Floats, Ints]:
    """Return the corners of some patches' triangles in one list, and where each patch begins."""
    order, starts = patches.triangles
    counts = starts[wanted + 1] - starts[wanted]
    begins = np.concatenate([[0], np.cumsum(counts)])
    within = np.arange(begins[-1]) - np.repeat(begins[:-1], counts)
    triangles = order[np.repeat(starts[wanted], counts) + within]
    return patches.body.corners_mm[triangles].reshape(-1, 3), 3 * begins
