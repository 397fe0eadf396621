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

from coupons.learning.design import Design, Readings
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
# Readings of one size are the same if they are so to a micrometre, which is nothing to a caliper.
_SAME_DIGITS = 3


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


def _only(readings: Readings, index: Indices) -> Readings:
    return replace(readings, **{name: a[index] for name, a in vars(readings).items()})


def _distinct(readings: Readings) -> tuple[Indices, Indices]:
    """Return the first of readings that say the same, and for each reading its place in them."""
    value = np.round(readings.value, _SAME_DIGITS)
    columns = [readings.size, value, readings.resolution, readings.z_share, readings.effects]
    _, first, twin = np.unique(
        np.column_stack(columns), axis=0, return_index=True, return_inverse=True
    )
    order = np.argsort(first)
    place = np.empty_like(order)
    place[order] = np.arange(len(order))
    return first[order], place[twin]


def without(design: Design, group: Group) -> Design:
    """Return a design without a group's observations; its sizes stay."""
    readings, trials = design.readings, design.trials
    keep_r = np.setdiff1d(np.arange(len(readings.size)), group.readings)
    keep_t = np.setdiff1d(np.arange(len(trials.internal)), group.trials)
    return replace(
        design,
        readings=_only(readings, keep_r),
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

    Arrays have the fit's design points as their first axis. Readings that say the same of one size
    are seen once, with how many ``times`` they were taken: sheets of repeats are long.
    """

    def __init__(self, mixture: Mixture, trusted: float) -> None:
        self.mixture, self.trusted = mixture, trusted
        design = mixture.model.design
        first, self.twin = _distinct(design.readings)
        seen = replace(design, readings=_only(design.readings, first))
        self.seen: Observations = observations(
            latent_model(seen, mixture.model.table), mixture.scatters
        )
        trial_edges = np.ones(len(self.seen.offset) - len(first))
        self.times = np.concatenate([np.bincount(self.twin), trial_edges])
        self.covariance = np.array([mode.covariance for mode in mixture.modes])
        modes = np.array([mode.latent for mode in mixture.modes])
        self.at_mode = self.seen.at(modes)
        # What the means lie off the modes, taken as the same for the rest; a feature's own
        # deviation is skewed by its own observations alone.
        skew = np.array(mixture.means) - modes
        skew[:, mixture.model.n_shared :] = 0.0
        self.off_mode = (self.seen.rows @ skew.T).T
        self.slopes = self.seen.slopes(self.at_mode)
        self.gradient = self.slopes.gradient
        n_told = len(self.twin) + len(trial_edges)
        self.mean, self.variance, self.weights = np.zeros((3, len(modes), n_told))
        self.known: dict[bytes, tuple[Array, Array, Array]] = {}

    def take_out(self, group: Group) -> None:
        readings, counts = np.unique(self.twin[group.readings], return_counts=True)
        at = self.seen.index(readings, group.trials)
        times = np.concatenate([counts, np.ones(len(at) - len(readings))])
        key = np.concatenate([at, times]).tobytes()
        if key not in self.known:
            self.known[key] = self._foretold(group, readings, at, times)
        self._store(group, np.searchsorted(readings, self.twin[group.readings]), self.known[key])

    def _foretold(
        self, group: Group, readings: Indices, at: Indices, times: Array
    ) -> tuple[Array, Array, Array]:
        """Return mean, variance and weights of a group's edges, by the rest.

        All happens among the few latent values on which the edges lean: a size read a thousand
        times leans on a dozen.
        """
        rows = self.seen.rows[at]
        used = np.unique(rows.indices)
        rows = rows[:, used].toarray()
        spread = self.covariance[:, used[:, None], used]
        bent = self.slopes.curvature_of(readings, group.trials, rows, times[: len(readings)])
        keep = np.eye(len(used)) - spread @ bent
        sign, log_determinant = np.linalg.slogdet(keep)
        wider = np.linalg.solve(keep, spread)
        pull = (times * self.gradient[:, at]) @ rows
        step = (wider @ pull[:, :, None])[:, :, 0]
        variance = ((rows @ wider) * rows).sum(axis=2)
        log_weight = 0.5 * (np.einsum("kp,kp->k", pull, step) - log_determinant)
        log_weight -= self.slopes.group_value(readings, group.trials, times[: len(readings)])
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

    def _left_to_gain(self, at: Indices, times: Array, shift: Array) -> Array:
        """Newton decrement after the step: what the curvature of all others did not foresee."""
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

    def _refitted(self, group: Group, points: Indices) -> Iterator[tuple[int, Mode]]:
        """Find the modes of the rest anew at some of the design points."""
        if not len(points):
            return
        model = latent_model(without(self.mixture.model.design, group), self.mixture.model.table)
        for k in map(int, points):
            start = self.mixture.modes[k].latent
            yield k, find_mode(model, self.mixture.scatters[k], start)

    def _store(self, group: Group, place: Indices, foretold: tuple[Array, Array, Array]) -> None:
        """Keep what was to be told of a group; ``place`` of a reading is that of its twin."""
        mean, variance, weights = foretold
        first = mean.shape[1] - N_EDGES * len(group.trials)
        tells = np.flatnonzero(np.isin(group.trials, group.told_trials))
        edges = np.arange(N_EDGES)
        of = np.concatenate([place, (first + N_EDGES * tells[:, None] + edges).ravel()])
        told = group.trials[tells][:, None]
        to = np.concatenate([group.readings, (len(self.twin) + N_EDGES * told + edges).ravel()])
        self.mean[:, to], self.variance[:, to] = mean[:, of], variance[:, of]
        self.weights[:, to] = weights[:, None]

    def readings(self) -> ForetoldReadings:
        """Return what was foretold of the readings."""
        told = slice(0, len(self.twin))
        return ForetoldReadings(
            self.weights[:, told],
            self.mean[:, told],
            self.variance[:, told],
            self.seen.scale[:, self.twin],
            self.mixture.model.table.reading_dof,
        )

    def trials(self) -> ForetoldTrials:
        """Return what was foretold of the trials."""
        mean, variance, weights = (
            a[:, len(self.twin) :].reshape(len(a), -1, N_EDGES)
            for a in (self.mean, self.variance, self.weights)
        )
        table = self.mixture.model.table
        return ForetoldTrials(weights[:, :, 0], mean, variance, self.seen.omega[:, 0], table.lapse)
