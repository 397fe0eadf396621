"""Faces that lean to the way in which two bodies are pulled apart: wedges, dovetails, tapers.

The angle is that between a face and the pull. A gap g along the normals, over both sides, opens the
bodies by g / cos α across and lets them slide by g / (2 sin α) along the pull (plane geometry).

How far plastic stands proud of a leaning face is taken to lie between what it is across and along
the pull, in the shares cos² α and sin² α, off by a standard deviation of 0.03 mm a face in the
share sin 2α; the stair of the layers to be felt as on lying rounds, in the same share (from memory,
no source). Nobody has tried such a pair by hand.
"""

import math

import numpy as np
from numpy.typing import NDArray

from coupons.learning.effects import LOSSES, effect_rows, height_share
from coupons.terms import INTERNAL, Direction, Feature, Form, Joint, Slant

Array = NDArray[np.floating]

_FACE_MM = 0.03
_LYING = LOSSES.index("lying_loss")


def odd_slant(joint: Joint) -> str:
    """Say why faces cannot lean as asked; empty if they can, or do not lean."""
    slant = joint.slant
    if slant is None:
        return ""
    if not 0 < slant.angle_deg < 90:
        why = (
            "0 is an ordinary pair, leave the angle out; at 90 a face is square to the pull and "
            "stops it"
        )
        return f"A slant must be over 0 and under 90 degrees, not {slant.angle_deg:g}: {why}."
    round_joint = joint.internal is Form.HOLE
    for form, lies, pull in zip(joint.forms, joint.directions, slant.pulls, strict=True):
        if (lies is pull) is not round_joint:
            where = "along its axis" if round_joint else "square to the direction across it"
            return f"A {form} {lies} is pulled {where}, not along {pull}."
    return ""


def across_mm(joint: Joint, normal_mm: Array) -> Array:
    """Return how much wider a gap along the normals is across, in mm."""
    if joint.slant is None:
        return normal_mm
    return normal_mm / math.cos(math.radians(joint.slant.angle_deg))


def pull_gap_mm(joint: Joint, normal_mm: float) -> float:
    """Return how far the bodies of a slanted pair move along the pull to close a gap, in mm.

    Examples
    --------
    >>> wedge = Joint(Form.SLOT, Form.TONGUE, 12, Direction.X, slant=Slant(30, Direction.Z))
    >>> round(pull_gap_mm(wedge, 0.2), 6)
    0.2
    """
    if joint.slant is None:
        raise ValueError("a joint whose faces lean")
    return normal_mm / 2 / math.sin(math.radians(joint.slant.angle_deg))


def face_rows(joint: Joint, feature: Feature, sizes_mm: Array) -> Array:
    """Return how effects move a body's size along the normals of its faces, one row a size.

    Of faces that do not lean, `coupons.learning.effects.effect_rows`.
    """
    if joint.slant is None:
        return effect_rows(feature, sizes_mm)
    along, share = _along_pull(joint, feature), _share_along(joint.slant)
    across = effect_rows(feature, sizes_mm / math.sqrt(1 - share))
    return np.asarray((1 - share) * across + share * effect_rows(along, np.zeros(len(sizes_mm))))


def share_of_height(joint: Joint, feature: Feature) -> float:
    """Return how much of a body's own deviation is that along z."""
    z = height_share(feature)
    if joint.slant is None:
        return z
    share = _share_along(joint.slant)
    return (1 - share) * z + share * height_share(_along_pull(joint, feature))


def with_stairs(joint: Joint, losses: Array) -> Array:
    """Return what a pair loses to its form, with the stair of the layers on leaning faces."""
    slant = joint.slant
    if slant is None or not any(
        Direction.Z in pair for pair in zip(joint.directions, slant.pulls, strict=True)
    ):
        return losses
    losses = losses.copy()
    losses[_LYING] = max(losses[_LYING], math.sin(math.radians(2 * slant.angle_deg)))
    return losses


def doubt_mm2(joint: Joint, bodies: int) -> float:
    """Return the variance in mm² of a printed gap because nobody measured faces that lean so."""
    if joint.slant is None:
        return 0.0
    return bodies * (2 * _FACE_MM * math.sin(math.radians(2 * joint.slant.angle_deg))) ** 2


def _share_along(slant: Slant) -> float:
    return math.sin(math.radians(slant.angle_deg)) ** 2


def _along_pull(joint: Joint, feature: Feature) -> Feature:
    """Return a face square to the pull, of the same body."""
    pulls = joint.slant.pulls if joint.slant else joint.directions
    inner = feature.form in INTERNAL
    return Feature(Form.SLOT if inner else Form.TONGUE, 1.0, pulls[0 if inner else 1])
