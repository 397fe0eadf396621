"""Check the mesh against the record: each surface must be where the record says.

Every triangle knows which feature made it, through all unions and cuts. So the check needs no
drawing: the middle of a feature's triangles, across its faces, must be its recorded place. A
length between faces of other parts has no surface of its own: a line through its place must meet a
face at both its ends. Beside that every mate must find room where it comes to rest
(:mod:`coupons.making.output.seating`).
"""

import math

import numpy as np
from numpy.typing import NDArray

from coupons.errors import Problem
from coupons.making.output.seating import crowded
from coupons.making.output.solids import Solid
from coupons.making.plan import Plan, record
from coupons.making.record import Coupon, CouponFeature
from coupons.terms import ROUND, Direction

AGREE_MM = 0.005

_DIAGONAL = math.sqrt(0.5)
ACROSS: dict[Direction, tuple[float, float, float]] = {
    Direction.X: (1.0, 0.0, 0.0),
    Direction.Y: (0.0, 1.0, 0.0),
    Direction.Z: (0.0, 0.0, 1.0),
    Direction.XY_PLUS: (_DIAGONAL, _DIAGONAL, 0.0),
    Direction.XY_MINUS: (_DIAGONAL, -_DIAGONAL, 0.0),
}


def faults_of(plan: Plan, solids: tuple[Solid, ...]) -> list[Problem]:
    """Return what is wrong with a built plan: misplaced surfaces, and mates without room."""
    return [*disagreements(record(plan), solids), *crowded(plan.rows)]


def disagreements(coupon: Coupon, solids: tuple[Solid, ...]) -> list[Problem]:
    """Return each feature whose surface is missing from its body or out of place."""
    by_body = {solid.body: solid for solid in solids}
    problems = []
    for feature in coupon.features:
        solid = by_body[feature.body]
        own = feature.id in solid.features
        surface = _surface_mm(solid, feature.id) if own else _crossings_mm(solid, feature)
        off = math.inf
        if len(surface):
            off = _off_mm(feature, surface) if own else _ends_off_mm(feature, surface)
        if off > AGREE_MM:
            problems.append(
                Problem(
                    f"feature {feature.id}",
                    f"its surface within {AGREE_MM:g} mm of {feature.place_mm}",
                    f"{off:.3f} mm off" if len(surface) else "none",
                )
            )
    return problems


def _surface_mm(solid: Solid, feature: str) -> NDArray[np.float64]:
    own = solid.triangles[solid.made_by == solid.features.index(feature)]
    points: NDArray[np.float64] = solid.vertices_mm[own.ravel()] + np.array(solid.origin_mm)
    return points


def _crossings_mm(solid: Solid, feature: CouponFeature) -> NDArray[np.float64]:
    """Return where a line through a feature's place, across its faces, meets the solid."""
    along = np.array(ACROSS[feature.direction])
    level = np.array([-along[1], along[0], 0.0]) if along[2] == 0 else np.array([1.0, 0.0, 0.0])
    aside = np.stack([level, np.cross(along, level)], axis=1)
    # A little beside the middle, so that the line does not run along an edge between triangles.
    start = np.array(feature.place_mm) + aside @ (0.0137, 0.0071)
    corners = solid.vertices_mm[solid.triangles].astype(float) + np.array(solid.origin_mm) - start
    flat = corners @ aside
    sides = np.roll(flat, -1, axis=1)
    turns = flat[:, :, 0] * sides[:, :, 1] - flat[:, :, 1] * sides[:, :, 0]
    met = (turns > 0).all(axis=1) | (turns < 0).all(axis=1)
    # Each corner's share of the point that is met is the turn of the side opposite to it.
    shares = np.roll(turns[met], -1, axis=1)
    shares = shares / shares.sum(axis=1, keepdims=True)
    points: NDArray[np.float64] = (shares[:, :, None] * corners[met]).sum(axis=1) + start
    return points


def _ends_off_mm(feature: CouponFeature, crossings: NDArray[np.float64]) -> float:
    """Return how far the worse end of a length is from the nearest face on its line."""
    along = np.array(ACROSS[feature.direction])
    at = (crossings - np.array(feature.place_mm)) @ along
    return float(max(np.abs(at - end * feature.size_mm / 2).min() for end in (-1, 1)))


def _off_mm(feature: CouponFeature, surface: NDArray[np.float64]) -> float:
    """Return how far the middle of a surface is from its place, across the feature's faces."""
    off = 0.0
    for direction in _measured(feature):
        along = surface @ ACROSS[direction]
        middle = (along.min() + along.max()) / 2
        off = max(off, abs(middle - float(np.array(feature.place_mm) @ ACROSS[direction])))
    return off


def _measured(feature: CouponFeature) -> tuple[Direction, ...]:
    """Return the level directions across a round, or the one across a flat feature."""
    if feature.form not in ROUND:
        return (feature.direction,)
    return tuple(d for d in (Direction.X, Direction.Y) if d is not feature.direction)
