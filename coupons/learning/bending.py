"""How much longer each size of a rule reads between jaws that bend it, from the coupon's record.

Jaws press blocks together and notches apart. What that does to a reading is force over modulus
times what the bar gives, a number of its drawing alone: the sum over the length between the jaws of
the formula in `coupons.making.bodies.stiffness`, with the section of the rails where there is a
notch and that of rails and block elsewhere.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from coupons.learning.effects import ZEROED
from coupons.making.bodies.stiffness import BarSection, shortening_per_mm2
from coupons.making.record import Coupon, CouponBar, CouponFeature, CouponSection
from coupons.measuring.run.entries import SizeEntry
from coupons.terms import INTERNAL, Direction

Point = tuple[float, float, float]

_DIAGONAL = 0.5**0.5
_ALONG: dict[Direction, tuple[float, float]] = {
    Direction.X: (1.0, 0.0),
    Direction.Y: (0.0, 1.0),
    Direction.XY_PLUS: (_DIAGONAL, _DIAGONAL),
    Direction.XY_MINUS: (_DIAGONAL, -_DIAGONAL),
}


def gives_per_mm(coupon: Coupon) -> dict[str, float]:
    """Return by how much longer each size of a rule reads, for each mm² of force over modulus.

    Returns
    -------
    dict of str to float
        By feature; below zero where jaws press it together. What is no rule is not in it, nor are
        rules of records from before their sections were kept.

    Examples
    --------
    >>> from coupons.making.plan import plan_coupon, record
    >>> from coupons.making.spec.coupon_spec import load_spec
    >>> gives = gives_per_mm(record(plan_coupon(load_spec("first"))))
    >>> all(-2 < gave < 2 for gave in gives.values())  # 5 N on 2,000 MPa: below 0.005 mm
    True
    """
    found: dict[str, float] = {}
    for bar in coupon.bars:
        rule = [
            _Size(feature, _turned(feature.place_mm, bar.direction))
            for feature in coupon.features
            if feature.body == bar.body
            and feature.direction is bar.direction
            and feature.place_mm is not None
        ]
        found |= {size.feature.id: _gives(size, bar, rule) for size in rule}
    return found


def gives_of(readings: Sequence[SizeEntry], coupon: Coupon) -> list[float]:
    """Return what rules give in some readings: nothing where no jaws press on the plastic."""
    gives = gives_per_mm(coupon)
    return [
        gives.get(reading.feature, 0.0) if reading.jaws in ZEROED else 0.0 for reading in readings
    ]


@dataclass(frozen=True)
class _Size:
    """A size of a rule and its middle, as (along, across, up) of the bar."""

    feature: CouponFeature
    middle_mm: Point

    @property
    def is_notch(self) -> bool:
        return self.feature.form in INTERNAL

    @property
    def ends_mm(self) -> tuple[float, float]:
        half = self.feature.size_mm / 2
        return self.middle_mm[0] - half, self.middle_mm[0] + half


def _gives(size: _Size, bar: CouponBar, rule: Sequence[_Size]) -> float:
    low, high = size.ends_mm
    notches = (other.ends_mm for other in rule if other.is_notch)
    in_notches = sum(max(0.0, min(high, end) - max(low, begin)) for begin, end in notches)
    at_notch, at_block = (_share(each, size, bar) for each in (bar.at_notch, bar.at_block))
    shorter = in_notches * at_notch + (high - low - in_notches) * at_block
    return shorter if size.is_notch else -shorter


def _share(section: CouponSection, size: _Size, bar: CouponBar) -> float:
    _, across, up = _turned(section.middle_mm, bar.direction)
    known = BarSection(section.area_mm2, (across, up), section.second_mm4)
    return shortening_per_mm2(known, size.middle_mm[1:])


def _turned(place_mm: Point, direction: Direction) -> Point:
    """Return a place on the plate as (along, across, up) of a bar."""
    x, y, z = place_mm
    c, s = _ALONG[direction]
    return x * c + y * s, y * c - x * s, z
