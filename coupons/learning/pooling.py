"""Partial pooling: what machines of one kind and material tell of another one.

The general prior of the terms is N(m₀, P) with a diagonal P. Of its variance a share r² is taken to
lie between machines of one kind, the rest is common to them:

    θₖ = μ + δₖ,     μ ~ N(m₀, (1 − r²)P),     δₖ ~ N(0, r²P),

so that any single machine keeps the general prior. How far machines differ, r, is learned, one for
the layer plane, one for heights, one for hands, which are people and not machines, and one for the
scatters' logarithms. Each may take the values of `SPREADS`, all as likely as one another, and is
averaged over with the evidence of the profiles. What a profile N(mₖ, Cₖ) saw, without its prior:

    Λₖ = Cₖ⁻¹ − P⁻¹,     hₖ = Cₖ⁻¹(mₖ − m₀).

With δₖ integrated out, Λ̃ₖ = Λₖ(I + DΛₖ)⁻¹ and h̃ₖ = (I + ΛₖD)⁻¹hₖ, D = r²P; the rest is the
normal algebra of one mean seen several times (random effects).

A machine that is like none of the others must not be drawn to them. `GENERAL_SHARE` of the prior
therefore stays the general one; what its own entries make of the two says how likely it is unlike.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating]

SPREADS = (0.1, 0.2, 0.35, 0.5, 0.7, 1.0)
"""Standard deviation between machines of one kind, as a share of the general prior's. The smallest
keeps machines that came out alike by chance from passing for one machine."""
GENERAL_SHARE = 0.2
"""Share of the prior that knows nothing of the others: more of it learns less from them, less of it
holds longer on to them where a machine is unlike."""


@dataclass(frozen=True)
class Evidence:
    """What was seen of one machine, without its prior, in units of the prior's standard deviations.

    Parameters
    ----------
    information : ndarray of shape (n, n)
        Precision of a normal likelihood.
    shift : ndarray of shape (n,)
        Precision times mean, from the prior mean.
    """

    information: Array
    shift: Array


def evidence_of(mean: Array, covariance: Array, prior_mean: Array, prior_sd: Array) -> Evidence:
    """Take the prior out of a posterior.

    Parameters
    ----------
    mean, prior_mean, prior_sd : ndarray of shape (n,)
        The standard deviations are positive.
    covariance : ndarray of shape (n, n)
    """
    precision = np.linalg.inv(covariance / np.outer(prior_sd, prior_sd))
    gained, axes = np.linalg.eigh((precision + precision.T) / 2 - np.eye(len(mean)))
    # Averaging over scatters can leave a term that was not seen a little wider than its prior.
    information = (axes * np.maximum(gained, 0.0)) @ axes.T
    off = (mean - prior_mean) / prior_sd
    return Evidence(information, information @ off + off)


@dataclass(frozen=True)
class Kin:
    """What is known of a machine from others, for one choice of how far machines differ.

    Parameters
    ----------
    log_weight : float
        Logarithm of the evidence of the others for this choice.
    spreads : tuple of float
        One a group.
    mean : ndarray of shape (n,)
    covariance : ndarray of shape (n, n)
        Both in units of the general prior's standard deviations.
    """

    log_weight: float
    spreads: tuple[float, ...]
    mean: Array
    covariance: Array


@dataclass(frozen=True)
class Pooled:
    """A machine's own entries together with those of others like it.

    Parameters
    ----------
    mean : ndarray of shape (n,)
    covariance : ndarray of shape (n, n)
    spreads : ndarray of shape (n_groups,)
        Mean of the sds between machines, as shares of the general prior's.
    unlike : float
        Chance that the machine is not of their kind.
    """

    mean: Array
    covariance: Array
    spreads: Array
    unlike: float


def kin_of(others: Sequence[Evidence], groups: NDArray[np.intp]) -> tuple[Kin, ...]:
    """Return what others tell of a machine of their kind, for every choice of the spreads.

    Parameters
    ----------
    others : sequence of Evidence
    groups : ndarray of int of shape (n,)
        Which spread belongs to each term, counted from 0.
    """
    return tuple(_kin(others, groups, choice) for choice in _choices(groups))


def _choices(groups: NDArray[np.intp]) -> Iterator[tuple[float, ...]]:
    yield from product(SPREADS, repeat=int(groups.max()) + 1)


def _kin(others: Sequence[Evidence], groups: NDArray[np.intp], choice: tuple[float, ...]) -> Kin:
    n = len(groups)
    between = np.array(choice)[groups] ** 2
    common = 1 - between
    information, shift, log_weight = np.zeros((n, n)), np.zeros(n), 0.0
    for one in others:
        widened = np.eye(n) + between[:, None] * one.information  # I + DΛ
        loose = np.linalg.solve(widened.T, one.shift)  # (I + ΛD)⁻¹h
        information += np.linalg.solve(widened.T, one.information.T).T  # Λ(I + DΛ)⁻¹
        shift += loose
        log_weight += one.shift @ (between * loose) / 2 - np.linalg.slogdet(widened)[1] / 2
    seen = np.eye(n) + information * common  # I + ΣΛ̃·R
    covariance = common[:, None] * np.linalg.inv(seen)
    mean = covariance @ shift
    log_weight += shift @ mean / 2 - np.linalg.slogdet(seen)[1] / 2
    return Kin(log_weight, choice, mean, (covariance + covariance.T) / 2 + np.diag(between))


def pool(own: Evidence, others: Sequence[Evidence], groups: NDArray[np.intp]) -> Pooled:
    """Put together what was seen of a machine and of others like it.

    Parameters
    ----------
    own : Evidence
    others : sequence of Evidence
    groups : ndarray of int of shape (n,)
        See `kin_of`.

    Returns
    -------
    Pooled
        In units of the prior's standard deviations, from its mean.
    """
    n = len(groups)
    kin = kin_of(others, groups)
    total = np.logaddexp.reduce([one.log_weight for one in kin])
    general = Kin(total, (np.nan,), np.zeros(n), np.eye(n))
    shares = [(one, one.log_weight - total + np.log1p(-GENERAL_SHARE)) for one in kin]
    told = [_with(own, one, share) for one, share in [*shares, (general, np.log(GENERAL_SHARE))]]
    log_weights = np.array([log_weight for log_weight, _, _ in told])
    weights = np.exp(log_weights - np.logaddexp.reduce(log_weights))
    means = np.array([mean for _, mean, _ in told])
    mean = weights @ means
    off = means - mean
    covariance = np.einsum("k,kij->ij", weights, np.array([one for _, _, one in told]))
    covariance += np.einsum("k,ki,kj->ij", weights, off, off)
    of_kin = weights[:-1] / weights[:-1].sum()
    spreads = of_kin @ np.array([one.spreads for one in kin])
    return Pooled(mean, covariance, spreads, float(weights[-1]))


def _with(own: Evidence, prior: Kin, log_share: float) -> tuple[float, Array, Array]:
    """Return the log weight, mean and covariance of a machine's entries under a normal prior."""
    n = len(own.shift)
    # The likelihood seen from the prior's mean.
    shift = own.shift - own.information @ prior.mean
    seen = np.eye(n) + own.information @ prior.covariance
    covariance = np.linalg.solve(seen.T, prior.covariance.T).T
    moved = covariance @ shift
    # The likelihood at the prior's mean itself, which differs from prior to prior.
    there = own.shift @ prior.mean - prior.mean @ own.information @ prior.mean / 2
    log_evidence = there + shift @ moved / 2 - np.linalg.slogdet(seen)[1] / 2
    return log_share + log_evidence, prior.mean + moved, (covariance + covariance.T) / 2
