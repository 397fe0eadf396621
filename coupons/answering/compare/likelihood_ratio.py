"""How far re-checks speak against an unchanged machine: a likelihood ratio over all of them.

Every profile is a posterior: normal, with the mean x and the covariance I − S in units of the
prior's standard deviations, measured from the prior mean. With S = U·diag(s)·Uᵀ the numbers
t = s^(−½)·Uᵀ·x are what its data said: on a machine of the prior they have unit variance, and

    t = Wᵀ(β + A·δ) + noise,    W = U·s^½,

where β are the machine's terms and δ what its prints have of their own. Of the same machine, t of
two profiles therefore have the covariance W₁ᵀW₂; a change d of the machine between them moves the
later t by Wᵀd. How much prints differ is known only roughly: everything is averaged over what the
first profile leaves open of it, weighed by how well the numbers fit, so that prints that differ
much show it themselves.

A change is one cause that moved: from some re-check on, or a little with each. Its size is normal
around zero, with a share of what machines differ by as standard deviation. The evidence is the mean
of the likelihood ratios of all such changes against none, with a twelfth for each re-check at which
a step may have come. Each ratio is on average one where nothing changed, so that after the twelve
re-checks of a year the evidence is on average one, and exceeds a limit c at any of them in at most
one year of c (Doob's inequality for nonnegative submartingales; textbook).
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular
from scipy.special import logsumexp

from coupons.answering.compare.recheck_series import _LEAST_INFORMED, Node, RecheckSeries
from coupons.learning.effects import TERMS, THRESHOLDS, prior_mean
from coupons.learning.posterior.threads import one_thread

Array = NDArray[np.floating]


SIZES = (0.25, 0.75)
"""Sizes of a change, in standard deviations of the prior: as far as machines differ (common
practice, no source)."""


_LARGEST_LOG = 600.0  # beyond any doubt, and still a number
_HEAVIEST = 16  # nodes over which the machine as it is now is averaged


@dataclass(frozen=True)
class RecheckEvidence:
    """What re-checks say of a change since the first profile.

    Parameters
    ----------
    value : float
        The likelihood ratio, on average one after a year in which nothing changed.
    path : tuple of float
        The same after each re-check.
    cause : str
        The likeliest cause, of `CAUSES`.
    cause_share : float
        Its share among all causes, had something changed.
    since : int or None
        The re-check, from 0, from which on a step fits best; None for a steady change, which one
        re-check cannot tell from a step and two are needed to show.
    shift, sd : float
        By how much that cause moved up to the last re-check, in its own unit, and the standard
        deviation of that.
    detectable_sds : dict of str to float
        The change of each cause alone, in the prior's standard deviations, that comes with the next
        re-check like the last one and is found by it with 80 % power.
    mean, covariance : ndarray
        The terms of the machine as it is now, all profiles and the likeliest change considered.
    """

    value: float
    path: tuple[float, ...]
    cause: str
    cause_share: float
    since: int | None
    shift: float
    sd: float
    detectable_sds: dict[str, float]
    mean: Array
    covariance: Array


def paths(series: RecheckSeries, t: Array) -> tuple[Array, Array, Array]:
    """Weigh all changes against none after each re-check, for many series of the same coupons.

    Parameters
    ----------
    series : RecheckSeries
    t : ndarray of shape (n, n_series)
        What the profiles of each series said.

    Returns
    -------
    values : ndarray of shape (n_rechecks, n_series)
        The evidence after each re-check.
    by_change : ndarray of shape (n_causes, n_shapes, n_series)
        Its parts after the last one.
    nodes : ndarray of shape (n_nodes, n_series)
        How likely each size of what prints have of their own is after the last one.
    """
    log_nulls, largest = [], np.array(-np.inf)
    summed: Array = np.zeros(())
    total: Array = np.zeros(())
    with one_thread():
        for node in series.nodes:
            null, ratio = _of_node(series, node, t)
            # A running sum of exponentials: ratios of all nodes at once would fill the memory.
            higher = np.maximum(largest, null)
            kept, added = np.exp(largest - higher), np.exp(null - higher)
            summed = summed * kept[..., None, :] + added[:, None, :] * ratio
            total = total * kept + added
            largest = higher
            log_nulls.append(null[-1])
    by_change = summed / total[:, None, :] * series.change_weights[:, :, None]
    log_null = np.array(log_nulls)
    nodes = np.exp(log_null - logsumexp(log_null, axis=0))
    n_causes, n_shapes = len(series.causes), len(series.shapes)
    last = by_change[-1].reshape(n_causes, n_shapes, -1)
    return by_change.sum(axis=1), last, nodes


def _of_node(series: RecheckSeries, node: Node, t: Array) -> tuple[Array, Array]:
    """Log likelihood without a change, and mean likelihood ratio of each change over its sizes.

    Returns
    -------
    nulls : ndarray of shape (n_rechecks, n_series)
    ratios : ndarray of shape (n_rechecks, n_changes, n_series)
    """
    root = np.linalg.cholesky(series.covariance(*node))
    columns = series.changes().reshape(len(t), -1)
    moved = solve_triangular(root, columns, lower=True)
    z = solve_triangular(root, t, lower=True)
    own = -0.5 * z**2 - np.log(np.diag(root))[:, None]
    nulls, ratios = [], []
    along, inside = np.zeros((moved.shape[1], t.shape[1])), np.zeros((moved.shape[1], 1))
    for start, end in pairwise([0, *series.ends]):
        along = along + moved[start:end].T @ z[start:end]
        inside = inside + np.sum(moved[start:end] ** 2, axis=0)[:, None]
        if start == 0:  # the full profile alone
            continue
        nulls.append(own[:end].sum(axis=0))
        ratios.append(_mean_ratios(along, inside))
    return np.array(nulls), np.array(ratios)


def _mean_ratios(along: Array, inside: Array) -> Array:
    """Mean over the sizes of a change of its likelihood ratio against none."""
    mean = np.zeros_like(along)
    for size in SIZES:
        grown = 1 + size**2 * inside
        logs = np.minimum(0.5 * size**2 * along**2 / grown, _LARGEST_LOG)
        mean += np.exp(logs) / np.sqrt(grown) / len(SIZES)
    return mean


def weigh(series: RecheckSeries) -> RecheckEvidence:
    """Weigh all changes that there may have been against none."""
    values, by_change, nodes = paths(series, series.t[:, None])
    by_cause = by_change[:, :, 0].sum(axis=1)
    cause = int(np.argmax(by_cause))
    # One re-check fits a step and a steady change alike: it is told as the plainer one.
    steps = len(series.told) - 1
    shape = int(np.argmax(by_change[cause, :, 0])) if steps > 1 else 0
    name = list(series.causes)[cause]
    heavy = np.argsort(-nodes[:, 0])[:_HEAVIEST]
    posterior = nodes[heavy, 0] / nodes[heavy, 0].sum()
    halves = []
    for k in heavy:
        root = np.linalg.cholesky(series.covariance(*series.nodes[k]))
        halves.append((root, solve_triangular(root, series.t, lower=True)))
    return _summed_up(series, by_cause, name, shape, (posterior, halves), values[:, 0])


def _summed_up(
    series: RecheckSeries,
    by_cause: Array,
    name: str,
    shape: int,
    nodes: tuple[Array, list[tuple[Array, Array]]],
    values: Array,
) -> RecheckEvidence:
    """State the likeliest change, and the machine as it is now."""
    posterior, halves = nodes
    size, value = max(SIZES), float(values[-1])
    direction = series.causes[name]
    by_shape = series.shapes[shape]
    moved = (series.loadings.T @ direction) * by_shape[series.of]
    shift, sd = _shift(moved, size, posterior, halves)
    unchanged = _now(series, np.zeros(len(TERMS)), np.zeros(len(moved)), 0.0, posterior, halves)
    reached = float(by_shape[-1])  # at the last re-check, of a change that is one in half a year
    changed = _now(series, reached * direction, moved, size, posterior, halves)
    chance = PRIOR_CHANCE * value / (PRIOR_CHANCE * value + 1 - PRIOR_CHANCE)
    mean, covariance = _mixed(unchanged, changed, chance)
    at = int(np.argmax(np.abs(direction)))
    return RecheckEvidence(
        value=value,
        path=tuple(values.tolist()),
        cause=name,
        cause_share=float(by_cause.max() / by_cause.sum()),
        since=shape if shape < len(series.told) - 1 else None,
        shift=shift * reached * series.sd[at],
        sd=sd * reached * series.sd[at],
        detectable_sds=_detectable(series),
        mean=prior_mean(series.table) + series.sd * mean,
        covariance=covariance * np.outer(series.sd, series.sd),
    )


PRIOR_CHANCE = 0.2
"""Chance, before any re-check, that a machine changed since its profile (common practice, no
source); it weighs what the joints are worth now, not the verdict."""


def _shift(
    moved: Array, size: float, posterior: Array, halves: list[tuple[Array, Array]]
) -> tuple[float, float]:
    """Posterior of the size of one change, over the nodes."""
    means, squares = [], []
    for root, z in halves:
        y = solve_triangular(root, moved, lower=True)
        variance = 1 / (1 / size**2 + y @ y)
        means.append(variance * (y @ z))
        squares.append(variance)
    mean = posterior @ np.array(means)
    variance = posterior @ (np.array(squares) + np.array(means) ** 2) - mean**2
    return float(mean), float(np.sqrt(variance))


def _now(
    series: RecheckSeries,
    direction: Array,
    moved: Array,
    size: float,
    posterior: Array,
    halves: list[tuple[Array, Array]],
) -> tuple[Array, Array]:
    """Mean and covariance of the terms now, in prior sds, given one change of unknown size.

    The hand is that of the first profile.
    """
    cross = series.loadings.copy()
    if not series.same_hand:
        hand = np.zeros(len(TERMS))
        for grade in THRESHOLDS:
            at = TERMS.index(f"from_{grade}")
            hand[at] = series.table.hand.sd / series.sd[at]
        cross -= np.outer(hand, series._hand_loads() * (series.of > 0))
    cross = cross + size**2 * np.outer(direction, moved)
    prior = np.eye(len(TERMS)) + size**2 * np.outer(direction, direction)
    means, covariances = [], []
    for root, z in halves:
        y = solve_triangular(root, moved, lower=True)
        c = solve_triangular(root, cross.T, lower=True)
        # The change adds size² · moved · movedᵀ to the covariance of t: one rank more.
        gain = size**2 / (1 + size**2 * (y @ y))
        along = c.T @ y
        means.append(c.T @ z - gain * along * (y @ z))
        covariances.append(prior - c.T @ c + gain * np.outer(along, along))
    mean = posterior @ np.array(means)
    spread = np.array(means) - mean
    covariance = np.einsum("k,kij->ij", posterior, np.array(covariances))
    return mean, covariance + (posterior[:, None] * spread).T @ spread


def _mixed(
    one: tuple[Array, Array], other: tuple[Array, Array], chance: float
) -> tuple[Array, Array]:
    """Moments of the second with a chance, and of the first otherwise."""
    apart = other[0] - one[0]
    covariance = (1 - chance) * one[1] + chance * other[1]
    return (
        one[0] + chance * apart,
        covariance + chance * (1 - chance) * np.outer(apart, apart),
    )


_POWER_SDS = 0.84
NO_FROM = 8.0
"""Evidence from which the answer is no. At most one year in eight without a change reaches it by
the inequality above; measured, it is 1 to 3 in a hundred (``results/recheck_power.md``)."""
WATCH_FROM = 2.0
"""Evidence from which the answer is watch: in 9 to 14 of a hundred years without a change."""


def _detectable(series: RecheckSeries) -> dict[str, float]:
    """Return the change of each cause, coming with the last re-check, that it finds in 4 of 5.

    For one typical node of how far prints differ.
    """
    squares = np.median(series.scatter_nodes, axis=0)
    root = np.linalg.cholesky(series.covariance(squares, each_another=False))
    last = (series.of == len(series.told) - 1).astype(float)
    found = {}
    for name, direction in series.causes.items():
        y = solve_triangular(root, (series.loadings.T @ direction) * last, lower=True)
        inside = float(y @ y)
        if inside < _LEAST_INFORMED:
            continue
        at = list(series.causes).index(name) * len(series.shapes)
        needed = np.log(NO_FROM / series.change_weights[-1, at])
        by_size = []
        for size in SIZES:
            square = size**2 * inside
            log_limit = needed + np.log(len(SIZES)) + 0.5 * np.log1p(square)
            by_size.append(np.sqrt(2 * log_limit * (1 + square) / square))
        found[name] = (min(by_size) + _POWER_SDS) / np.sqrt(inside)
    return found
