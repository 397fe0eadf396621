"""Cutting a body with a plane."""

import numpy as np

from coupons.answering.meshes.body import Body, Floats, Ints
from coupons.answering.meshes.surface import closed_runs

_ASIDE_MM = 1e-4  # the plane is moved so far from a vertex that it would hit


def cut(body: Body, point_mm: Floats, normal: Floats) -> list[Floats]:
    """Return the closed lines along which a plane cuts a body, shape (k, 3) each."""
    heights = (body.vertices_mm - point_mm) @ normal
    while (np.abs(heights) < _ASIDE_MM / 10).any():
        heights = heights + _ASIDE_MM
    edges = body.edges
    ends = heights[edges.vertices]
    crossed = np.flatnonzero((ends[:, 0] > 0) != (ends[:, 1] > 0))
    if not len(crossed):
        return []
    share = ends[crossed, 0] / (ends[crossed, 0] - ends[crossed, 1])
    start, stop = np.moveaxis(body.vertices_mm[edges.vertices[crossed]], 1, 0)
    points = start + share[:, None] * (stop - start)
    return [points[run] for run in closed_runs(_steps(edges.triangles[crossed], ends[crossed]))]


def _steps(triangles: Ints, ends: Floats) -> Ints:
    """Return from which crossed edge to which the line goes, one step a cut triangle.

    An edge's first triangle runs along it from its first end. So the line leaves that triangle by
    the edges that rise through the plane, and enters by those that fall.
    """
    number = np.arange(len(triangles))
    rising = ends[:, 1] > 0
    leaves = np.concatenate([triangles[rising, 0], triangles[~rising, 1]])
    enters = np.concatenate([triangles[~rising, 0], triangles[rising, 1]])
    by_edge_out = np.concatenate([number[rising], number[~rising]])
    by_edge_in = np.concatenate([number[~rising], number[rising]])
    first, second = np.argsort(enters, kind="stable"), np.argsort(leaves, kind="stable")
    return np.column_stack([by_edge_in[first], by_edge_out[second]])
