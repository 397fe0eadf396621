"""Holding the mesh against the record: each surface must lie where the map points to it.

Every triangle knows which feature made it, through all unions and cuts. So the check needs no
drawing: the middle of a feature's triangles, across its faces, must be its recorded place.
Beside that every mate must find room where it comes to rest (:mod:`coupons.making.seating`).
"""

import math

import numpy as np
from numpy.typing import NDArray

from coupons.errors import Problem
from coupons.making.plan import Plan, record
from coupons.making.record import Coupon, CouponFeature
from coupons.making.seating import crowded
from coupons.making.solids import Solid
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
    """Return all that keeps a built plan from being written: surfaces, and mates without room."""
    return [*disagreements(record(plan), solids), *crowded(plan.rows)]


def disagreements(coupon: Coupon, solids: tuple[Solid, ...]) -> list[Problem]:
    """Return each feature whose surface is missing from its body or lies beside its place."""
    by_body = {solid.body: solid for solid in solids}
    problems = []
    for feature in coupon.features:
        solid = by_body[feature.body]
        if feature.id not in solid.features:
            continue  # a length between faces of other parts has no surface of its own
        surface = _surface_mm(solid, feature.id)
        off = _off_mm(feature, surface) if len(surface) else math.inf
        if off > AGREE_MM:
            problems.append(
                Problem(
                    f"feature {feature.id}",
                    f"its surface within {AGREE_MM:g} mm of {feature.place_mm}",
                    f"{off:.3f} mm beside it" if len(surface) else "none",
                )
            )
    return problems


def _surface_mm(solid: Solid, feature: str) -> NDArray[np.float64]:
    own = solid.triangles[solid.made_by == solid.features.index(feature)]
    points: NDArray[np.float64] = solid.vertices_mm[own.ravel()] + np.array(solid.origin_mm)
    return points


def _off_mm(feature: CouponFeature, surface: NDArray[np.float64]) -> float:
    """Return how far the middle of a surface is from its place, across the feature's faces."""
    off = 0.0
    for direction in _measured(feature):
        along = surface @ ACROSS[direction]
        middle = (along.min() + along.max()) / 2
        off = max(off, abs(middle - float(np.dot(feature.place_mm, ACROSS[direction]))))
    return off


def _measured(feature: CouponFeature) -> tuple[Direction, ...]:
    """Return the level directions across a round, or the one across a flat feature."""
    if feature.form not in ROUND:
        return (feature.direction,)
    return tuple(d for d in (Direction.X, Direction.Y) if d is not feature.direction)
