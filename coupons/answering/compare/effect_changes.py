"""Two profiles compared by their fitted effects, whatever is drawn.

A run of lengths alone answers no question about a fit, but shows whether a scale changed.
"""

from dataclasses import dataclass

import numpy as np

from coupons.answering.offset import NOTHING_LEARNED
from coupons.learning.effects import EFFECTS, prior_sd
from coupons.learning.profile import Profile

CHANGED_SDS = 1.96
"""A larger difference comes by chance in one comparison of twenty."""
DETECTABLE_SDS = 1.96 + 0.84
"""A change of so many standard deviations of the difference is detected with 80 % power."""


@dataclass(frozen=True)
class TermChange:
    """One effect as two profiles know it.

    Parameters
    ----------
    name : str
        Of `coupons.learning.effects.EFFECTS`.
    before, after : float
        In the term's unit: scales and skew as ratios, the rest in mm a face.
    sd : float
        Combined standard uncertainty of the difference.
    """

    name: str
    before: float
    after: float
    sd: float

    @property
    def change(self) -> float:
        """After less before."""
        return self.after - self.before

    @property
    def is_changed(self) -> bool:
        """Whether it changed by more than the combined uncertainty."""
        return abs(self.change) > CHANGED_SDS * self.sd

    @property
    def detectable(self) -> float:
        """The change that would be detected with 80 % power."""
        return DETECTABLE_SDS * self.sd


def compare_terms(before: Profile, after: Profile) -> tuple[TermChange, ...]:
    """Compare all effects that both profiles learned something about.

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
        TermChange(name, before.means[name], after.means[name], float(np.sqrt(variances[at])))
        for at, name in enumerate(EFFECTS)
        if all(name in known for known in learned)
    )


def _learned(profile: Profile) -> frozenset[str]:
    left = np.diag(profile.covariance_matrix) / prior_sd(profile.prior_table) ** 2
    return frozenset(n for n, share in zip(EFFECTS, left, strict=False) if share <= NOTHING_LEARNED)
