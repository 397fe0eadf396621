"""Fit trials against the gap: the chance of each grade, and what the hands found.

One lane for each grade, from tight to loose. The filled curve of a lane is the chance of exactly
that grade on the next print; discs at its foot count the trials that found it at that gap.
"""

from collections import Counter

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from coupons.answering.offset import chances_in, clearances
from coupons.answering.question import Question
from coupons.answering.words.numbers import counted
from coupons.learning.profile import Profile
from coupons.showing.families import Family
from coupons.showing.plots.plot import Frame, Scale, drawing, number, path_data, x_label
from coupons.terms import GRADES, Grade

Array = NDArray[np.floating]

_WIDTH, _LANE, _LEFT, _TOP, _BOTTOM = 360.0, 42.0, 58.0, 16.0, 38.0
_ROOM_MM = 0.08  # shown on both sides of the gaps tried
_CURVE_SHARE = 0.82  # of a lane's height that a chance of 1 takes
_STEPS = 121


def grade_chances(profile: Profile, family: Family, gaps_mm: Array) -> Array:
    """Return the chance of each grade at each drawn gap on the next print, shape (5, n)."""
    cases = clearances(profile, Question(family.joint, Grade.SLIDE, family.move), gaps_mm)
    return np.asarray(np.maximum(chances_in(cases), 0.0))


def fit_plot(profile: Profile, family: Family) -> Markup:
    """Draw one kind of joint."""
    low, high = family.gaps_mm
    ends = low - _ROOM_MM, high + _ROOM_MM
    height = _TOP + 5 * _LANE + _BOTTOM
    area = Frame(
        _WIDTH,
        height,
        Scale(*ends, _LEFT, _WIDTH - 10),
        # Lane k stands between the values k and k + 1.
        Scale(0.0, 5.0, height - _BOTTOM, _TOP),
    )
    joint = family.joint
    words = (
        f"{joint.internal} and {joint.external}, {joint.size_mm:g} mm, {joint.direction}: chance "
        f"of each grade over drawn gaps of {number(low)} to {number(high)} mm, and "
        + counted(len(family.outcomes), "trial")
    )
    return drawing(
        area,
        words,
        _ticks(area),
        _curves(area, profile, family),
        _open_trials(area, family),
        _discs(area, family),
        x_label(area, "drawn gap, mm over both sides"),
    )


def _ticks(area: Frame) -> Markup:
    bottom, top = area.y.start, area.y.stop
    return Markup("").join(
        Markup(
            '<path class="{4}" d="M{0} {1}V{2}"/><text class="mid" x="{0}" y="{3}">{5}</text>'
        ).format(area.x(t), bottom, top, bottom + 15, "zero" if t == 0 else "grid", number(t))
        for t in area.x.ticks()
    )


def _curves(area: Frame, profile: Profile, family: Family) -> Markup:
    gaps = np.linspace(area.x.low, area.x.high, _STEPS)
    chances = grade_chances(profile, family, gaps)
    parts = []
    for lane, (grade, chance) in enumerate(zip(GRADES, chances, strict=True)):
        heights = lane + _CURVE_SHARE * chance
        shape = path_data(
            area, [(gaps[0], lane), *zip(gaps, heights, strict=True), (gaps[-1], lane)]
        )
        parts.append(
            Markup(
                '<path class="lane g{0}" d="{1}z"/><path class="floor" d="M{2} {3}H{4}"/>'
                '<text class="end name" x="{5}" y="{6}">{7}</text>'
            ).format(
                lane + 1,
                shape,
                area.x.start,
                area.y(lane),
                area.x.stop,
                area.x.start - 7,
                area.y(lane) - 4,
                grade,
            )
        )
    return Markup("").join(parts)


def _discs(area: Frame, family: Family) -> Markup:
    """Draw a disc where trials found just one grade; its area counts them."""
    counted = Counter(
        (GRADES.index(o.tightest), o.gap_mm) for o in family.outcomes if o.tightest is o.loosest
    )
    return Markup("").join(
        Markup(
            '<circle class="found g{}" cx="{}" cy="{}" r="{:.2f}"><title>{}</title></circle>'
        ).format(
            lane + 1,
            area.x(gap),
            area.y(lane),
            3.2 * np.sqrt(times),
            f"{GRADES[lane]} at {number(gap)} mm: {times} ×",
        )
        for (lane, gap), times in sorted(counted.items())
    )


def _open_trials(area: Frame, family: Family) -> Markup:
    """Draw a bar over the grades that a trial left open: ``go`` is push, slide or loose."""
    counted = Counter(
        (GRADES.index(o.tightest), GRADES.index(o.loosest), o.gap_mm)
        for o in family.outcomes
        if o.tightest is not o.loosest
    )
    return Markup("").join(
        Markup(
            '<path class="open" stroke-width="{:.2f}" d="M{} {}V{}"><title>{}</title></path>'
        ).format(
            2.2 * np.sqrt(times),
            area.x(gap),
            area.y(low),
            area.y(high),
            f"{GRADES[low]} to {GRADES[high]} at {number(gap)} mm: {times} ×",
        )
        for (low, high, gap), times in sorted(counted.items())
    )
