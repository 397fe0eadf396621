"""Extrapolation: the added uncertainty outside the sizes that were measured and tried.

One rule for every answer. Inside the measured sizes nothing is added. Outside of them the printed
size of a form is taken to differ from the profile's prediction by a standard deviation of

* 0.2 % of each millimetre beyond the largest size, as inner and outer faces may shrink unlike;
* 2 · 0.03 mm · (5/size − 5/smallest) below the smallest one, as small sizes draw in.

Outside the sizes that were tried by hand the feel of a fit changes by 0.015 mm for each factor e.
All three are the model's prior standard deviations of such effects, from common practice; there
is no source. They begin at zero at the ends of a range, so that answers have no step there.
"""

import math
from collections.abc import Sequence

from coupons.learning.profile import MeasuredRange, Profile
from coupons.terms import Direction, Form

NEAR_MM = 0.5
"""How far a joint's size may lie beyond the sizes of one body: its mate differs by the gap."""
_LARGER_SHARE = 0.002
_SMALLER_MM, _REFERENCE_MM = 0.03, 5.0
_FEEL_MM = 0.015


def ranges_of(
    profile: Profile, forms: Sequence[Form], direction: Direction
) -> tuple[MeasuredRange, ...]:
    """Return what was measured of each form in a direction; forms without any are left out."""
    return tuple(
        found
        for form in forms
        for found in profile.measured
        if (found.form, found.direction) == (form, direction)
    )


def lies_near(size_mm: float, measured: MeasuredRange) -> bool:
    """Tell whether a joint of this size is one of those measured.

    The two bodies of a joint differ by its gap, so a coupon with a tongue of 4 mm has slots from
    4.1 mm on: a joint of 4 mm was tried there.
    """
    return measured.low_mm - NEAR_MM <= size_mm <= measured.high_mm + NEAR_MM


def size_variance(profile: Profile, form: Form, direction: Direction, size_mm: float) -> float:
    """Return the variance in mm² added to a printed size outside the measured ones.

    If no such form was measured in the direction, all measured sizes count.

    Examples
    --------
    >>> from coupons import load_profile
    >>> profile = load_profile("results/filter-drawer/profile.json").profile
    >>> [
    ...     round(size_variance(profile, Form.TONGUE, Direction.X, mm) ** 0.5, 3)
    ...     for mm in (1.5, 3, 82, 182)
    ... ]
    [0.1, 0.0, 0.0, 0.2]
    """
    ranges = ranges_of(profile, [form], direction) or profile.measured
    if not ranges:
        return 0.0
    smallest_mm, largest_mm = min(m.low_mm for m in ranges), max(m.high_mm for m in ranges)
    above_mm = max(0.0, size_mm - largest_mm)
    below = max(0.0, _REFERENCE_MM / size_mm - _REFERENCE_MM / smallest_mm)
    return (_LARGER_SHARE * above_mm) ** 2 + (2 * _SMALLER_MM * below) ** 2


def feel_variance(
    profile: Profile, ways: Sequence[tuple[Form, Direction]], size_mm: float
) -> float:
    """Return the variance in mm² added to the thresholds of a fit outside the sizes tried by hand.

    Zero if a profile does not say what was tried, or if nothing was.
    """
    tried = [
        found.tried_mm
        for form, direction in ways
        for found in ranges_of(profile, [form], direction)
        if found.tried_mm
    ]
    if not tried:
        return 0.0
    low_mm, high_mm = min(ends[0] for ends in tried), max(ends[1] for ends in tried)
    folds = max(0.0, math.log(size_mm / high_mm), math.log(low_mm / size_mm))
    return (_FEEL_MM * folds) ** 2
