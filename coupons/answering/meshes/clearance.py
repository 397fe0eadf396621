"""Whether the surface of a body is near to points."""

import numpy as np
from numpy.typing import NDArray

from coupons.answering.meshes.body import Body, Floats
from coupons.answering.meshes.box_tree import box_tree, overlapping


def is_clear(body: Body, points_mm: Floats, radius_mm: float) -> NDArray[np.bool_]:
    """Tell which points have no surface of a body within a radius.

    Parameters
    ----------
    body : Body
    points_mm : ndarray of float, shape (n, 3)
    radius_mm : float
    """
    clear = np.ones(len(points_mm), dtype=bool)
    if not len(points_mm):
        return clear
    corners = body.corners_mm
    low, high = (
        least(corners[:, 0], least(corners[:, 1], corners[:, 2]))
        for least in (np.minimum, np.maximum)
    )
    around = points_mm.min(axis=0) - radius_mm, points_mm.max(axis=0) + radius_mm
    near = np.flatnonzero(((low <= around[1]) & (high >= around[0])).all(axis=1))
    if not len(near):
        return clear
    trees = box_tree(points_mm, points_mm), box_tree(low[near], high[near])
    for at, triangle in overlapping(*trees, radius_mm):
        away_mm = to_triangles_mm(points_mm[at], corners[near[triangle]])
        clear[at[away_mm < radius_mm]] = False
    return clear


def to_triangles_mm(points_mm: Floats, corners_mm: Floats) -> Floats:
    """Return the distance of each point to its own triangle.

    Parameters
    ----------
    points_mm : ndarray of float, shape (n, 3)
    corners_mm : ndarray of float, shape (n, 3, 3)

    Examples
    --------
    >>> corners = np.array([[[0.0, 0, 0], [4, 0, 0], [0, 4, 0]]] * 3)
    >>> to_triangles_mm(np.array([[1.0, 1, 2], [-3, 1, 0], [4, 4, 0]]), corners).round(3).tolist()
    [2.0, 3.0, 2.828]
    """
    starts, ends = corners_mm, np.roll(corners_mm, -1, axis=1)
    edges, away = ends - starts, points_mm[:, None, :] - starts
    squares = np.einsum("nij,nij->ni", edges, edges)
    share = np.einsum("nij,nij->ni", away, edges) / np.where(squares > 0, squares, 1.0)
    beside = away - np.clip(share, 0.0, 1.0)[:, :, None] * edges
    least_mm = np.sqrt(np.einsum("nij,nij->ni", beside, beside).min(axis=1))
    normal = np.cross(edges[:, 0], edges[:, 1])
    turns = np.einsum("nij,nj->ni", np.cross(edges, away), normal)
    length = np.linalg.norm(normal, axis=1)
    height_mm = np.abs(np.einsum("nj,nj->n", away[:, 0], normal)) / np.where(length > 0, length, 1)
    over = (turns >= 0).all(axis=1) & (length > 0)
    return np.asarray(np.where(over, height_mm, least_mm))
