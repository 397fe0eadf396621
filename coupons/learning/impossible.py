"""Plausibility of a profile: warn of values that no real printer has.

A file may be valid and still wrong: mistyped, made up, or fitted to readings in another unit. It is
not refused, but nobody should use its offsets without a warning.
"""

import math
import warnings
from collections.abc import Iterator
from typing import TYPE_CHECKING

from coupons.errors import DoubtWarning
from coupons.learning.effects import TERMS, prior_mean, prior_sd

if TYPE_CHECKING:  # a profile doubts itself when it is read
    from coupons.learning.profile import Profile

FAR_SDS = 6.0
"""Prior sds from the prior mean beyond which a term is not plausible (common practice, no source):
a scale off by 3 %, a growth of half a millimetre."""

_RATIOS = ("scale_x", "scale_y", "scale_z", "skew")


def doubts(profile: "Profile") -> tuple[str, ...]:
    """Return the values of a profile that no real printer has, each with its name.

    Examples
    --------
    >>> from coupons import load_profile
    >>> doubts(load_profile("results/filter-drawer/profile.json").profile)
    ()
    """
    return (*_far_terms(profile), *_far_scatters(profile))


def _far_terms(profile: "Profile") -> Iterator[str]:
    table = profile.prior_table
    off = abs(profile.mean_vector - prior_mean(table)) > FAR_SDS * prior_sd(table)
    for name, value, far in zip(TERMS, profile.mean_vector, off, strict=True):
        if far:
            amount = f"{100 * value:.3g} %" if name in _RATIOS else f"{value:.3g} mm"
            yield f"{name} {amount}".replace("-", "−")


def _far_scatters(profile: "Profile") -> Iterator[str]:
    for name, prior in profile.prior_table.scatters.items():
        median_mm = profile.scatters[name].median_mm
        if math.log(median_mm / prior.median) > FAR_SDS * prior.log_sd:
            yield f"{name} {median_mm:.3g} mm"


def doubt_aloud(profile: "Profile") -> None:
    """Warn of a profile that no real printer can have; the command line prints it on stderr.

    Warns
    -----
    DoubtWarning
    """
    found = doubts(profile)
    if found:
        warnings.warn(
            f"{profile.machine}, {profile.material}: not plausible for any printer:"
            f" {', '.join(found)}. Do not use this profile before you know where it comes from.",
            DoubtWarning,
            stacklevel=3,
        )
