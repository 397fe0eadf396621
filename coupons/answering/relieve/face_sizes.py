"""Sizes across faces of a body, measured on its triangles."""

import numpy as np

from coupons.answering.meshes.body import Body, Floats, Ints
from coupons.answering.meshes.regions import Round

_ON_AXIS_MM = 1e-9
_MANY = 2000  # facets, of which some are looked at
_LEANS = 2e-4
"""Root of the mean square by which the facets of a round may lean unlike strips along it."""


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
    if has_loose_facets(body, faces, one):
        corners = body.corners_mm[faces] - point
        slope = float(np.tan(np.radians(one.half_angle_deg)))
        out = np.linalg.norm(np.cross(corners, one.axis), axis=2) - slope * (corners @ one.axis)
        areas = body.areas_mm2[faces]
        return float(2 * (out.mean(axis=1) @ areas) / areas.sum())
    away = body.corners_mm[faces, 0] - point
    far = np.abs(np.einsum("ij,ij->i", away, body.normals[faces]))
    areas = body.areas_mm2[faces]
    return float(2 * (far @ areas) / areas.sum()) / flat_share(one)


def has_loose_facets(body: Body, faces: Ints, one: Round) -> bool:
    """Tell whether a round is made of facets that are no strips along it.

    So it is where a program divides each of its rims by itself: all corners lie on the round, but
    each triangle leans in its own way.
    """
    share = float(np.cos(np.radians(one.arc_deg / one.strips / 2)))
    slope = float(np.tan(np.radians(one.half_angle_deg))) * share
    lean = slope / float(np.hypot(1.0, slope))
    wanted = lean if one.is_inner else -lean
    some = faces[:: max(1, len(faces) // _MANY)]
    off = body.normals[some] @ one.axis - wanted
    areas = body.areas_mm2[some]
    return bool(areas @ off**2 > _LEANS**2 * areas.sum())


def out_of_axis(points_mm: Floats, one: Round) -> Floats:
    """Return the unit directions from the axis of a round to points; zero on the axis."""
    away = points_mm - one.point_mm
    out = away - (away @ one.axis)[..., None] * one.axis
    length = np.linalg.norm(out, axis=-1, keepdims=True)
    return np.asarray(out / np.where(length > _ON_AXIS_MM, length, np.inf))


def flat_share(one: Round) -> float:
    """Return how far a strip's plane is from a point of the axis, per radius across corners there.

    Of a cylinder the cosine of half the angle of a strip; the strips of a cone lean as well.
    """
    half_strip = float(np.cos(np.radians(one.arc_deg / one.strips / 2)))
    slope = float(np.tan(np.radians(one.half_angle_deg))) * half_strip
    return half_strip / float(np.hypot(1.0, slope))
