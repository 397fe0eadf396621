"""Whether the surface of a body is near to points."""

import numpy as np
from numpy.typing import NDArray

from coupons.answering.meshes.body import Body, Floats, boxes_of, lengths_of
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
    low, high = boxes_of(corners)
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
    from trimesh.triangles import closest_point  # long to import

    nearest_mm = closest_point(corners_mm, points_mm)  # type: ignore[no-untyped-call]
    return lengths_of(nearest_mm - points_mm)
