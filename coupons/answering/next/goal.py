"""What a new coupon is for: joints to be known, how far, and what stays open in any case."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coupons.answering.next.coupon import CoveredQuestion, ask_about
from coupons.answering.next.priced_rows import Reach
from coupons.answering.next.row_information import N_SHARED
from coupons.answering.next.row_options import Target
from coupons.answering.wanted_window import interval_variances, window_row
from coupons.learning.effects import TERMS
from coupons.learning.profile import MeasuredRange, Profile, joined_ranges

Array = NDArray[np.floating]

NORMAL_90 = 1.6449
"""Half width of a normal's 90 % interval, in standard deviations."""


@dataclass(frozen=True)
class JointWant:
    """A joint to be known.

    Parameters
    ----------
    asked : CoveredQuestion
    within_mm : float, optional
        Half width of the 90 % interval that is enough; without it, the narrower the better.
    """

    asked: CoveredQuestion
    within_mm: float | None = None

    @property
    def is_met(self) -> bool:
        """Whether it is known well enough now."""
        enough = self.within_mm is not None and self.asked.known_to_mm <= self.within_mm
        return enough and self.asked.measured

    @property
    def target(self) -> Target:
        """The joint that rows are made for, with the gap that is believed to be the wanted one."""
        question, case = self.asked.question, self.asked.cases[0]
        row = window_row(case, question)[0]
        wanted_mm = question.printed_gap_mm or 0.0
        gap_mm = wanted_mm - float(case.given_mm[0] + row @ case.profile.mean_vector)
        joint = question.joint
        return Target(question.printed_forms, joint.direction, joint.size_mm, gap_mm)


class Goal:
    """All wants together, as sums of what a print has in common.

    Parameters
    ----------
    profile : Profile
    wants : sequence of JointWant
    """

    def __init__(self, profile: Profile, wants: Sequence[JointWant]) -> None:
        self.profile, self.wants = profile, tuple(wants)
        rows, owner = [], []
        for number, want in enumerate(wants):
            for case in want.asked.cases:
                rows.append(np.pad(window_row(case, want.asked.question)[0], (0, _BEYOND)))
                owner.append(number)
        self.rows = np.array(rows)
        """One row a case of a want, shape (n_cases, N_SHARED)."""
        share = np.equal.outer(np.arange(len(wants)), owner).astype(float)
        self._share = share / share.sum(axis=1, keepdims=True)
        within = [np.log(want.within_mm) if want.within_mm else -np.inf for want in wants]
        self._enough = np.array(within)
        self._open: dict[tuple[int, tuple[MeasuredRange, ...]], float] = {}

    def variances(self, state: Array) -> Array:
        """Return the variance of each case, averaged over printers, in mm².

        Parameters
        ----------
        state : ndarray of shape (n_printers, N_SHARED, N_SHARED)
        """
        return np.asarray(np.einsum("ma,kab,mb->km", self.rows, state, self.rows).mean(axis=0))

    def halves_mm(self, variances: Array, reaches: Iterable[Reach]) -> Array:
        """Return how far each want is known, as half widths of 90 % intervals.

        Parameters
        ----------
        variances : ndarray of shape (..., n_cases)
        reaches : iterable of Reach
            What the coupon measures and tries, beside what was measured before.

        Returns
        -------
        ndarray of shape (..., n_wants)
        """
        whole = variances @ self._share.T + self._staying_open(self.measured_with(reaches))
        return np.asarray(NORMAL_90 * np.sqrt(whole))

    def loss(self, halves_mm: Array) -> Array:
        """Return the sum of the logarithms of half widths, none below what is enough."""
        return np.asarray(np.maximum(np.log(halves_mm), self._enough).sum(axis=-1))

    def known_to_mm(self, covariance: Array, reaches: Iterable[Reach]) -> tuple[float, ...]:
        """Return how far each want is known with a covariance of the terms, as `offset` would."""
        return tuple(
            asked.known_to_mm_after(covariance)
            for asked in self._asked(self.measured_with(reaches))
        )

    def _staying_open(self, measured: tuple[MeasuredRange, ...]) -> Array:
        """Return the variance of each want that is left where all terms are known, in mm²."""
        return np.array([self._open_of(n, measured) for n in range(len(self.wants))])

    def _open_of(self, number: int, measured: tuple[MeasuredRange, ...]) -> float:
        ways = set(self.wants[number].asked.question.ways)
        own = tuple(one for one in measured if (one.form, one.direction) in ways)
        # Only where one of its forms was not measured do the ranges of others count.
        key = number, own if {(one.form, one.direction) for one in own} == ways else measured
        if key not in self._open:
            self._open[key] = _open(self._asked_of(number, key[1]))
        return self._open[key]

    def _asked(self, measured: tuple[MeasuredRange, ...]) -> list[CoveredQuestion]:
        return [self._asked_of(n, measured) for n in range(len(self.wants))]

    def _asked_of(self, number: int, measured: tuple[MeasuredRange, ...]) -> CoveredQuestion:
        asked = self.wants[number].asked
        profile = self.profile.model_copy(update={"measured": measured})
        return replace(ask_about(profile, asked.question), name=asked.name)

    def measured_with(self, reaches: Iterable[Reach]) -> tuple[MeasuredRange, ...]:
        """Return what is measured with a coupon: as before, and what it reaches."""
        reached = (
            MeasuredRange(
                form=form,
                direction=direction,
                low_mm=low_mm,
                high_mm=high_mm,
                tried_mm=(low_mm, high_mm) if tried else None,
            )
            for form, direction, low_mm, high_mm, tried in reaches
        )
        return joined_ranges((*self.profile.measured, *reached))


_BEYOND = N_SHARED - len(TERMS)


def _open(asked: CoveredQuestion) -> float:
    found = []
    for case in asked.cases:
        row = window_row(case, asked.question)
        variances, weights = interval_variances(case, asked.question, row, of_machine=0.0)
        found.append(float(weights @ variances))
    return float(np.mean(found))
