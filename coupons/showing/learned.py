"""Whether a term of a profile was measured, and how well."""

import math

from coupons.answering.offset import NOTHING_LEARNED
from coupons.learning.effects import TERMS, prior_sd
from coupons.learning.profile import Profile
from coupons.terms import SDS_OF_90


def is_learned(profile: Profile, name: str) -> bool:
    """Tell whether a term or scatter was measured, and is not only the prior's."""
    if name in profile.scatters:
        return not profile.prior_table.scatters[name].is_unmoved(profile.scatters[name].log_sd)
    at = TERMS.index(name)
    prior = prior_sd(profile.prior_table)[at] ** 2
    return bool(profile.covariance_matrix[at, at] <= NOTHING_LEARNED * prior)


def half_of_90(profile: Profile, name: str) -> float:
    """Return half the 90 % interval of a term, in its unit."""
    at = TERMS.index(name)
    return SDS_OF_90 * math.sqrt(float(profile.covariance_matrix[at, at]))
