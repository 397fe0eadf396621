"""Fill flat faces with triangles anew where their outline was moved over what is inside.

`recut` exchanges a diagonal here and there. Where that is not enough, the corners in the way give
way, and the part of the face around them gets other triangles altogether: as many as before, with
the same corners, so that each row of the triangles stays in its face. A corner inside a face gives
way as its neighbours in the outline do; one in the middle of a straight edge keeps its place
between the ends of the edge. Whatever is a few steps away from the moved outline stays.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, diags_array
from scipy.sparse.linalg import spsolve
from scipy.spatial import cKDTree

from coupons.answering.meshes.body import Body, Floats, Ints, triangle_heights_mm
from coupons.answering.meshes.patches import Patches
from coupons.answering.meshes.strips import crosswise
from coupons.answering.meshes.surface import closed_runs
from coupons.answering.relieve.filled_outline import filled_sheet
from coupons.answering.relieve.recut import FEW, Moving, recut

_RINGS = (2, 2, 8, 0)
"""Triangles around one that is turned over that are filled anew, in rounds: an edge that gave way
may turn over triangles of the face beside it. With 0 it is all of the face."""
_GIVING_WAY = 3.0
"""Corners inside a face give way within so many times the longest step."""
_STILL_MM = 1e-9


def refilled(patches: Patches, moving: Moving) -> tuple[Floats, Ints, Ints]:
    """Return corners and triangles after the move, and which triangles are turned over still.

    Parameters
    ----------
    patches : Patches
        Of the body as drawn.
    moving : Moving
        Its triangles whose corners move, and where to.
    """
    work = _Refill(patches, moving)
    turned = moving.turned(moving.to_mm, moving.triangles)
    for rings in _RINGS:
        for patch in np.unique(work.patches.label[turned]).tolist():
            work.give_way(patch)
        turned = work.cut()
        for patch in np.unique(work.patches.label[turned]).tolist():
            work.fill(patch, turned, rings)
        turned = work.turned()
        if not len(turned):
            break
    return work.to_mm, work.triangles, turned


class _Refill:
    """Corners and triangles as they are changed, face by face."""

    def __init__(self, patches: Patches, moving: Moving) -> None:
        body = patches.body
        self.body, self.moving = body, moving
        self.patches = patches
        self.to_mm, self.triangles = moving.to_mm.copy(), moving.triangles.copy()
        self.faces_at = _faces_at(body, self.patches.label)
        step = moving.to_mm - moving.from_mm
        self.reach_mm = _GIVING_WAY * float(np.linalg.norm(step, axis=1).max())
        drawn_mm = triangle_heights_mm(body.corners_mm)
        self.is_narrow = drawn_mm <= moving.narrow_mm
        known = np.bincount(self.patches.label, ~self.is_narrow) > 0
        self.ways = np.where(known[:, None], self.patches.normals, 0.0)[self.patches.label]
        self.changed = np.zeros(len(body.triangles), dtype=bool)
        self.changed[moving.some] = True

    def rows(self, patch: int) -> Ints:
        """Return the triangles of a face."""
        order, starts = self.patches.triangles
        return order[starts[patch] : starts[patch + 1]]

    def turned(self) -> Ints:
        """Return the triangles that are turned over or have no height, of all that changed."""
        return self._now().turned(self.to_mm, self.triangles)

    def cut(self) -> Ints:
        """Exchange diagonals, which may be all that is left to do; return what is turned over."""
        self.triangles, turned = recut(self._now(), FEW)
        return turned

    def _now(self) -> Moving:
        given = (self.to_mm != self.moving.to_mm).any(axis=1)
        self.changed |= given[self.triangles].any(axis=1)
        some = np.flatnonzero(self.changed)
        flat = self.is_narrow[some]
        return replace(
            self.moving,
            to_mm=self.to_mm,
            triangles=self.triangles,
            some=some,
            flat=flat,
            ways=self.ways,
        )

    def give_way(self, patch: int) -> None:
        """Let corners in the middle of edges and of the face give way to those that move."""
        drawn = self.body.triangles[self.rows(patch)]
        for run in closed_runs(_rim(drawn, self.faces_at > 1)):
            self._slide(run)
        self._follow(patch)

    def _slide(self, run: Ints) -> None:
        """Keep the corners of each straight edge of an outline in their order."""
        ends = np.flatnonzero(self.faces_at[run] > 2)
        for start, stop in zip(ends, np.roll(ends, -1), strict=True):
            length = (stop - start) % len(run)
            edge = run[(start + np.arange(length + 1)) % len(run)]
            if length < 2:
                continue
            now = self.to_mm[edge]
            ahead = np.diff(now, axis=0) @ (now[-1] - now[0])
            if ahead.min() > 0:
                continue
            drawn = self.body.vertices_mm[edge]
            along = np.linalg.norm(drawn - drawn[0], axis=1) / np.linalg.norm(drawn[-1] - drawn[0])
            first, last = now[0] - drawn[0], now[-1] - drawn[-1]
            share = along[:, None]
            self.to_mm[edge[1:-1]] = (drawn + (1 - share) * first + share * last)[1:-1]

    def _follow(self, patch: int) -> None:
        """Move the corners inside a face as their neighbours move, the nearer ones more."""
        rows = self.rows(patch)
        corners = _distinct(self.body.triangles[rows])
        inside = self.faces_at[corners] == 1
        normal = self.patches.normals[patch]
        step = self.to_mm[corners] - self.body.vertices_mm[corners]
        step = step - np.outer(step @ normal, normal)
        leads = ~inside & (np.linalg.norm(step, axis=1) > _STILL_MM)
        if not leads.any() or not inside.any():
            return
        places = self.body.vertices_mm[corners]
        place = np.zeros(len(self.to_mm), dtype=np.int64)
        place[corners] = np.arange(len(corners))
        place = place[self.body.triangles[rows]]
        moved = _along_rim(places, _rim(place, ~inside), leads, self.reach_mm)
        away_mm, _ = cKDTree(moved).query(places, distance_upper_bound=self.reach_mm)
        beside = np.zeros(len(corners), dtype=bool)
        beside[place[leads[place].any(axis=1)]] = True
        follows = np.flatnonzero(inside & (beside | (away_mm < self.reach_mm)))
        if not len(follows):
            return
        step[inside] = 0.0
        is_free = np.zeros(len(corners), dtype=bool)
        is_free[follows] = True
        step[follows] = _between(places, place[is_free[place].any(axis=1)], step, follows)
        self.to_mm[corners[follows]] = _off_plane(self, corners[follows], normal) + step[follows]

    def fill(self, patch: int, turned: Ints, rings: int) -> None:
        """Fill a face anew: some rings around triangles that are turned over, or all of it."""
        rows = self.rows(patch)
        if rings:
            reached = self.patches.label[turned] == patch
            near = np.isin(rows, turned[reached])
            for _ in range(rings):
                corners = self.triangles[rows[near]].ravel()
                near = np.asarray(np.isin(self.triangles[rows], corners).any(axis=1))
            rows = rows[near]
        own = self.triangles[rows]
        normal = self.patches.normals[patch]
        frame = np.column_stack(crosswise(normal))
        narrow_mm = self.moving.narrow_mm
        found = filled_sheet(closed_runs(_rim(own)), _distinct(own), self.to_mm @ frame, narrow_mm)
        if found is None or len(found) != len(rows):
            return
        # The rows that had no height before need none after.
        high = triangle_heights_mm(self.to_mm[found])
        had = triangle_heights_mm(self.body.corners_mm[rows])
        self.triangles[rows[np.argsort(had, kind="stable")]] = found[np.argsort(high)]
        self.changed[rows] = True


def _distinct(corners: Ints) -> Ints:
    """Return each corner of some triangles once, in order."""
    is_there = np.zeros(int(corners.max(initial=-1)) + 1, dtype=bool)
    is_there[corners] = True
    return np.flatnonzero(is_there)


def _faces_at(body: Body, label: Ints) -> Ints:
    """Return in how many faces each corner is."""
    corners, faces = body.triangles.ravel(), np.repeat(label, 3)
    found = np.zeros(len(body.vertices_mm), dtype=np.int64)
    found[corners] = 1
    one = np.zeros_like(found)
    one[corners] = faces
    is_shared = np.zeros(len(found), dtype=bool)
    is_shared[corners[faces != one[corners]]] = True
    at = np.flatnonzero(is_shared[corners])  # all others are within one face
    many = int(label.max(initial=0)) + 1
    keys = np.sort(corners[at] * many + faces[at])
    keys = keys[np.diff(keys, prepend=-1) > 0]
    return np.where(is_shared, np.bincount(keys // many, minlength=len(found)), found)


def _rim(triangles: Ints, may_be: NDArray[np.bool_] | None = None) -> Ints:
    """Return the edges of some triangles that have none on their other side, as they run.

    Both ends of all of them are corners that ``may_be`` in the rim, if these are known.
    """
    starts, stops = triangles.ravel(), np.roll(triangles, -1, axis=1).ravel()
    if may_be is not None:
        kept = np.flatnonzero(may_be[starts] & may_be[stops])
        starts, stops = starts[kept], stops[kept]
    many = int(triangles.max(initial=0)) + 1
    outside = ~np.isin(starts * many + stops, stops * many + starts)
    return np.column_stack([starts[outside], stops[outside]])


def _along_rim(places: Floats, rim: Ints, leads: NDArray[np.bool_], apart_mm: float) -> Floats:
    """Return the corners that move, and points between them where an edge of theirs is long.

    Parameters
    ----------
    places : ndarray of float, shape (n, 3)
    rim : ndarray of int, shape (e, 2)
        Edges.
    leads : ndarray of bool, shape (n,)
        The corners that move.
    apart_mm : float
        How far points may be apart.
    """
    starts, stops = places[rim[leads[rim].any(axis=1)]].transpose(1, 0, 2)
    parts = np.ceil(np.linalg.norm(stops - starts, axis=1) / apart_mm).astype(np.int64)
    first = np.cumsum(parts) - parts
    edge = np.repeat(np.arange(len(parts)), parts)
    share = ((np.arange(len(edge)) - first[edge]) / parts[edge])[:, None]
    return np.vstack([places[leads], (1 - share) * starts[edge] + share * stops[edge]])


def _off_plane(work: _Refill, corners: Ints, normal: Floats) -> Floats:
    """Return where corners would be if they moved along the normal of their face alone."""
    drawn = work.body.vertices_mm[corners]
    return drawn + np.outer((work.to_mm[corners] - drawn) @ normal, normal)


def _between(places: Floats, triangles: Ints, step: Floats, free: Ints) -> Floats:
    """Return steps of some corners such that each is a mean of its neighbours'.

    The weights are Floater's mean value coordinates (Computer Aided Geometric Design 20, 2003; from
    memory): where the outline is stretched evenly, what is inside is stretched alike.

    Parameters
    ----------
    places, step : ndarray of float, shape (n, 3)
    triangles : ndarray of int, shape (m, 3)
        All that have one of the corners sought.
    free : ndarray of int
        The corners whose steps are sought; those of all others are given.
    """
    one, two, weight = [], [], []
    for k in range(3):
        at, left, right = (triangles[:, (k + turn) % 3] for turn in range(3))
        to_left, to_right = places[left] - places[at], places[right] - places[at]
        long_left, long_right = (
            np.maximum(np.linalg.norm(way, axis=1), _STILL_MM) for way in (to_left, to_right)
        )
        # The tangent of half the angle between the two edges.
        across = np.linalg.norm(np.cross(to_left, to_right), axis=1)
        along = np.einsum("kx,kx->k", to_left, to_right) + long_left * long_right
        tangent = across / np.maximum(along, 1e-9 * long_left * long_right) + 1e-9
        one += [at, at]
        two += [left, right]
        weight += [tangent / long_left, tangent / long_right]
    rows, columns, pulls = (np.concatenate(part) for part in (one, two, weight))
    pull = coo_array((pulls, (rows, columns)), shape=(len(places),) * 2).tocsr()
    total = np.asarray(pull.sum(axis=1)).ravel()
    given = step.copy()
    given[free] = 0.0
    system = (diags_array(total) - pull).tocsr()[free][:, free].tocsc()
    return np.asarray(spsolve(system, (pull @ given)[free])).reshape(len(free), 3)
