"""What the rest of the entries says about some of them, without fitting again.

At fixed scatters the fit is a normal distribution around its mode. Taking observations out of it is
a downdate: one Newton step from the mode, in which only the few numbers that those observations
depend on take part. The scatters' weights follow from how much less likely each value then makes
the rest. Where a step goes too far for the curvature to be trusted, the mode is sought anew.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from coupons.learning.design import Design
from coupons.learning.foretold import ForetoldReadings, ForetoldTrials
from coupons.learning.integrate import Mixture
from coupons.learning.laplace import Mode, find_mode
from coupons.learning.latent import latent_model
from coupons.learning.slopes import N_EDGES, Observations, observations

Array = NDArray[np.floating]
Indices = NDArray[np.intp]

# Newton decrement left after the downdate, in units of log probability, up to which it is trusted.
_TRUSTED = 0.02
# At each point of the mixture every group is taken out: of some forty, the heaviest hold most.
_POINTS = 9


@dataclass(frozen=True)
class Group:
    """Observations that are left out together, as indices into the design's arrays.

    All of ``readings`` and ``trials`` are taken out; those in ``told_trials`` are foretold from the
    rest, as are all readings.
    """

    readings: Indices
    trials: Indices
    told_trials: Indices


def each_alone(design: Design) -> tuple[Group, ...]:
    """Leave out one entry at a time."""
    nothing = np.zeros(0, np.intp)
    readings = np.arange(len(design.readings.size))
    trials = np.arange(len(design.trials.internal))
    return (
        *(Group(at, nothing, nothing) for at in readings[:, None]),
        *(Group(nothing, at, at) for at in trials[:, None]),
    )


def each_feature(design: Design) -> tuple[Group, ...]:
    """Leave out one size at a time, with everything in which it takes part.

    A trial is foretold once, while the one of its two sizes is out that has fewer trials: the
    feature of the coupon, not the loose piece that is tried in all of them.
    """
    trials = design.trials
    n_sizes = len(design.sizes.drawn)
    taken = np.bincount(trials.internal, minlength=n_sizes)
    taken += np.bincount(trials.external, minlength=n_sizes)
    fewer = taken[trials.internal] <= taken[trials.external]
    owner = np.where(fewer, trials.internal, trials.external)
    groups = (
        Group(
            np.flatnonzero(design.readings.size == size),
            np.flatnonzero((trials.internal == size) | (trials.external == size)),
            np.flatnonzero(owner == size),
        )
        for size in range(n_sizes)
    )
    return tuple(group for group in groups if len(group.readings) or len(group.told_trials))


def without(design: Design, group: Group) -> Design:
    """Return a design without a group's observations; its sizes stay."""
    readings, trials = design.readings, design.trials
    keep_r = np.setdiff1d(np.arange(len(readings.size)), group.readings)
    keep_t = np.setdiff1d(np.arange(len(trials.internal)), group.trials)
    return replace(
        design,
        readings=replace(readings, **{f: getattr(readings, f)[keep_r] for f in vars(readings)}),
        trials=replace(trials, **{f: getattr(trials, f)[keep_t] for f in vars(trials)}),
    )


def foretell(
    mixture: Mixture, groups: Sequence[Group], trusted: float = _TRUSTED
) -> tuple[ForetoldReadings, ForetoldTrials]:
    """Foretell each group's observations from all others.

    Parameters
    ----------
    mixture : Mixture
        A fit to everything, of which the heaviest points are used.
    groups : sequence of Group
        Every reading and trial of the design is told in exactly one of them.
    trusted : float
        Refit where the downdate leaves more than this to gain; 0 refits every group.

    Returns
    -------
    readings, trials
        In the order of the design.
    """
    with threadpool_limits(1):  # as in the fit: threads only wait for one another
        rest = _Rest(mixture.heaviest(_POINTS), trusted)
        for group in groups:
            rest.take_out(group)
    return rest.readings(), rest.trials()


class _Rest:
    """Collects, group by group, the moments of what is left out as the rest sees it.

    Arrays have the fit's design points as their first axis.
    """

    def __init__(self, mixture: Mixture, trusted: float) -> None:
        self.mixture, self.trusted = mixture, trusted
        self.seen: Observations = observations(mixture.model, mixture.scatters)
        self.covariance = np.array([mode.covariance for mode in mixture.modes])
        modes = np.array([mode.latent for mode in mixture.modes])
        self.at_mode = self.seen.at(modes)
        # What the means lie off the modes, taken as the same for the rest; a feature's own
        # deviation is skewed by its own observations alone.
        skew = np.array(mixture.means) - modes
        skew[:, mixture.model.n_shared :] = 0.0
        self.off_mode = (self.seen.rows @ skew.T).T
        self.slopes = self.seen.slopes(self.at_mode)
        self.mean, self.variance = np.zeros_like(self.at_mode), np.ones_like(self.at_mode)
        self.weights = np.zeros_like(self.at_mode)

    def take_out(self, group: Group) -> None:
        at = self.seen.index(group.readings, group.trials)
        rows = self.seen.rows[at].toarray()
        used = np.flatnonzero(rows.any(axis=0))
        reach = self.covariance[:, :, used] @ rows[:, used].T
        spread = rows[:, used] @ reach[:, used]
        gradient = self.slopes.gradient[:, at]
        keep = np.eye(len(at)) - self.slopes.curvature_block(group.trials, at) @ spread
        sign, log_determinant = np.linalg.slogdet(keep)
        pull = np.linalg.solve(keep, gradient[:, :, None])[:, :, 0]
        # spread (I − C spread)⁻¹ is symmetric; solve divides from the left.
        variance = np.einsum("kii->ki", np.linalg.solve(keep.transpose(0, 2, 1), spread))
        step = np.einsum("kij,kj->ki", spread, pull)
        log_weight = 0.5 * (np.einsum("ki,ki->k", gradient, step) - log_determinant)
        log_weight -= self.slopes.group_value(group.readings, group.trials)
        mean = self.at_mode[:, at] - step
        shift = -np.einsum("kni,ki->kn", reach, pull)
        sound = (sign > 0) & (variance > 0).all(axis=1)
        sound &= self._left_to_gain(at, shift) <= self.trusted
        for k, mode in self._refitted(group, np.flatnonzero(~sound)):
            mean[k] = self.seen.offset[at] + rows @ mode.latent
            variance[k] = ((rows @ mode.covariance) * rows).sum(axis=1)
            log_weight[k] = mode.log_laplace - self.mixture.modes[k].log_laplace
        weights = self.mixture.weights * np.exp(log_weight - log_weight.max())
        self._store(group, at, mean, variance, weights / weights.sum())

    def _left_to_gain(self, at: Indices, shift: Array) -> Array:
        """Newton decrement after the step: what the curvature of all others did not foresee."""
        moved = (self.seen.rows @ shift.T).T
        with np.errstate(invalid="ignore", over="ignore"):  # past a threshold: nan, not trusted
            missed = self.seen.slopes(self.at_mode + moved).gradient
        missed -= self.slopes.gradient - self.slopes.times_curvature(moved)
        missed[:, at] = 0.0
        uphill = (self.seen.rows.T @ missed.T).T
        gain: Array = (uphill[:, None, :] @ self.covariance @ uphill[:, :, None])[:, 0, 0]
        return gain

    def _refitted(self, group: Group, points: Indices) -> Iterator[tuple[int, Mode]]:
        """Find the modes of the rest anew at some of the design points."""
        if not len(points):
            return
        model = latent_model(without(self.mixture.model.design, group), self.mixture.model.table)
        for k in map(int, points):
            start = self.mixture.modes[k].latent
            yield k, find_mode(model, self.mixture.scatters[k], start)

    def _store(
        self, group: Group, at: Indices, mean: Array, variance: Array, weights: Array
    ) -> None:
        """Keep what was to be told of a group."""
        of_trials = np.repeat(np.isin(group.trials, group.told_trials), N_EDGES)
        told = np.concatenate([np.ones(len(group.readings), bool), of_trials])
        self.mean[:, at[told]] = mean[:, told] + self.off_mode[:, at[told]]
        self.variance[:, at[told]] = variance[:, told]
        self.weights[:, at[told]] = weights[:, None]

    def readings(self) -> ForetoldReadings:
        """Return what was foretold of the readings."""
        told = slice(0, self.seen.n_readings)
        return ForetoldReadings(
            self.weights[:, told],
            self.mean[:, told],
            self.variance[:, told],
            self.seen.scale,
            self.mixture.model.table.reading_dof,
        )

    def trials(self) -> ForetoldTrials:
        """Return what was foretold of the trials."""
        mean, variance, weights = (
            a[:, self.seen.n_readings :].reshape(len(a), -1, N_EDGES)
            for a in (self.mean, self.variance, self.weights)
        )
        table = self.mixture.model.table
        return ForetoldTrials(weights[:, :, 0], mean, variance, self.seen.omega[:, 0], table.lapse)
