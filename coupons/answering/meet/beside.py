"""Single faces that belong to a joint, though no pair of them holds: what becomes of them.

The round ends of a long hole, or the rounded corners of a tongue, go with the flat faces that they
run into. The flat of a shaft in a hole of the same shape does not go with the round beside it.
"""

from enum import StrEnum

import numpy as np

from coupons.answering.meet.grouping import runs_into
from coupons.answering.meet.meetings import Meeting, Met
from coupons.answering.meet.opposite_faces import Contact
from coupons.answering.meshes.regions import ROUND, Region, SurfaceKind, round_of

_SQUARE = 0.02  # cosine between an axis and the normal of a flat along it
_ROOM_MM = 0.1


class Beside(StrEnum):
    """What a single face is to a joint."""

    GOES_ALONG = "goes along"
    FLAT_OF_ROUND = "flat of a round"


def beside(met: Met, rest: Meeting) -> tuple[Beside, Meeting] | None:
    """Return what a rest is to a joint of the same two bodies, and to which; None if nothing."""
    (contact,) = rest.contacts
    for joint in met.joints:
        if set(joint.bodies) != set(contact.bodies):
            continue
        if contact.kind in ROUND and _goes_along(contact, joint):
            return Beside.GOES_ALONG, joint
        if contact.kind is SurfaceKind.PLANE and _is_flat_of(contact, joint):
            return Beside.FLAT_OF_ROUND, joint
    return None


def _goes_along(contact: Contact, joint: Meeting) -> bool:
    """Tell whether the roundings of both bodies run into flat faces of a joint."""
    return all(
        any(
            runs_into(rounding, plane)
            for other in joint.contacts
            if other.kind is SurfaceKind.PLANE
            for plane in other.regions[other.bodies.index(contact.bodies[side])]
            for rounding in contact.regions[side]
            if rounding.cylinder is not None and _is_along(rounding, plane)
        )
        for side in (0, 1)
    )


def _is_along(rounding: Region, plane: Region) -> bool:
    return bool(abs(float(round_of(rounding).axis @ plane.normal)) < _SQUARE)


def _is_flat_of(contact: Contact, joint: Meeting) -> bool:
    """Tell whether a flat contact lies along a pin, nearer to its axis than its wall."""
    for other in joint.contacts:
        if other.kind is not SurfaceKind.CYLINDER:
            continue
        one = round_of(other.regions[0][0])
        away = contact.point_mm - other.point_mm
        along = float(away @ one.axis)
        is_near = np.linalg.norm(away - along * one.axis) < one.corner_mm / 2 - _ROOM_MM
        is_level = abs(along) <= other.depth_mm / 2 + _ROOM_MM
        if is_near and is_level and abs(float(contact.normal @ one.axis)) < _SQUARE:
            return True
    return False
