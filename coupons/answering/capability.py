"""Process capability: limits of size and fit, and the tolerance grade that a printer reaches."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from coupons.answering.chances.one_print import log_sd_after
from coupons.answering.chances.prints import MadeFrom, made_by
from coupons.answering.chances.shared import shared_of
from coupons.answering.chances.together import Together, chance_together
from coupons.answering.single import (
    PrintedSize,
    SizeAnswer,
    SizeQuestion,
    draw_size,
    size_demand,
)
from coupons.answering.standards.iso286 import (
    GRADE_NUMBERS,
    FitLimits,
    it_grade_reached,
    tolerance_mm,
)
from coupons.answering.standards.published import rows
from coupons.answering.told import Told
from coupons.learning.effects import height_share
from coupons.learning.profile import MeasuredRange, Profile
from coupons.terms import INTERNAL, Direction, Feature, Form

Array = NDArray[np.floating]

BAND_SDS = 6.0
# So many draws give a confidence to half a point.
_DRAWS = 10_000
BAND_RULE = (
    "A grade counts as reached if six standard deviations of the printed size, feature to feature "
    "and print to print, fit within its tolerance (common practice for a capable process, no "
    "source)."
)


@dataclass(frozen=True)
class Reach:
    """The finest tolerance grade that the scatter of one kind of size fits into.

    Parameters
    ----------
    form : Form
    direction : Direction
    low_mm, high_mm : float
        The measured sizes within one size step of the standard.
    band_mm : float
        Median of the six standard deviations; they are known only roughly.
    grade : int or None
        The finest that they fit into with at least an even chance: 6 for IT6 or finer, None for
        wider than IT14.
    confidences : dict of int to float
        Chance that they fit into each grade, from 6 to 14.
    quantiles_mm : tuple of float
        Percentiles of what the six standard deviations may be, from 0 to 100.
    assumed : float
        Share of the scatter's mean square that no print showed, but is taken from common practice.
    after_mm : (float, float)
        The tenth and the ninetieth percentile of six standard deviations as a second print, fitted
        together, would leave them.
    """

    form: Form
    direction: Direction
    low_mm: float
    high_mm: float
    band_mm: float
    grade: int | None
    confidences: dict[int, float]
    quantiles_mm: tuple[float, ...]
    assumed: float
    after_mm: tuple[float, float]

    def confidence_within(self, width_mm: float) -> float:
        """Chance that they fit into a tolerance of this width, in mm."""
        shares = np.linspace(0, 1, len(self.quantiles_mm))
        return float(np.interp(width_mm, self.quantiles_mm, shares))

    @property
    def confidence(self) -> float:
        """Chance that ``grade`` is reached; if it is None, that IT14 is not."""
        if self.grade is None:
            return 1 - self.confidences[GRADE_NUMBERS[-1]]
        return self.confidences[self.grade]


@dataclass(frozen=True)
class LimitsAnswer(Told):
    """Which drawn sizes come closest to the limits of a hole and a shaft, with their chance.

    ``both`` is the chance that one pair of the next print holds all four limits. ``reached`` holds
    the grades of both forms in this direction, at every size step that was measured.
    """

    fit: FitLimits
    hole: SizeAnswer
    shaft: SizeAnswer
    both: Together
    reached: tuple[Reach, ...]
    is_one_print: bool = True

    def __repr__(self) -> str:
        """One line: what was asked, what to draw, with what chance."""
        sides = [(side.question, side.drawn_mm) for side in (self.hole, self.shaft)]
        codes = "/".join(asked.limits.code for asked, _ in sides if asked.limits)
        drawn = ", ".join(f"{asked.form} {drawn_mm:g} mm" for asked, drawn_mm in sides)
        return f"<LimitsAnswer to {codes}: draw {drawn}; {100 * self.both.chance:.0f} % chance>"


def meet_limits(
    profile: Profile,
    fit: FitLimits,
    internal: Form,
    external: Form,
    direction: Direction,
    external_direction: Direction | None = None,
    made: MadeFrom | None = None,
) -> LimitsAnswer:
    """Say what to draw so that both sides print in the middle of their limits.

    Parameters
    ----------
    profile : Profile
    fit : FitLimits
    internal, external : Form
    direction : Direction
    external_direction : Direction, optional
        Of the external body, where it is printed lying otherwise.
    made : MadeFrom, optional
        The prints that the bodies come from; by default one print of ``profile``.

    Raises
    ------
    AnswerError
        If the sizes make no sense.
    NotMeasuredError
        If the profile has almost no data on one of the sides.
    """
    made = made or made_by(profile)
    sides = (
        (internal, direction, fit.hole, made.internal),
        (external, external_direction or direction, fit.shaft, made.external),
    )
    answers, demands, kinds = [], [], []
    for form, lies, limits, at in sides:
        maker = made.profile_of(internal=form in INTERNAL)
        found = draw_size(maker, SizeQuestion(form, limits.middle_mm, lies, limits))
        answers.append(found)
        demands.append(size_demand(maker, found.question, found.drawn_mm, limits, made.prints, at))
        kinds.append((id(maker), form, lies))
    return LimitsAnswer(
        fit=fit,
        hole=answers[0],
        shaft=answers[1],
        both=chance_together(demands, shared_of(made.prints)),
        reached=tuple(
            reach
            for maker in made.prints.profiles
            for reach in grades_reached(maker)
            if (id(maker), reach.form, reach.direction) in kinds
        ),
        is_one_print=made.internal == made.external,
    )


def grades_reached(
    profile: Profile, among: Sequence[MeasuredRange] | None = None
) -> tuple[Reach, ...]:
    """Return the tolerance grade that the scatter reaches, per form, direction and size step.

    Only measured sizes are given, in the steps of the standard that the measured sizes fall into.

    Parameters
    ----------
    profile : Profile
    among : sequence of MeasuredRange, optional
        The sizes to work it out for; all that the profile measured unless given.

    Examples
    --------
    >>> from coupons import load_profile
    >>> profile = load_profile("results/filter-drawer/profile.json").profile
    >>> slots = [reach for reach in grades_reached(profile) if reach.form is Form.SLOT]
    >>> slots[0].low_mm, slots[0].high_mm, slots[0].grade is not None
    (3.88, 6.0, True)
    """
    return tuple(
        _reach(profile, found, max(over_mm, found.low_mm), min(to_mm, found.high_mm))
        for found in (profile.measured if among is None else among)
        for over_mm, to_mm in _steps()
        if over_mm < found.high_mm and found.low_mm <= to_mm
    )


def _steps() -> list[tuple[float, float]]:
    return [(float(row["over_mm"]), float(row["to_incl_mm"])) for row in rows("iso286_it_grades")]


def _reach(profile: Profile, found: MeasuredRange, low_mm: float, high_mm: float) -> Reach:
    feature = Feature(found.form, high_mm, found.direction)
    z = height_share(feature)
    counts = {"tau": 1 - z, "tau_z": z}
    acts = PrintedSize(profile, feature).row @ profile.print_moves
    for effect, act in zip(profile.prior_table.prints, acts.tolist(), strict=True):
        count = counts.get(effect.scatter, 0.0)
        counts[effect.scatter] = count + (effect.share * act) ** 2
    bands_mm = _bands_mm(profile, counts)
    band_mm = float(np.median(bands_mm))
    return Reach(
        form=found.form,
        direction=found.direction,
        low_mm=low_mm,
        high_mm=high_mm,
        band_mm=band_mm,
        grade=it_grade_reached(band_mm, high_mm),
        confidences={
            number: float(np.mean(bands_mm <= tolerance_mm(number, high_mm)))
            for number in GRADE_NUMBERS
        },
        quantiles_mm=tuple(np.quantile(bands_mm, np.linspace(0, 1, 101)).tolist()),
        assumed=_assumed(profile, counts),
        after_mm=_after_mm(profile, counts),
    )


def _after_mm(profile: Profile, counts: Mapping[str, float]) -> tuple[float, float]:
    """Return between what the band would be known to lie after a second print."""
    between = {effect.scatter for effect in profile.prior_table.prints}
    log_sds = {name: log_sd_after(profile, name) for name in counts if name in between}
    low_mm, high_mm = np.quantile(_bands_mm(profile, counts, log_sds), (0.1, 0.9)).tolist()
    return low_mm, high_mm


def _bands_mm(
    profile: Profile, counts: Mapping[str, float], log_sds: Mapping[str, float] | None = None
) -> Array:
    """Return what the band may be, drawn from what is known of the scatters.

    ``log_sds`` holds how well some of them are known, if otherwise than the profile says.
    """
    draws = _normal_draws(len(counts))
    variance = np.zeros(_DRAWS)
    for (name, count), normal in zip(counts.items(), draws, strict=True):
        spread = profile.scatters[name]
        log_sd = (log_sds or {}).get(name, spread.log_sd)
        variance += count * (spread.median_mm * np.exp(log_sd * normal)) ** 2
    return BAND_SDS * np.sqrt(variance)


@cache  # the same draws for every band, so that bands differ by their scatters alone
def _normal_draws(rows: int) -> Array:
    draws = np.random.default_rng(0).normal(size=(rows, _DRAWS))
    draws.flags.writeable = False
    return draws


def _assumed(profile: Profile, counts: Mapping[str, float]) -> float:
    """Return the share of the mean square that is the prior's and not learned."""
    squares = {
        name: count * profile.scatters[name].mean_square for name, count in counts.items() if count
    }
    priors = profile.prior_table.scatters
    unmoved = [n for n in squares if priors[n].is_unmoved(profile.scatters[n].log_sd)]
    return sum(squares[name] for name in unmoved) / sum(squares.values())
