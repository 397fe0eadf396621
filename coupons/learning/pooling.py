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

A machine that is unlike the others must not be drawn to them. In `UNLIKE_SHARE` of the prior it
differs from them by `UNLIKE_SPREADS` times the spread, at most by the general prior's sd: a heavy
tail about where they are. This is so in each family of terms by itself: one that extrudes too much
is unlike the others in its growths, and may shrink as they do. Were it unlike in all or in none,
all that the others tell rightly of the other terms would speak against the machine being unlike.
What its own entries make of the two says how likely it is unlike.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating]

SPREADS = (0.1, 0.2, 0.35, 0.5, 0.7, 1.0)
"""Standard deviation between machines of one kind, as a share of the general prior's. The smallest
keeps machines that came out alike by chance from passing for one machine."""
UNLIKE_SHARE = 0.5
"""Share of the prior in which a machine is unlike the others: more of it learns less from them,
less of it holds longer on to them where a machine is unlike. Six entries can hardly tell."""
UNLIKE_SPREADS = 5.0
"""By how many spreads a machine differs that is unlike the others."""
ANEW_SHARE = 1 / 3
"""Share of the prior in which a machine did not change as the pairs did."""
_LIKELY = 7.0  # choices less likely than the best by this much on the log scale are left out


@dataclass(frozen=True)
class MachineEvidence:
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


def evidence_of(
    mean: Array, covariance: Array, prior_mean: Array, prior_sd: Array
) -> MachineEvidence:
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
    return MachineEvidence(information, information @ off + off)


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
    unlike : ndarray of shape (n_families,)
        Chance that the machine is not of their kind in the terms of a family.
    new : ndarray of shape (n_families,)
        Chance that the machine did not change as the pairs did in the terms of a family.
    """

    mean: Array
    covariance: Array
    spreads: Array
    unlike: Array
    new: Array


def widened(one: MachineEvidence, covariance: Array) -> MachineEvidence:
    """Return what evidence tells of terms that differ from those seen by this covariance."""
    wide = np.eye(len(one.shift)) + covariance @ one.information
    information = np.linalg.solve(wide.T, one.information.T).T  # Λ(I + DΛ)⁻¹
    return MachineEvidence((information + information.T) / 2, np.linalg.solve(wide.T, one.shift))


def kin_of(others: Sequence[MachineEvidence], groups: NDArray[np.intp]) -> tuple[Kin, ...]:
    """Return what others tell of a machine of their kind, for every choice of the spreads.

    Parameters
    ----------
    others : sequence of MachineEvidence
    groups : ndarray of int of shape (n,)
        Which spread belongs to each term, counted from 0.
    """
    return tuple(_kin(others, groups, choice) for choice in _choices(groups))


def _choices(groups: NDArray[np.intp]) -> Iterator[tuple[float, ...]]:
    yield from product(SPREADS, repeat=int(groups.max()) + 1)


def _kin(
    others: Sequence[MachineEvidence], groups: NDArray[np.intp], choice: tuple[float, ...]
) -> Kin:
    n = len(groups)
    between = np.array(choice)[groups] ** 2
    common = 1 - between
    information, shift, log_weight = np.zeros((n, n)), np.zeros(n), 0.0
    for one in others:
        loose = widened(one, np.diag(between))
        information += loose.information
        shift += loose.shift
        wide = np.eye(n) + between[:, None] * one.information
        log_weight += one.shift @ (between * loose.shift) / 2 - np.linalg.slogdet(wide)[1] / 2
    seen = np.eye(n) + information * common  # I + ΣΛ̃·R
    covariance = common[:, None] * np.linalg.inv(seen)
    mean = covariance @ shift
    log_weight += shift @ mean / 2 - np.linalg.slogdet(seen)[1] / 2
    return Kin(log_weight, choice, mean, (covariance + covariance.T) / 2 + np.diag(between))


@dataclass(frozen=True)
class _Stack:
    """Normals with log weights, one a row, and what each of them takes for true.

    ``spreads`` has a column a group: how far machines differ in it; ``unlike`` one a family:
    whether this machine is unlike them in it; ``new`` whether it did not change as the pairs did.
    """

    log_weights: Array
    means: Array
    covariances: Array
    spreads: Array
    unlike: NDArray[np.bool_]
    new: NDArray[np.bool_]


def pool(
    own: MachineEvidence,
    others: Sequence[MachineEvidence],
    groups: NDArray[np.intp],
    families: NDArray[np.intp] | None = None,
    carried: MachineEvidence | None = None,
) -> Pooled:
    """Put together what was seen of a machine and of others like it.

    Parameters
    ----------
    own : MachineEvidence
    others : sequence of MachineEvidence
    groups : ndarray of int of shape (n,)
        See `kin_of`.
    families : ndarray of int of shape (n,), optional
        In which terms a machine is unlike others together; the groups, unless given.
    carried : MachineEvidence, optional
        What carries over from the machine itself before a change; see `carrying`.

    Returns
    -------
    Pooled
        In units of the prior's standard deviations, from its mean.
    """
    families = groups if families is None else families
    priors = _priors(others, groups, families)
    if carried is not None:
        priors = _carried_over(priors, carried, families)
    told = _told(own, priors)
    weights = np.exp(told.log_weights - np.logaddexp.reduce(told.log_weights))
    mean = weights @ told.means
    off = told.means - mean
    covariance = np.einsum("k,kij->ij", weights, told.covariances)
    covariance += np.einsum("k,ki,kj->ij", weights, off, off)
    return Pooled(
        mean,
        covariance,
        weights @ told.spreads,
        weights @ told.unlike,
        weights @ told.new,
    )


def _carried_over(priors: _Stack, carried: MachineEvidence, families: NDArray[np.intp]) -> _Stack:
    """Return priors that know what the machine was before a change, more or less by family.

    As with others of its kind, a machine may have changed in its growths as no other did, and in
    its lengths as all did: then it lies about where the pairs say, as wide as the general prior.
    What it was says nothing of whether it changed so.
    """
    over = _likely(_normalized(_told(carried, priors)))
    for family in range(int(families.max()) + 1):
        new = over.new.copy()
        new[:, family] = True
        missing = np.maximum(1 - np.diagonal(over.covariances, axis1=1, axis2=2), 0)
        anew = replace(_wider(over, missing * (families == family)), new=new)
        over = _joined(_weighed(over, 1 - ANEW_SHARE), _weighed(anew, ANEW_SHARE))
    return over


def _likely(stack: _Stack) -> _Stack:
    kept = stack.log_weights > stack.log_weights.max() - _LIKELY
    return _Stack(*(getattr(stack, each.name)[kept] for each in fields(_Stack)))


def _priors(
    others: Sequence[MachineEvidence], groups: NDArray[np.intp], families: NDArray[np.intp]
) -> _Stack:
    """Return the priors of one more machine: like the others, or in some families unlike them.

    Without others there is the general one alone.
    """
    n, n_families = len(groups), int(families.max()) + 1
    if not others:
        return _Stack(
            np.zeros(1),
            np.zeros((1, n)),
            np.eye(n)[None],
            np.ones((1, int(groups.max()) + 1)),
            np.ones((1, n_families), bool),
            np.zeros((1, n_families), bool),
        )
    kin = _likeliest(kin_of(others, groups))
    log_weights = np.array([one.log_weight for one in kin])
    stack = _Stack(
        log_weights - np.logaddexp.reduce(log_weights),
        np.array([one.mean for one in kin]),
        np.array([one.covariance for one in kin]),
        np.array([one.spreads for one in kin]),
        np.zeros((len(kin), n_families), bool),
        np.zeros((len(kin), n_families), bool),
    )
    between = np.array([one.spreads for one in kin])[:, groups]
    more = np.minimum(UNLIKE_SPREADS * between, 1) ** 2 - between**2
    for family in range(n_families):
        unlike = stack.unlike.copy()
        unlike[:, family] = True
        apart = replace(_wider(stack, more * (families == family)), unlike=unlike)
        stack = _joined(_weighed(stack, 1 - UNLIKE_SHARE), _weighed(apart, UNLIKE_SHARE))
        more = np.concatenate([more, more])
    return stack


def _likeliest(kin: Sequence[Kin]) -> list[Kin]:
    best = max(one.log_weight for one in kin)
    return [one for one in kin if one.log_weight > best - _LIKELY]


def _wider(stack: _Stack, variances: Array) -> _Stack:
    """Return normals with more variance of each term, (n_rows, n_terms)."""
    covariances = stack.covariances.copy()
    every = np.arange(variances.shape[1])
    covariances[:, every, every] += variances
    return replace(stack, covariances=covariances)


def _weighed(stack: _Stack, share: float) -> _Stack:
    return replace(stack, log_weights=stack.log_weights + np.log(share))


def _normalized(stack: _Stack) -> _Stack:
    total = np.logaddexp.reduce(stack.log_weights)
    return replace(stack, log_weights=stack.log_weights - total)


def _joined(first: _Stack, second: _Stack) -> _Stack:
    return _Stack(
        *(
            np.concatenate([getattr(one, each.name) for one in (first, second)])
            for each in fields(_Stack)
        )
    )


def _told(own: MachineEvidence, priors: _Stack) -> _Stack:
    """Return normal priors with the evidence of a machine taken in."""
    n = len(own.shift)
    # The likelihood seen from each prior's mean.
    seen_mean = priors.means @ own.information
    shift = own.shift - seen_mean
    seen = np.eye(n) + priors.covariances @ own.information
    covariances = np.linalg.solve(seen, priors.covariances)
    moved = np.einsum("kij,kj->ki", covariances, shift)
    # The likelihood at the prior's mean itself, which differs from prior to prior.
    there = priors.means @ own.shift - np.sum(priors.means * seen_mean, axis=1) / 2
    log_evidence = there + np.sum(shift * moved, axis=1) / 2 - np.linalg.slogdet(seen)[1] / 2
    return replace(
        priors,
        log_weights=priors.log_weights + log_evidence,
        means=priors.means + moved,
        covariances=(covariances + covariances.transpose(0, 2, 1)) / 2,
    )
