"""What a standard asks of a printer: limits of size and fit, and the tolerance grade it reaches."""

from dataclasses import dataclass

import numpy as np

from coupons.answering.single import PrintedSize, SizeAnswer, SizeQuestion, draw_size
from coupons.answering.standards import FitLimits, it_grade_reached
from coupons.answering.tables import rows
from coupons.answering.together import Together, chance_together, shared_of
from coupons.learning.profile import Profile
from coupons.terms import Direction, Feature, Form

BAND_SDS = 6.0
BAND_RULE = (
    "A grade counts as reached if six standard deviations of the printed size, feature to feature "
    "and print to print, fit into its tolerance (common practice for a capable process, no source)."
)


@dataclass(frozen=True)
class Reach:
    """The finest tolerance grade that the scatter of one kind of size fits into.

    ``low_mm`` to ``high_mm`` are the measured sizes within one size step of the standard; ``grade``
    is 6 for IT6 or finer, None for wider than IT14.
    """

    form: Form
    direction: Direction
    low_mm: float
    high_mm: float
    band_mm: float
    grade: int | None


@dataclass(frozen=True)
class LimitsAnswer:
    """Which drawn sizes come closest to the limits of a hole and a shaft, and how sure that is.

    ``both`` is the chance that one pair of the next print holds all four limits. ``reached`` holds
    the grades of both forms in this direction, at every size step that was measured.
    """

    fit: FitLimits
    hole: SizeAnswer
    shaft: SizeAnswer
    both: Together
    reached: tuple[Reach, ...]


def meet_limits(
    profile: Profile, fit: FitLimits, internal: Form, external: Form, direction: Direction
) -> LimitsAnswer:
    """Say what to draw so that both sides print in the middle of their limits.

    Raises
    ------
    AnswerError
        If the sizes make no sense.
    NotMeasuredError
        If the profile learned next to nothing about one of the sides.
    """
    sides = ((internal, fit.hole), (external, fit.shaft))
    hole, shaft = (
        draw_size(profile, SizeQuestion(form, limits.middle_mm, direction, limits))
        for form, limits in sides
    )
    demands = [
        PrintedSize(profile, Feature(form, answer.drawn_mm, direction)).demand(limits)
        for (form, limits), answer in zip(sides, (hole, shaft), strict=True)
    ]
    kinds = ((internal, direction), (external, direction))
    return LimitsAnswer(
        fit=fit,
        hole=hole,
        shaft=shaft,
        both=chance_together(demands, shared_of(profile)),
        reached=tuple(
            reach for reach in grades_reached(profile) if (reach.form, reach.direction) in kinds
        ),
    )


def grades_reached(profile: Profile) -> tuple[Reach, ...]:
    """Return the tolerance grade that the scatter reaches, per form, direction and size step.

    Only what was measured is told, in the steps of the standard that the measured sizes fall into.

    Examples
    --------
    >>> from coupons import load_profile
    >>> profile = load_profile("results/filter-drawer/profile.json").profile
    >>> slots = [reach for reach in grades_reached(profile) if reach.form is Form.SLOT]
    >>> slots[0].low_mm, slots[0].high_mm, slots[0].grade is not None
    (3.88, 6.0, True)
    """
    return tuple(
        Reach(found.form, found.direction, low_mm, high_mm, band_mm, grade)
        for found in profile.measured
        for over_mm, to_mm in _steps()
        if over_mm < found.high_mm and found.low_mm <= to_mm
        for low_mm, high_mm in ((max(over_mm, found.low_mm), min(to_mm, found.high_mm)),)
        for band_mm in (_band_mm(profile, Feature(found.form, high_mm, found.direction)),)
        for grade in (it_grade_reached(band_mm, high_mm),)
    )


def _steps() -> list[tuple[float, float]]:
    return [(float(row["over_mm"]), float(row["to_incl_mm"])) for row in rows("iso286_it_grades")]


def _band_mm(profile: Profile, feature: Feature) -> float:
    printed = PrintedSize(profile, feature)
    acts = printed.row @ profile.print_moves
    squares = [spread.mean_square for spread in profile.print_spreads]
    of_print = float(acts**2 @ np.array(squares))
    return BAND_SDS * float(np.sqrt(printed.own_variance + of_print))
