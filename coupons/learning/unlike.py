"""Whether each of several runs is of the machine that the others are of.

Each run is fitted alone. What the others foretell of its terms, its own uncertainty, theirs and the
shifts of the prints in it, is held against what it found: the largest difference, in standard
deviations, counts. The limit is what the largest of all runs seldom exceeds where all are of one
machine, by Monte Carlo; how far prints differ is known only roughly, and drawn anew for each.

With P the prior covariance of the terms and Σ the posterior covariance of one run, that run tells
Σ⁻¹ − P⁻¹, and moves the terms by a share A = 1 − ΣP⁻¹ of what it saw. Runs add up as their
information does.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coupons.learning.effects import (
    EFFECTS,
    TERMS,
    PriorTable,
    print_moves,
    prior_mean,
    prior_sd,
)
from coupons.learning.fit import Fitted, fit_runs
from coupons.measuring.run import Run

Array = NDArray[np.floating]

# At most one fit in twenty is to be doubted by chance. Drawn as normal it was 7 of 100, so that the
# limit is set a little higher; other machines are found all the same.
FALSE_ALARMS = 0.03
_POWER_SDS = 0.84  # a difference so far beyond the limit is found in four cases of five
_NOTHING_LEARNED = 0.5
_DRAWS = 20_000
_RIDGE = 1e-9


@dataclass(frozen=True)
class Apart:
    """One effect in which a run differs from the others.

    Parameters
    ----------
    name : str
        Of `coupons.learning.effects.EFFECTS`.
    by, sd : float
        The run's less the others', and its standard deviation: ratios, or mm a face.
    seen : float
        The difference that would be found in four cases of five.
    """

    name: str
    by: float
    sd: float
    seen: float

    @property
    def sds(self) -> float:
        """Size of the difference in standard deviations."""
        return abs(self.by) / self.sd


@dataclass(frozen=True)
class RunVerdict:
    """One run against the others.

    Parameters
    ----------
    run : int
        Which, from 0.
    apart : tuple of Apart
        Every effect of which both learned something, the most unlike first.
    limit : float
        In standard deviations.
    """

    run: int
    apart: tuple[Apart, ...]
    limit: float

    @property
    def unlike(self) -> tuple[Apart, ...]:
        """The effects that differ by more than chance explains."""
        return tuple(one for one in self.apart if one.sds > self.limit)

    @property
    def sds(self) -> float:
        """The largest difference."""
        return max((one.sds for one in self.apart), default=0.0)


def verdicts(runs: Sequence[Run], table: PriorTable) -> tuple[RunVerdict, ...]:
    """Hold each run against the others; empty for a single run.

    Raises
    ------
    FitError
        As `coupons.learning.fit.fit_runs`.
    """
    if len(runs) < 2:
        return ()
    return verdicts_of([fit_runs([run], table) for run in runs], table)


def verdicts_of(fits: Sequence[Fitted], table: PriorTable) -> tuple[RunVerdict, ...]:
    """Return the same of fits, each of one run."""
    told = [_told(fitted.mean, fitted.covariance, table) for fitted in fits]
    # Of two runs each is as unlike the other: one comparison.
    comparisons = len(fits) if len(fits) > 2 else 1
    return tuple(_verdict(k, told, table, FALSE_ALARMS / comparisons) for k in range(len(fits)))


@dataclass(frozen=True)
class _Told:
    """What observations tell of the terms: information, and information times what they saw.

    Both count from the prior mean.
    """

    information: Array
    seen: Array

    def __add__(self, other: "_Told") -> "_Told":
        return _Told(self.information + other.information, self.seen + other.seen)


@dataclass(frozen=True)
class _Known:
    """What is held of the terms after some runs: mean less the prior's, covariance, share A."""

    mean: Array
    covariance: Array
    share: Array


def _told(mean: Array, covariance: Array, table: PriorTable) -> _Told:
    sd = prior_sd(table)
    scaled = covariance / np.outer(sd, sd)
    inverse = np.linalg.inv(scaled + _RIDGE * np.eye(len(sd)))
    values, axes = np.linalg.eigh(inverse - np.eye(len(sd)))
    # Rounding, and what a normal approximation misses, can tell less than nothing.
    information = (axes * np.maximum(values, 0.0)) @ axes.T
    seen = inverse @ ((mean - prior_mean(table)) / sd)
    return _Told(information / np.outer(sd, sd), seen / sd)


def _known(told: _Told, table: PriorTable) -> _Known:
    covariance = np.linalg.inv(told.information + np.diag(prior_sd(table) ** -2.0))
    return _Known(covariance @ told.seen, covariance, covariance @ told.information)


def _verdict(k: int, told: Sequence[_Told], table: PriorTable, alarms: float) -> RunVerdict:
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
    apart = [
        Apart(TERMS[at], float(by[n]), float(sd[n]), float((limit + _POWER_SDS) * sd[n]))
        for n, at in enumerate(learned)
    ]
    return RunVerdict(k, tuple(sorted(apart, key=lambda one: -one.sds)), limit)


def _variance_of_difference(own: _Known, theirs: _Known, prior: Array) -> Array:
    """Variance of the two means' difference on a machine of the prior."""
    by_prior = own.share - theirs.share
    noise = own.share @ own.covariance + theirs.share @ theirs.covariance
    return np.asarray((by_prior * prior) @ by_prior.T + noise)


def _limit(
    variance: Array, moved: Array, learned: Sequence[int], table: PriorTable, alarms: float
) -> float:
    """Return what the largest difference exceeds with chance ``alarms``.

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
