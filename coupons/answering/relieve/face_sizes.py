"""Sizes across faces of a body, measured on its triangles."""

import numpy as np

from coupons.answering.meshes.body import Body, Floats, Ints
from coupons.answering.meshes.rounds import Cylinder


def height_mm(body: Body, faces: Ints, normal: Floats) -> float:
    """Return how far out a flat face lies along a normal: the mean over its area."""
    areas = body.areas_mm2[faces]
    middles = body.corners_mm[faces].mean(axis=1) @ normal
    return float(middles @ areas / areas.sum())


def between_mm(body: Body, one: Ints, two: Ints, normal: Floats) -> float:
    """Return the distance between two parallel flat faces, positive whichever is which."""
    return abs(height_mm(body, one, normal) - height_mm(body, two, normal))


def across_flats_mm(body: Body, faces: Ints, cylinder: Cylinder) -> float:
    """Return the diameter of a cylinder across its flats: twice their mean distance to the axis."""
    away = body.corners_mm[faces, 0] - cylinder.point_mm
    far = np.abs(np.einsum("ij,ij->i", away, body.normals[faces]))
    areas = body.areas_mm2[faces]
    return float(2 * (far @ areas) / areas.sum())


def across_corners_mm(body: Body, faces: Ints, cylinder: Cylinder) -> float:
    """Return the diameter of the circle through the corners of a cylinder's strips."""
    half_strip = np.radians(cylinder.arc_deg / cylinder.strips / 2)
    return across_flats_mm(body, faces, cylinder) / float(np.cos(half_strip))
