"""Bending of a rule under the caliper's jaws: they press blocks together and notches apart.

A bar is walked along in short steps. In each the two moments of the force, about the middle of the
section there, turn the section and the force itself shortens it; what that brings the jaws nearer
by is added up. Sections are those of the record, so a rule on a thin strip bends as one would.
"""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from coupons.making.record import Coupon, CouponBar, CouponFeature, CouponSection
from coupons.terms import INTERNAL, Direction

Numbers = NDArray[np.floating]

STEP_MM = 0.1
_ROOT = math.sqrt(0.5)
_ALONG: dict[Direction, tuple[float, float, float]] = {
    Direction.X: (1.0, 0.0, 0.0),
    Direction.Y: (0.0, 1.0, 0.0),
    Direction.XY_PLUS: (_ROOT, _ROOT, 0.0),
    Direction.XY_MINUS: (_ROOT, -_ROOT, 0.0),
}


def gives_per_mm(coupon: Coupon) -> Numbers:
    """Return how much longer each feature reads under the jaws, times modulus over force, in 1/mm.

    Below zero where outside jaws press it together; zero for what is no part of a bar.
    """
    bars = {bar.body: bar for bar in coupon.bars}
    by_body: dict[str, list[CouponFeature]] = {body: [] for body in bars}
    for feature in coupon.features:
        if feature.body in bars:
            by_body[feature.body].append(feature)
    return np.array(
        [
            _gives(feature, bars[feature.body], by_body[feature.body])
            if feature.body in bars
            else 0.0
            for feature in coupon.features
        ],
        dtype=float,
    )


def _gives(feature: CouponFeature, bar: CouponBar, of_body: Sequence[CouponFeature]) -> float:
    along = np.array(_ALONG[bar.direction])
    place = np.array(feature.place_mm)
    count = max(1, round(feature.size_mm / STEP_MM))
    step = feature.size_mm / count
    spots = place @ along + (np.arange(count) + 0.5) * step - feature.size_mm / 2
    in_notch = np.zeros(count, dtype=bool)
    for notch in of_body:
        if notch.form in INTERNAL:
            in_notch |= np.abs(spots - np.array(notch.place_mm) @ along) < notch.size_mm / 2
    notches = int(in_notch.sum())
    nearer = step * (
        notches * _nearer(bar.at_notch, along, place)
        + (count - notches) * _nearer(bar.at_block, along, place)
    )
    return nearer if feature.form in INTERNAL else -nearer


def _nearer(section: CouponSection, along: Numbers, place: Numbers) -> float:
    """Return how much a unit of length yields between jaws, for a unit of force × 1/E."""
    across = np.array([-along[1], along[0], 0.0])
    off = place - np.array(section.middle_mm)
    arm = np.array([off @ across, off[2]])
    by_across, by_up, mixed = section.second_mm4
    turn = np.linalg.solve(np.array([[by_across, mixed], [mixed, by_up]]), arm)
    return float(1 / section.area_mm2 + turn @ arm)
