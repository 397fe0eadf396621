"""A machine before and after a change: each cause of error with its uncertainty, and what became.

A cause is *cured* if it was clear before, changed by more than the combined uncertainty, and is now
known to be small: its 90 % interval holds zero and is narrower than what was there. A cause that
changed otherwise is better or worse by its size. What did not change by more than the combined
uncertainty is unchanged, as far as the two profiles can tell.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from coupons.answering.compare.effect_changes import CHANGED_SDS, DETECTABLE_SDS
from coupons.answering.offset import NOTHING_LEARNED
from coupons.learning.causes import RATIOS, unit_of
from coupons.learning.effects import EFFECTS, TERMS, prior_sd
from coupons.learning.profile import Profile
from coupons.measuring.run.differing import NAMES
from coupons.terms import SDS_OF_90

_SCATTERS = ("tau", "tau_z", "rho", "rho_scale", "rho_scale_z", "rho_bed", "rho_roof")


class CauseOutcome(StrEnum):
    """What became of a cause."""

    CURED = "cured"
    BETTER = "better"
    UNCHANGED = "unchanged"
    WORSE = "worse"


@dataclass(frozen=True)
class CauseChange:
    """One cause before and after.

    Parameters
    ----------
    name : str
        A term or a scatter.
    unit : str
        "ratio", "mm a face" or "mm".
    before, before_sd, after, after_sd : float
        In the unit.
    sds : float
        The change in its own standard deviations, signed; of a scatter, of its logarithm.
    detectable : float
        The change in the unit that would be found with 80 % power.
    outcome : CauseOutcome
    """

    name: str
    unit: str
    before: float
    before_sd: float
    after: float
    after_sd: float
    sds: float
    detectable: float
    outcome: CauseOutcome


@dataclass(frozen=True)
class ConditionChange:
    """A condition that differs between two profiles, in words with its unit."""

    name: str
    before: str
    after: str


@dataclass(frozen=True)
class BeforeAfter:
    """All causes that both profiles measured, those that changed first.

    ``only_before`` and ``only_after`` name what one of them alone measured.
    """

    causes: tuple[CauseChange, ...]
    only_before: tuple[str, ...]
    only_after: tuple[str, ...]
    conditions: tuple[ConditionChange, ...]

    @property
    def changed(self) -> tuple[CauseChange, ...]:
        """The causes that changed by more than the combined uncertainty."""
        return tuple(one for one in self.causes if one.outcome is not CauseOutcome.UNCHANGED)


def before_after(before: Profile, after: Profile) -> BeforeAfter:
    """Compare the causes of error of two profiles.

    Examples
    --------
    >>> from coupons import load_profile
    >>> profile = load_profile("results/filter-drawer/profile.json").profile
    >>> same = before_after(profile, profile)
    >>> len(same.causes) > 3, same.changed, same.conditions
    (True, (), ())
    """
    learned = [_learned(profile) for profile in (before, after)]
    both = [name for name in (*EFFECTS, *_SCATTERS) if all(name in one for one in learned)]
    found = [_change(before, after, name) for name in both]
    rank = list(CauseOutcome).index
    found.sort(
        key=lambda one: (one.outcome is CauseOutcome.UNCHANGED, -abs(one.sds), rank(one.outcome))
    )
    return BeforeAfter(
        tuple(found),
        tuple(sorted(learned[0] - learned[1])),
        tuple(sorted(learned[1] - learned[0])),
        conditions_between(before, after),
    )


def _learned(profile: Profile) -> set[str]:
    sds = prior_sd(profile.prior_table)
    left = profile.covariance_matrix.diagonal()
    terms = {
        name
        for name, variance, sd in zip(EFFECTS, left, sds, strict=False)
        if sd > 0 and variance <= NOTHING_LEARNED * sd**2
    }
    priors = profile.prior_table.scatters
    known = [name for name in _SCATTERS if name in profile.scatters and name in priors]
    return terms | {n for n in known if not priors[n].is_unmoved(profile.scatters[n].log_sd)}


def _change(before: Profile, after: Profile, name: str) -> CauseChange:
    return _term(before, after, name) if name in TERMS else _scatter(before, after, name)


def _term(before: Profile, after: Profile, name: str) -> CauseChange:
    at = TERMS.index(name)
    (old, old_sd), (new, new_sd) = (
        (one.means[name], math.sqrt(one.covariance_matrix[at, at])) for one in (before, after)
    )
    sd = math.hypot(old_sd, new_sd)
    sds = (new - old) / sd
    return CauseChange(
        name,
        unit_of(name),
        old,
        old_sd,
        new,
        new_sd,
        sds,
        DETECTABLE_SDS * sd,
        _outcome(old, old_sd, new, new_sd, sds),
    )


def _outcome(old: float, old_sd: float, new: float, new_sd: float, sds: float) -> CauseOutcome:
    if abs(sds) <= CHANGED_SDS:
        return CauseOutcome.UNCHANGED
    was_clear = abs(old) > SDS_OF_90 * old_sd
    is_small = abs(new) <= SDS_OF_90 * new_sd < abs(old)
    if was_clear and is_small:
        return CauseOutcome.CURED
    return CauseOutcome.BETTER if abs(new) < abs(old) else CauseOutcome.WORSE


def _scatter(before: Profile, after: Profile, name: str) -> CauseChange:
    old, new = before.scatters[name], after.scatters[name]
    log_sd = math.hypot(old.log_sd, new.log_sd)
    sds = math.log(new.median_mm / old.median_mm) / log_sd if log_sd else 0.0
    outcome = CauseOutcome.UNCHANGED
    if abs(sds) > CHANGED_SDS:
        outcome = CauseOutcome.BETTER if sds < 0 else CauseOutcome.WORSE
    return CauseChange(
        name,
        "ratio" if name in RATIOS else "mm",
        old.median_mm,
        old.median_mm * old.log_sd,
        new.median_mm,
        new.median_mm * new.log_sd,
        sds,
        old.median_mm * math.expm1(DETECTABLE_SDS * log_sd),
        outcome,
    )


def conditions_between(before: Profile, after: Profile) -> tuple[ConditionChange, ...]:
    """Return the conditions that are filled in for both profiles and differ.

    The material is one of them.
    """
    return tuple(_conditions_between(before, after))


def _conditions_between(before: Profile, after: Profile) -> Iterator[ConditionChange]:
    if before.material != after.material:
        yield ConditionChange("material", before.material, after.material)
    for key, (label, unit) in NAMES.items():
        old, new = _value(before, key), _value(after, key)
        if old is not None and new is not None and old != new:
            told = [f"{one:g}" if isinstance(one, float) else str(one) for one in (old, new)]
            yield ConditionChange(label, *(f"{text} {unit}".strip() for text in told))


def _value(profile: Profile, key: str) -> float | str | None:
    within = profile.slicing if hasattr(profile.slicing, key) else profile
    found: float | str | None = getattr(within, key, None)
    return found
