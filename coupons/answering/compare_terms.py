"""Two profiles compared by what they learned of the printer itself, whatever is drawn by it.

A run of lengths alone answers no question about a fit, and still tells whether a scale moved.
"""

from dataclasses import dataclass

import numpy as np

from coupons.answering.offset import NOTHING_LEARNED
from coupons.learning.effects import EFFECTS, prior_sd
from coupons.learning.profile import Profile

BEYOND_SDS = 1.96
"""A difference as large comes by chance in one comparison of twenty."""
SEEN_SDS = 1.96 + 0.84
"""A move of so many standard deviations of the difference is found in four cases of five."""


@dataclass(frozen=True)
class TermMoved:
    """One effect as two profiles know it.

    Parameters
    ----------
    name : str
        Of `coupons.learning.effects.EFFECTS`.
    before, after : float
        In the term's unit: scales and skew as ratios, the rest in mm a face.
    sd : float
        Standard deviation of the difference, from what is not known of both.
    """

    name: str
    before: float
    after: float
    sd: float

    @property
    def moved(self) -> float:
        """After less before."""
        return self.after - self.before

    @property
    def is_beyond(self) -> bool:
        """Whether it moved by more than what is not known explains."""
        return abs(self.moved) > BEYOND_SDS * self.sd

    @property
    def seen(self) -> float:
        """The move that would have been found in four cases of five."""
        return SEEN_SDS * self.sd


def compare_terms(before: Profile, after: Profile) -> tuple[TermMoved, ...]:
    """Compare all effects of which both profiles learned something.

    Examples
    --------
    >>> from coupons import load_profile
    >>> profile = load_profile("results/filter-drawer/profile.json").profile
    >>> [term.name for term in compare_terms(profile, profile)][:2]
    ['scale_x', 'scale_y']
    """
    learned = [_learned(profile) for profile in (before, after)]
    variances = np.diag(before.covariance_matrix) + np.diag(after.covariance_matrix)
    return tuple(
        TermMoved(name, before.means[name], after.means[name], float(np.sqrt(variances[at])))
        for at, name in enumerate(EFFECTS)
        if all(name in known for known in learned)
    )


def _learned(profile: Profile) -> frozenset[str]:
    left = np.diag(profile.covariance_matrix) / prior_sd(profile.prior_table) ** 2
    return frozenset(n for n, share in zip(EFFECTS, left, strict=False) if share <= NOTHING_LEARNED)
