"""Sizes across faces of a body, measured on its triangles."""

import numpy as np

from coupons.answering.meshes.body import Body, Floats, Ints
from coupons.answering.meshes.regions import Round


def height_mm(body: Body, faces: Ints, normal: Floats) -> float:
    """Return how far out a flat face lies along a normal: the mean over its area."""
    areas = body.areas_mm2[faces]
    middles = body.corners_mm[faces].mean(axis=1) @ normal
    return float(middles @ areas / areas.sum())


def between_mm(body: Body, one: Ints, two: Ints, normal: Floats) -> float:
    """Return the distance between two parallel flat faces, positive whichever is which."""
    return abs(height_mm(body, one, normal) - height_mm(body, two, normal))


def across_corners_mm(body: Body, faces: Ints, one: Round, at_mm: Floats) -> float:
    """Return the diameter of the circle through the corners of a round's strips.

    Parameters
    ----------
    body : Body
    faces : ndarray of int
        The triangles of its strips.
    one : Cylinder or Cone
        Its axis, its angle and how many strips it has.
    at_mm : ndarray of float, shape (3,)
        At which height of the axis.
    """
    point = one.point_mm + float((at_mm - one.point_mm) @ one.axis) * one.axis
    away = body.corners_mm[faces, 0] - point
    far = np.abs(np.einsum("ij,ij->i", away, body.normals[faces]))
    areas = body.areas_mm2[faces]
    return float(2 * (far @ areas) / areas.sum()) / flat_share(one)


def flat_share(one: Round) -> float:
    """Return how far a strip's plane is from a point of the axis, per radius across corners there.

    Of a cylinder the cosine of half the angle of a strip; the strips of a cone lean as well.
    """
    half_strip = float(np.cos(np.radians(one.arc_deg / one.strips / 2)))
    slope = float(np.tan(np.radians(one.half_angle_deg))) * half_strip
    return half_strip / float(np.hypot(1.0, slope))
