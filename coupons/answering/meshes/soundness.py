"""What keeps a mesh from being a body, in words."""

from collections.abc import Iterable, Iterator

import numpy as np
from numpy.typing import NDArray

from coupons.answering.meshes.body import Body, Floats, Ints, boxes_of
from coupons.answering.meshes.box_tree import box_tree, overlapping, overlapping_within
from coupons.answering.meshes.patches import joined
from coupons.errors import Problem

DEEPEST_TOUCH_MM = 1e-3
"""Triangles that pass through each other by less only touch: numbers of 32 bits are rounded."""
_MOST_CROSSINGS = 10_000  # that are looked for: the triangles of a cloud all cross each other
_LITTLE = np.cos(np.radians(30.0))
_STEPS = 4  # of each coordinate of a normal, to either side


def faults(body: Body) -> Iterator[Problem]:
    """Yield what is wrong with a body's surface; a sound one yields nothing."""
    where = body.file if body.file.startswith(body.name + ".") else f"{body.file} {body.name}"
    edges = body.edges
    if len(edges.opened):
        got = f"{len(edges.opened)} open edges, the first {_at(body, edges.opened[0])}"
        yield Problem(where, "a closed surface", got, "Repair it, or export the solid again")
    if len(edges.turned):
        got = f"{len(edges.turned)} edges where it turns over, the first "
        got += _at(body, edges.turned[0])
        todo = "Turn all normals outwards, and export it again"
        yield Problem(where, "triangles that face outwards", got, todo)
    flat = int((body.areas_mm2 == 0).sum())
    if flat == len(body.triangles) or abs(body.volume_mm3) < 1e-6:
        yield Problem(where, "a body with volume", "none", "Export the solid, not its sketch")
        return
    crossing = crossings(body, _MOST_CROSSINGS)
    if len(crossing):
        place = body.corners_mm[crossing[0, 0]].mean(axis=0)
        over = len(crossing) > _MOST_CROSSINGS
        count = f"more than {_MOST_CROSSINGS}" if over else len(crossing)
        got = f"one that crosses itself in {count} places, the first at {_point(place)}"
        todo = "Join its parts into one solid, and export it again"
        yield Problem(where, "a surface without crossings", got, todo)


def _at(body: Body, edge: Ints) -> str:
    return f"at {_point(body.vertices_mm[edge].mean(axis=0))}"


def _point(point: Floats) -> str:
    return "({:.2f}, {:.2f}, {:.2f})".format(*point)


def crossings(body: Body, most: int | None = None) -> Ints:
    """Return pairs of triangles that pass through each other, shape (k, 2).

    With ``most`` it stops looking once it has found more.
    """
    sheet = _smooth_sheets(body)
    frame = _squared_up(body, sheet)
    low, high = boxes_of(np.take(body.vertices_mm @ frame, body.triangles, axis=0))
    tree = box_tree(low, high, sheet, body.normals @ frame)
    return _crossing(body, overlapping_within(tree, DEEPEST_TOUCH_MM), most)


def crossings_between(one: Body, some: Ints, other: Body) -> Ints:
    """Return pairs of one of some triangles of a body and one of another that pass through."""
    near = _within(other, one.vertices_mm[one.triangles[some]]) if len(some) else some
    if not len(near):
        return np.empty((0, 2), dtype=np.int64)
    moved = Body("", "", one.vertices_mm, one.triangles[some])
    vertices = np.concatenate([one.vertices_mm, other.vertices_mm])
    triangles = np.concatenate([moved.triangles, other.triangles[near] + len(one.vertices_mm)])
    # Where faces lie on each other, boxes square to them are thin, and overlap by nothing.
    turned = vertices @ _squared_up(moved, _facing_alike(moved.normals))
    tree, others = (
        box_tree(*boxes_of(np.take(turned, part, axis=0)))
        for part in (triangles[: len(some)], triangles[len(some) :])
    )
    names = np.concatenate([some, near])
    found = [np.empty((0, 2), dtype=np.int64)]
    for i, j in overlapping(tree, others, -DEEPEST_TOUCH_MM):
        # Of large bodies few triangles are in question.
        used, place = np.unique(np.concatenate([i, j + len(some)]), return_inverse=True)
        both = Body("", "", vertices, triangles[used])
        pairs = _crossing(both, [(place[: len(i)], place[len(i) :])])
        found.append(names[used[pairs]])
    return np.concatenate(found)


def _within(body: Body, corners_mm: Floats) -> Ints:
    """Return the triangles of a body that come into the box of some corners."""
    low, high = corners_mm.min(axis=(0, 1)), corners_mm.max(axis=(0, 1))
    beyond = np.zeros(len(body.vertices_mm), dtype=np.uint8)  # a bit for each side of the box
    for axis in range(3):
        beyond |= (body.vertices_mm[:, axis] < low[axis]).astype(np.uint8) << axis
        beyond |= (body.vertices_mm[:, axis] > high[axis]).astype(np.uint8) << (axis + 3)
    a, b, c = body.triangles.T
    return np.flatnonzero(beyond[a] & beyond[b] & beyond[c] == 0)


def _crossing(body: Body, pairs: Iterable[tuple[Ints, Ints]], most: int | None = None) -> Ints:
    count = 0
    found = [np.empty((0, 2), dtype=np.int64)]
    for i, j in pairs:
        apart = _straddle(body, i, j)
        i, j = i[apart], j[apart]
        apart = _straddle(body, j, i)
        i, j = i[apart], j[apart]
        crossed = _edge_through(body, i, j) | _edge_through(body, j, i)
        found.append(np.column_stack([i[crossed], j[crossed]]))
        count += int(crossed.sum())
        if most is not None and count > most:
            break
    return np.concatenate(found)


def _smooth_sheets(body: Body) -> Ints:
    """Return the sheet of each triangle: within one, neighbours turn little."""
    pairs = body.edges.triangles
    one, two = (np.take(body.normals, pairs[:, side], axis=0) for side in (0, 1))
    facing = np.einsum("kx,kx->k", one, two)
    return joined(len(body.triangles), pairs[facing > _LITTLE])


def _facing_alike(normals: Floats) -> Ints:
    """Return a number for each normal, the same for those that are much the same."""
    steps = np.rint(normals * _STEPS).astype(np.int64) + _STEPS
    many = 2 * _STEPS + 1
    keys = (steps[:, 0] * many + steps[:, 1]) * many + steps[:, 2]
    return np.asarray(np.unique(keys, return_inverse=True)[1])


def _squared_up(body: Body, sheet: Ints) -> Floats:
    """Return the rotation that lays the largest faces square to the axes: boxes are thin there."""
    sums = np.column_stack([np.bincount(sheet, body.doubled_mm2[:, k]) for k in range(3)])
    first = sums[np.linalg.norm(sums, axis=1).argmax()]
    if not np.linalg.norm(first) > 1e-3 * body.areas_mm2.sum():
        return np.eye(3)
    first = first / np.linalg.norm(first)
    aside = sums - np.outer(sums @ first, first)
    second = aside[np.linalg.norm(aside, axis=1).argmax()]
    if not np.linalg.norm(second) > 1e-3 * body.areas_mm2.sum():
        second = np.cross(first, np.eye(3)[np.abs(first).argmin()])
    second = second / np.linalg.norm(second)
    return np.column_stack([first, second, np.cross(first, second)])


def _straddle(body: Body, i: Ints, j: Ints) -> NDArray[np.bool_]:
    """Tell which triangles j have corners well to both sides of the plane of triangle i."""
    heights = _heights(body, i, j)
    low = np.minimum(np.minimum(heights[0], heights[1]), heights[2])
    high = np.maximum(np.maximum(heights[0], heights[1]), heights[2])
    return np.asarray((low < -DEEPEST_TOUCH_MM) & (high > DEEPEST_TOUCH_MM))


def _heights(body: Body, i: Ints, j: Ints) -> Floats:
    """Return the heights of the corners of triangles j above the planes of triangles i."""
    planes = np.einsum("kx,kx->k", body.corners_mm[:, 0], body.normals)[i]
    normals, corners = body.normals[i], body.triangles[j]
    return np.array(
        [np.einsum("kx,kx->k", body.vertices_mm[corners[:, k]], normals) - planes for k in range(3)]
    )


def _edge_through(body: Body, i: Ints, j: Ints) -> NDArray[np.bool_]:
    """Tell whether an edge of triangle j passes through triangle i, clear of its rim."""
    heights = _heights(body, i, j)
    a, b, c = np.moveaxis(body.corners_mm[i], 1, 0)
    hit = np.zeros(len(i), dtype=bool)
    for k in range(3):
        start, stop = body.corners_mm[j, k], body.corners_mm[j, (k + 1) % 3]
        h0, h1 = heights[k], heights[(k + 1) % 3]
        through = ((h0 < -DEEPEST_TOUCH_MM) & (h1 > DEEPEST_TOUCH_MM)) | (
            (h1 < -DEEPEST_TOUCH_MM) & (h0 > DEEPEST_TOUCH_MM)
        )
        share = np.where(through, h0 / np.where(h0 != h1, h0 - h1, 1), 0.0)
        point = start + share[:, None] * (stop - start)
        inside = np.ones(len(i), dtype=bool)
        for u, v in ((a, b), (b, c), (c, a)):
            side = np.cross(v - u, point - u)
            length = np.linalg.norm(v - u, axis=1)
            inward = np.einsum("kx,kx->k", side, body.normals[i]) / np.where(length > 0, length, 1)
            inside &= inward > DEEPEST_TOUCH_MM
        hit |= through & inside
    return hit
