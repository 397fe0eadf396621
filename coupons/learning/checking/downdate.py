"""Cross-validation by downdating: predict some entries from all others without fitting again.

At fixed scatters the posterior is a normal around its mode. Taking observations out of it is a
downdate: one Newton step from the mode, in the few latent values on which those observations
depend. The weights of the scatters' values change by the ratio of the marginal likelihoods without
and with the observations. Where the step is too long for the curvature to be trusted, the mode is
found again.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coupons.learning.checking.predictive import PredictedReadings, PredictedTrials
from coupons.learning.design import Design
from coupons.learning.posterior.edges import N_EDGES, Observations, edges_of, observations
from coupons.learning.posterior.integrate import Mixture
from coupons.learning.posterior.laplace import Mode, find_mode
from coupons.learning.posterior.latent import latent_model
from coupons.learning.posterior.threads import one_thread
from coupons.progress import steps

Array = NDArray[np.floating]
Indices = NDArray[np.intp]

# Newton decrement left after the downdate, in units of log probability, up to which it is trusted.
_TRUSTED = 0.02
# Every group is taken out at each point of the mixture; the heaviest of some forty hold most of it.
_POINTS = 9
# Readings of one size count as equal if they are so to a micrometre, far below a caliper's step.
_SAME_DIGITS = 3


@dataclass(frozen=True)
class Fold:
    """Observations that are left out together, as indices into the design's arrays.

    All of ``readings`` and ``trials`` are taken out; all readings and the ``scored_trials`` are
    predicted from the rest.
    """

    readings: Indices
    trials: Indices
    scored_trials: Indices


def each_alone(design: Design) -> tuple[Fold, ...]:
    """Leave out one entry at a time."""
    nothing = np.zeros(0, np.intp)
    readings = np.arange(len(design.readings.size))
    trials = np.arange(len(design.trials.internal))
    return (
        *(Fold(at, nothing, nothing) for at in readings[:, None]),
        *(Fold(nothing, at, at) for at in trials[:, None]),
    )


def each_feature(design: Design) -> tuple[Fold, ...]:
    """Leave out one size at a time, with every observation in which it takes part.

    A trial is predicted once: when that one of its two sizes is left out that has fewer trials,
    which is the feature of the coupon and not the loose piece that is tried in all of them.
    """
    trials = design.trials
    n_sizes = len(design.sizes.drawn)
    taken = np.bincount(trials.internal, minlength=n_sizes)
    taken += np.bincount(trials.external, minlength=n_sizes)
    fewer = taken[trials.internal] <= taken[trials.external]
    owner = np.where(fewer, trials.internal, trials.external)
    groups = (
        Fold(
            np.flatnonzero(design.readings.size == size),
            np.flatnonzero((trials.internal == size) | (trials.external == size)),
            np.flatnonzero(owner == size),
        )
        for size in range(n_sizes)
    )
    return tuple(group for group in groups if len(group.readings) or len(group.scored_trials))


def without(design: Design, group: Fold) -> Design:
    """Return a design without a group's observations; its sizes stay."""
    return _only(
        design,
        np.setdiff1d(np.arange(len(design.readings.size)), group.readings),
        np.setdiff1d(np.arange(len(design.trials.internal)), group.trials),
    )


def _only(design: Design, readings: Indices, trials: Indices) -> Design:
    return replace(
        design,
        readings=replace(
            design.readings, **{name: a[readings] for name, a in vars(design.readings).items()}
        ),
        trials=replace(
            design.trials, **{name: a[trials] for name, a in vars(design.trials).items()}
        ),
    )


def _distinct(*columns: Array | Indices) -> tuple[Indices, Indices]:
    """Return the first of equal rows, and for each row its place among those."""
    _, first, twin = np.unique(
        np.column_stack(columns), axis=0, return_index=True, return_inverse=True
    )
    order = np.argsort(first)
    place = np.empty_like(order)
    place[order] = np.arange(len(order))
    return first[order], place[twin]


def _without_twins(design: Design) -> tuple[Design, Indices]:
    """Return a design without repeats, and for each edge of the whole one its twin there."""
    r, t = design.readings, design.trials
    value = np.round(r.value, _SAME_DIGITS)
    readings, twin_r = _distinct(r.size, value, r.least_variance, r.jaws, r.effects)
    trials, twin_t = _distinct(t.internal, t.external, t.tightest, t.loosest, t.hand, t.losses)
    return _only(design, readings, trials), edges_of(len(readings), twin_r, twin_t)


def predict_left_out(
    mixture: Mixture, groups: Sequence[Fold], trusted: float = _TRUSTED
) -> tuple[PredictedReadings, PredictedTrials]:
    """Predict the observations of each group from all others.

    Parameters
    ----------
    mixture : Mixture
        A fit to everything, of which the heaviest points are used.
    groups : sequence of Fold
        Every reading and trial of the design is predicted in exactly one of them.
    trusted : float
        Refit where the Newton decrement after the downdate exceeds this; 0 refits every group.

    Returns
    -------
    readings, trials
        In the order of the design.
    """
    with one_thread():  # as in the fit: threads only wait for one another
        rest = _Rest(mixture.heaviest(_POINTS), trusted)
        for group in steps(groups, "left out and predicted from the rest"):
            rest.take_out(group)
    return rest.readings(), rest.trials()


class _Rest:
    """Collects, group by group, the predictive moments of what is left out, given the rest.

    Arrays have the fit's design points as their first axis. Equal observations are kept once, with
    how many ``times`` they were made: sheets of repeats are long. Each edge of the whole design has
    its ``twin`` among those kept.
    """

    def __init__(self, mixture: Mixture, trusted: float) -> None:
        self.mixture, self.trusted = mixture, trusted
        design, self.twin = _without_twins(mixture.model.design)
        model = latent_model(design, mixture.model.table)
        self.seen: Observations = observations(model, mixture.scatters)
        self.times = np.bincount(self.twin)
        self.covariance = np.array([mode.covariance for mode in mixture.modes])
        modes = np.array([mode.latent for mode in mixture.modes])
        self.at_mode = self.seen.at(modes)
        # Mean − mode, taken to be the same for the rest; a feature's own deviation is skewed by
        # its own observations alone.
        skew = np.array(mixture.means) - modes
        skew[:, mixture.model.n_shared :] = 0.0
        self.off_mode = (self.seen.rows @ skew.T).T
        self.slopes = self.seen.slopes(self.at_mode)
        self.gradient = self.slopes.gradient
        self.mean, self.variance, self.weights = np.zeros((3, len(modes), len(self.twin)))
        self.known: dict[bytes, tuple[Array, Array, Array]] = {}

    @property
    def n_readings(self) -> int:
        """Number of readings among the edges of the whole design."""
        return len(self.mixture.model.design.readings.size)

    def take_out(self, group: Fold) -> None:
        out = self.twin[edges_of(self.n_readings, group.readings, group.trials)]
        at, times = np.unique(out, return_counts=True)
        key = np.concatenate([at, times]).tobytes()
        if key not in self.known:
            self.known[key] = self._predicted(group, at, times)
        mean, variance, weights = self.known[key]
        told = edges_of(self.n_readings, group.readings, group.scored_trials)
        of = np.searchsorted(at, self.twin[told])
        self.mean[:, told], self.variance[:, told] = mean[:, of], variance[:, of]
        self.weights[:, told] = weights[:, None]

    def _predicted(self, group: Fold, at: Indices, times: Indices) -> tuple[Array, Array, Array]:
        """Return mean, variance and weights of a group's edges, given the rest.

        Only the few latent values on which the edges depend take part: a dozen, even for a size
        that was read a thousand times.
        """
        rows = self.seen.rows[at]
        used = np.unique(rows.indices)
        rows = rows[:, used].toarray()
        spread = self.covariance[:, used[:, None], used]
        bent = self.slopes.curvature_of(at, times, rows)
        keep = np.eye(len(used)) - spread @ bent
        sign, log_determinant = np.linalg.slogdet(keep)
        wider = np.linalg.solve(keep, spread)
        pull = (times * self.gradient[:, at]) @ rows
        step = (wider @ pull[:, :, None])[:, :, 0]
        variance = ((rows @ wider) * rows).sum(axis=2)
        log_weight = 0.5 * (np.einsum("kp,kp->k", pull, step) - log_determinant)
        log_weight -= self.slopes.group_value(at, times)
        mean = self.at_mode[:, at] - step @ rows.T
        freed = np.linalg.solve(keep.transpose(0, 2, 1), pull[:, :, None])
        shift = -(self.covariance[:, :, used] @ freed)[:, :, 0]
        sound = (sign > 0) & (variance > 0).all(axis=1)
        sound &= self._left_to_gain(at, times, shift) <= self.trusted
        for k, mode in self._refitted(group, np.flatnonzero(~sound)):
            mean[k] = self.seen.offset[at] + rows @ mode.latent[used]
            covariance = mode.covariance[used[:, None], used]
            variance[k] = ((rows @ covariance) * rows).sum(axis=1)
            log_weight[k] = mode.log_laplace - self.mixture.modes[k].log_laplace
        weights = self.mixture.weights * np.exp(log_weight - log_weight.max())
        return mean + self.off_mode[:, at], variance, weights / weights.sum()

    def _left_to_gain(self, at: Indices, times: Indices, shift: Array) -> Array:
        """Newton decrement after the step: how far the quadratic model of the rest was wrong."""
        moved = (self.seen.rows @ shift.T).T
        with np.errstate(invalid="ignore", over="ignore"):  # past a threshold: nan, not trusted
            missed = self.seen.slopes(self.at_mode + moved).gradient
        missed -= self.gradient - self.slopes.times_curvature(moved)
        left = self.times.copy()
        left[at] -= times
        missed *= left
        missed[:, left == 0] = 0.0
        uphill = (self.seen.rows.T @ missed.T).T
        gain: Array = (uphill[:, None, :] @ self.covariance @ uphill[:, :, None])[:, 0, 0]
        return gain

    def _refitted(self, group: Fold, points: Indices) -> Iterator[tuple[int, Mode]]:
        """Find the modes of the rest again at some of the design points."""
        if not len(points):
            return
        model = latent_model(without(self.mixture.model.design, group), self.mixture.model.table)
        for k in map(int, points):
            start = self.mixture.modes[k].latent
            yield k, find_mode(model, self.mixture.scatters[k], start)

    def readings(self) -> PredictedReadings:
        """Return the predictions of the readings."""
        told = slice(0, self.n_readings)
        return PredictedReadings(
            self.weights[:, told],
            self.mean[:, told],
            self.variance[:, told],
            self.seen.scale[:, self.twin[told]],
            self.mixture.model.table.reading_dof,
        )

    def trials(self) -> PredictedTrials:
        """Return the predictions of the trials."""
        mean, variance, weights = (
            a[:, self.n_readings :].reshape(len(a), -1, N_EDGES)
            for a in (self.mean, self.variance, self.weights)
        )
        table = self.mixture.model.table
        return PredictedTrials(weights[:, :, 0], mean, variance, self.seen.omega[:, 0], table.lapse)
