"""Test of homogeneity: whether each of several runs comes from the same machine as the others.

Each run is fitted alone. Its terms are compared with what the other runs predict for them, with a
variance that holds both uncertainties and the shifts of the prints. The test statistic is the
largest difference in standard deviations. Its limit is a Monte Carlo quantile of the largest
difference over all runs where all come from one machine; how far prints differ is known only
roughly, and is drawn again each time.

With P the prior covariance of the terms and Σ the posterior covariance of one run, the information
of that run is Σ⁻¹ − P⁻¹, and its posterior mean moves by the share A = 1 − ΣP⁻¹ of the truth's
distance from the prior mean. The information of several runs adds up.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coupons.learning.effects import EFFECTS, TERMS, print_moves, prior_mean, prior_sd
from coupons.learning.fit import Fitted, fit_runs
from coupons.learning.prior_table import PriorTable
from coupons.measuring.run.folder import Run

Array = NDArray[np.floating]

# At most one sound fit in twenty may be doubted. With normal draws 7 of 100 were, so the limit is
# set a little higher; it hardly costs power.
FALSE_ALARMS = 0.03
DETECTED = 0.80
"""Chance with which a difference of the size ``detectable`` is found."""
_POWER_SDS = 0.84  # the normal's quantile of DETECTED: how far beyond the limit that is
_NOTHING_LEARNED = 0.5
_DRAWS = 20_000
_RIDGE = 1e-9


@dataclass(frozen=True)
class EffectDifference:
    """How far a run differs from the others in one effect.

    Parameters
    ----------
    name : str
        Of `coupons.learning.effects.EFFECTS`.
    by, sd : float
        The run's value less the others', and its standard deviation: ratios, or mm a face.
    detectable : float
        The difference that would be found with probability ``DETECTED``.
    """

    name: str
    by: float
    sd: float
    detectable: float

    @property
    def sds(self) -> float:
        """Size of the difference in standard deviations."""
        return abs(self.by) / self.sd


@dataclass(frozen=True)
class RunVerdict:
    """One run compared with the others.

    Parameters
    ----------
    run : int
        Which, from 0.
    differences : tuple of EffectDifference
        One for every effect that both sides measured, the largest first.
    limit : float
        What a difference must exceed to count, in standard deviations.
    """

    run: int
    differences: tuple[EffectDifference, ...]
    limit: float

    @property
    def unlike(self) -> tuple[EffectDifference, ...]:
        """The differences that are larger than chance explains."""
        return tuple(one for one in self.differences if one.sds > self.limit)

    @property
    def sds(self) -> float:
        """The largest difference, in standard deviations."""
        return max((one.sds for one in self.differences), default=0.0)


def verdicts(runs: Sequence[Run], table: PriorTable) -> tuple[RunVerdict, ...]:
    """Compare each run with the others; empty for a single run.

    Raises
    ------
    FitError
        As `coupons.learning.fit.fit_runs`.
    """
    if len(runs) < 2:
        return ()
    return verdicts_of([fit_runs([run], table) for run in runs], table)


def verdicts_of(fits: Sequence[Fitted], table: PriorTable) -> tuple[RunVerdict, ...]:
    """Compare fits of one run each, as `verdicts` does."""
    told = [_evidence(fitted.mean, fitted.covariance, table) for fitted in fits]
    # Of two runs each differs as much from the other: one comparison.
    comparisons = len(fits) if len(fits) > 2 else 1
    return tuple(_verdict(k, told, table, FALSE_ALARMS / comparisons) for k in range(len(fits)))


@dataclass(frozen=True)
class _Evidence:
    """Information of observations on the terms, and that times their estimate of the terms.

    Both count from the prior mean.
    """

    information: Array
    weighted: Array

    def __add__(self, other: "_Evidence") -> "_Evidence":
        return _Evidence(self.information + other.information, self.weighted + other.weighted)


@dataclass(frozen=True)
class _Known:
    """Posterior of the terms after some runs: mean less the prior's, covariance, share A."""

    mean: Array
    covariance: Array
    share: Array


def _evidence(mean: Array, covariance: Array, table: PriorTable) -> _Evidence:
    sd = prior_sd(table)
    scaled = covariance / np.outer(sd, sd)
    inverse = np.linalg.inv(scaled + _RIDGE * np.eye(len(sd)))
    values, axes = np.linalg.eigh(inverse - np.eye(len(sd)))
    # Rounding and the normal approximation can make the information slightly negative.
    information = (axes * np.maximum(values, 0.0)) @ axes.T
    weighted = inverse @ ((mean - prior_mean(table)) / sd)
    return _Evidence(information / np.outer(sd, sd), weighted / sd)


def _known(told: _Evidence, table: PriorTable) -> _Known:
    covariance = np.linalg.inv(told.information + np.diag(prior_sd(table) ** -2.0))
    return _Known(covariance @ told.weighted, covariance, covariance @ told.information)


def _verdict(k: int, told: Sequence[_Evidence], table: PriorTable, alarms: float) -> RunVerdict:
    rest = [one for j, one in enumerate(told) if j != k]
    others = sum(rest[1:], rest[0])
    own, theirs = _known(told[k], table), _known(others, table)
    prior = prior_sd(table) ** 2
    learned = [
        at
        for at in range(len(EFFECTS))
        if max(own.covariance[at, at], theirs.covariance[at, at]) <= _NOTHING_LEARNED * prior[at]
    ]
    if not learned:
        return RunVerdict(k, (), np.inf)
    variance = _variance_of_difference(own, theirs, prior)
    # By how much what each print has of its own moves the difference.
    of_print = np.zeros((len(TERMS), len(table.prints)))
    of_print[: len(EFFECTS)] = print_moves(table)
    moved = [own.share @ of_print]
    moved += [-theirs.covariance @ one.information @ of_print for one in rest]
    sd = np.sqrt(np.diag(variance)[learned])
    limit = _limit(variance, np.array(moved), learned, table, alarms)
    by = (own.mean - theirs.mean)[learned]
    found = [
        EffectDifference(TERMS[at], float(by[n]), float(sd[n]), float((limit + _POWER_SDS) * sd[n]))
        for n, at in enumerate(learned)
    ]
    return RunVerdict(k, tuple(sorted(found, key=lambda one: -one.sds)), limit)


def _variance_of_difference(own: _Known, theirs: _Known, prior: Array) -> Array:
    """Variance of the two means' difference on a machine of the prior."""
    by_prior = own.share - theirs.share
    noise = own.share @ own.covariance + theirs.share @ theirs.covariance
    return np.asarray((by_prior * prior) @ by_prior.T + noise)


def _limit(
    variance: Array, moved: Array, learned: Sequence[int], table: PriorTable, alarms: float
) -> float:
    """Return the value that the largest difference exceeds with probability ``alarms``.

    Parameters
    ----------
    variance : ndarray of shape (n_terms, n_terms)
        Of the difference, with print effects at their mean squares.
    moved : ndarray of shape (n_runs, n_terms, n_print_effects)
        By how much what each print has of its own moves the difference.
    learned : sequence of int
        Terms that count.
    """
    rng = np.random.default_rng(0)
    names = [effect.scatter for effect in table.prints]
    priors = {name: table.scatters[name] for name in names}
    moved = moved[:, learned]
    squares = np.array([e.share**2 * priors[e.scatter].mean_square for e in table.prints])
    fixed = variance[np.ix_(learned, learned)]
    fixed = fixed - np.einsum("ria,rja,a->ij", moved, moved, squares)
    values, axes = np.linalg.eigh(fixed)
    root = axes * np.sqrt(np.maximum(values, 0.0))
    drawn = rng.normal(size=(_DRAWS, len(learned))) @ root.T
    sizes = {
        name: p.median * np.exp(p.log_sd * rng.normal(size=_DRAWS)) for name, p in priors.items()
    }
    print_sds = np.stack([e.share * sizes[e.scatter] for e in table.prints], axis=-1)
    own = rng.normal(size=(_DRAWS, len(moved), len(names))) * print_sds[:, None]
    drawn += np.einsum("dra,ria->di", own, moved)
    sds = np.sqrt(np.diag(variance)[learned])
    return float(np.quantile(np.abs(drawn / sds).max(axis=1), 1 - alarms))
