"""Integrate over the scatters: their posterior mode, a lattice of points around it, weights.

Each scatter is worked with as z = (log sd − log median)/log-sd, standard normal a priori. Scatters
on which a data set says nothing (no feature across layers, a single run) stay at their prior.
"""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from coupons.learning.design import Design
from coupons.learning.effects import SCATTERS
from coupons.learning.laplace import Mode, find_mode
from coupons.learning.latent import AT_THRESHOLDS, LatentModel, Scatters
from coupons.learning.pinned import threshold_columns, threshold_marginals
from coupons.learning.shape import mean_shift

Array = NDArray[np.floating]

_DIFFERENCE = 0.25
_MAX_STEPS = 25
_MAX_STRETCHES = 6
_NEAR_ENOUGH = 0.25
_MAX_HILLS = 4
_HIGHER = 0.5
_TOP_ENOUGH = 0.02
# Width of the lattice in posterior sds: the trapezoidal rule is right to 1 % for a normal.
_STEP = 1.9
# How far below its top the log posterior is followed: three and a third sds.
_DROP = 5.5
_MAX_POINTS = 600
_LEAST_WEIGHT = 1e-3
_WITH_MARGINALS = 3
# Share of the way between two thresholds by which a correction may bring them together.
_LARGEST_CLOSING = 0.9


@dataclass(frozen=True)
class Mixture:
    """Laplace fits at the design points and their weights, which sum to one.

    ``means`` are the posterior means of the latent values at each point: the modes, moved by the
    skewness of the likelihood. ``stretches``, of shape (n_points, n_thresholds), are
    by how much the thresholds' sds differ from those of the Laplace fits.
    """

    model: LatentModel
    active: tuple[str, ...]
    scatters: tuple[Scatters, ...]
    modes: tuple[Mode, ...]
    means: tuple[Array, ...]
    stretches: Array
    weights: Array

    def heaviest(self, count: int) -> "Mixture":
        """Return the mixture of the points that weigh most, for what is costly at each point."""
        order = np.sort(np.argsort(-self.weights, kind="stable")[:count])
        scatters, modes, means = (
            tuple(values[k] for k in order) for values in (self.scatters, self.modes, self.means)
        )
        weights = self.weights[order] / self.weights[order].sum()
        return Mixture(
            self.model, self.active, scatters, modes, means, self.stretches[order], weights
        )

    def shared_moments(self, count: int) -> tuple[Array, Array]:
        """Mean and covariance of the first ``count`` latent values over the mixture."""
        means = np.array([mean[:count] for mean in self.means])
        covariances = np.array(
            [
                _stretched(mode.shared_covariance(count), stretch)
                for mode, stretch in zip(self.modes, self.stretches, strict=True)
            ]
        )
        return _mixture_moments(self.weights, means, covariances)

    @cached_property
    def moments(self) -> tuple[Array, Array]:
        """Mean and covariance of all latent values over the mixture."""
        means = np.array(self.means)
        covariances = np.array(
            [
                _stretched(mode.covariance, stretch)
                for mode, stretch in zip(self.modes, self.stretches, strict=True)
            ]
        )
        return _mixture_moments(self.weights, means, covariances)

    def log_sd_moments(self, name: str) -> tuple[float, float]:
        """Posterior mean and sd of log(scatter); the prior's where the data say nothing."""
        if name not in self.active:
            prior = self.model.table.scatters[name]
            return float(np.log(prior.median)), prior.log_sd
        logs = np.log([getattr(s, name) for s in self.scatters])
        mean = float(self.weights @ logs)
        return mean, float(np.sqrt(self.weights @ (logs - mean) ** 2))

    def mean_square(self, name: str) -> float:
        """Posterior mean of a scatter's variance, in mm²."""
        if name not in self.active:
            return self.model.table.scatters[name].mean_square
        return float(self.weights @ np.array([getattr(s, name) ** 2 for s in self.scatters]))


def _mixture_moments(weights: Array, means: Array, covariances: Array) -> tuple[Array, Array]:
    mean = weights @ means
    spread = means - mean
    return mean, np.einsum("k,kij->ij", weights, covariances) + (weights * spread.T) @ spread


def _stretched(covariance: Array, stretch: Array) -> Array:
    """Stretch the thresholds' sds, and with them whatever goes with the thresholds."""
    block = covariance[AT_THRESHOLDS, AT_THRESHOLDS]
    towards = np.linalg.solve(block, covariance[AT_THRESHOLDS]).T
    more: Array = towards @ ((np.outer(stretch, stretch) - 1) * block) @ towards.T
    return covariance + more


def _moved(mean: Array, mode: Mode, sds: Array) -> Array:
    """Move the thresholds to so many sds from their mode, and with them whatever goes with them."""
    columns = threshold_columns(mode)
    block = columns[AT_THRESHOLDS]
    target = mode.latent[AT_THRESHOLDS] + sds * np.sqrt(np.diag(block))
    move = columns @ np.linalg.solve(block, target - mean[AT_THRESHOLDS])
    # None may pass its neighbour.
    between, closing = np.diff(mean[AT_THRESHOLDS]), -np.diff(move[AT_THRESHOLDS])
    moved: Array = mean + move / max(1.0, float(np.max(closing / between)) / _LARGEST_CLOSING)
    return moved


def active_scatters(design: Design) -> tuple[str, ...]:
    """Return the scatters on which a data set can say something."""
    z_share = design.sizes.z_share[np.isnan(design.sizes.fixed_sd)]
    in_plane, across = bool(np.any(z_share < 1)), bool(np.any(z_share > 0))
    several = design.n_runs > 1
    says = {
        "tau": in_plane,
        "tau_z": across,
        "sigma": len(design.readings.value) > 0,
        "omega": len(design.trials.internal) > 0,
        "rho": several and in_plane,
        "rho_z": several and across,
    }
    return tuple(name for name in SCATTERS if says[name])


@dataclass(frozen=True)
class _Point:
    """One value of the active scatters, the mode of all else there, and how probable it is."""

    z: Array
    scatters: Scatters
    mode: Mode
    log_posterior: float


class _Evidence:
    """Log posterior of the active scatters; a search starts from the last mode if not told."""

    def __init__(self, model: LatentModel, active: Sequence[str]) -> None:
        self.model, self.active = model, tuple(active)
        priors = [model.table.scatters[name] for name in active]
        self.center = np.log([p.median for p in priors])
        self.width = np.array([p.log_sd for p in priors])
        self.fixed = {
            name: float(np.sqrt(model.table.scatters[name].mean_square))
            for name in SCATTERS
            if name not in active
        }
        self.last: Array | None = None

    def at(self, z: Array, start: Array | None = None) -> _Point:
        sds = np.exp(self.center + self.width * z)
        scatters = Scatters(**self.fixed, **dict(zip(self.active, map(float, sds), strict=True)))
        mode = find_mode(self.model, scatters, self.last if start is None else start)
        self.last = mode.latent
        return _Point(z, scatters, mode, mode.log_evidence - 0.5 * float(z @ z))

    def __call__(self, z: Array) -> float:
        return self.at(z).log_posterior


def integrate(model: LatentModel) -> Mixture:
    """Fit the latent values at a lattice of scatter values around their mode.

    On a smooth density that falls off on all sides the sum over a lattice is its integral, almost
    to the digit, with steps as wide as one and a half standard deviations. Unlike a rule made for a
    normal it asks nothing of the shape: posteriors of scatters are skewed and bent.
    """
    active = active_scatters(model.design)
    points = _explored(_Evidence(model, active), len(active))
    highest = max(point.log_posterior for point in points)
    weights = np.exp([point.log_posterior - highest for point in points])
    weights /= weights.sum()
    kept = [(p, w) for p, w in zip(points, weights, strict=True) if w > _LEAST_WEIGHT]
    weights = np.array([weight for _, weight in kept])
    shifts, stretches = _marginals(model, [point for point, _ in kept], weights)
    return Mixture(
        model,
        active,
        tuple(point.scatters for point, _ in kept),
        tuple(point.mode for point, _ in kept),
        tuple(
            _moved(_mean(model, point), point.mode, shift)
            for (point, _), shift in zip(kept, shifts, strict=True)
        ),
        stretches,
        weights / weights.sum(),
    )


def _mean(model: LatentModel, point: _Point) -> Array:
    """Posterior mean of the latent values: the mode, moved by the skewness of the likelihood."""
    mode = point.mode
    return mode.latent + mean_shift(model, point.scatters, mode.latent, mode.factor)


def _marginals(model: LatentModel, points: Sequence[_Point], weights: Array) -> tuple[Array, Array]:
    """Return shifts from the mode and stretches of the thresholds, in sds, point by point.

    They cost twenty fits a point: the heaviest points get their own, all others their average.
    """
    heaviest = np.argsort(-weights, kind="stable")[:_WITH_MARGINALS]
    found = [threshold_marginals(model, points[k].scatters, points[k].mode) for k in heaviest]
    values = []
    for of_points in ([m.shift for m in found], [m.stretch for m in found]):
        average = np.average(of_points, axis=0, weights=weights[heaviest])
        each = np.tile(average, (len(points), 1))
        each[heaviest] = of_points
        values.append(each)
    return values[0], values[1]


def _explored(evidence: _Evidence, k: int) -> list[_Point]:
    """Climb to the top, lay a lattice around it and follow it as far as the posterior reaches.

    A point that lies higher than the top has found a higher hill (grades that contradict each other
    leave two: lapses, or a poor judgement), and the search begins anew from there.
    """
    start: Array = np.zeros(k)
    for _ in range(_MAX_HILLS):
        top, hessian = _climb(evidence, start)
        points = _lattice(evidence, top, _lattice_steps(evidence, top, hessian))
        best = max(points, key=lambda point: point.log_posterior)
        if best.log_posterior <= top.log_posterior + _HIGHER:
            break
        start = best.z
    return points


def _lattice_steps(evidence: _Evidence, top: _Point, hessian: Array) -> Array:
    """Return the lattice's steps, one a row, along the principal axes of the curvature.

    The curvature at the top is that of a small spike as often as not: the evidence has kinks where
    the mode goes over from one reading to another. So each step is stretched or shortened to fall
    as far as it would on a normal of that width.
    """
    eigenvalues, axes = np.linalg.eigh(hessian)
    # Curvature below the prior's own means a bumpy evidence: do not step out further than that.
    steps = _STEP * (axes / np.sqrt(np.maximum(eigenvalues, 0.5))).T
    stretches = [
        np.mean([_reach(evidence, top, side * step) for side in (1.0, -1.0)]) for step in steps
    ]
    lattice: Array = steps * np.array(stretches)[:, None]
    return lattice


def _reach(evidence: _Evidence, top: _Point, step: Array) -> float:
    """Return by how much to stretch a step so that it falls as far as one on a normal.

    Where the log posterior jumps past that, the step ends before the jump.
    """
    drop = _STEP**2 / 2
    short, long, stretch = 0.0, np.inf, 1.0
    for _ in range(_MAX_STRETCHES):
        dropped = top.log_posterior - evidence(top.z + stretch * step)
        if abs(dropped / drop - 1) < _NEAR_ENOUGH:
            return stretch
        short, long = (stretch, long) if dropped < drop else (short, stretch)
        # On a parabola the drop grows with the square of the way.
        guess = stretch * float(np.clip(np.sqrt(drop / max(dropped, 1e-9)), 1 / 3, 3))
        stretch = guess if short < guess < long else (short + long) / 2
    return short or stretch


def _lattice(evidence: _Evidence, top: _Point, steps: Array) -> list[_Point]:
    """Visit the lattice from the top outwards as far as the posterior reaches, the top first."""
    origin = (0,) * len(steps)
    found = {origin: top}
    queue, highest = deque([origin]), top.log_posterior
    while queue and len(found) < _MAX_POINTS:
        at = queue.popleft()
        fallen = highest - found[at].log_posterior
        for near in _neighbours(at):
            # On a parabola the next point lies further down by so much.
            further = _STEP**2 / 2 * (np.square(near).sum() - np.square(at).sum())
            if near not in found and fallen + further <= _DROP:
                point = evidence.at(top.z + np.array(near) @ steps, found[at].mode.latent)
                found[near] = point
                highest = max(highest, point.log_posterior)
                queue.append(near)
    return list(found.values())


def _neighbours(at: tuple[int, ...]) -> list[tuple[int, ...]]:
    return [(*at[:i], at[i] + side, *at[i + 1 :]) for i in range(len(at)) for side in (1, -1)]


def _climb(evidence: _Evidence, start: Array) -> tuple[_Point, Array]:
    """Find the scatters' mode and the curvature there, by Newton's method on differences."""
    point = evidence.at(start)
    for _ in range(_MAX_STEPS):
        gradient, hessian = _differences(evidence, point)
        eigenvalues, axes = np.linalg.eigh(hessian)
        step = axes @ ((axes.T @ gradient) / np.maximum(np.abs(eigenvalues), 0.5))
        step *= min(1.0, 2.0 / max(float(np.linalg.norm(step)), 1e-300))
        share, new = 1.0, evidence.at(point.z + step, point.mode.latent)
        while new.log_posterior < point.log_posterior and share > 1e-3:
            share /= 2
            new = evidence.at(point.z + share * step, point.mode.latent)
        if new.log_posterior <= point.log_posterior + _TOP_ENOUGH:
            return max(point, new, key=lambda p: p.log_posterior), hessian
        point = new
    return point, hessian


def _differences(evidence: _Evidence, point: _Point) -> tuple[Array, Array]:
    """Gradient and negative Hessian by central differences."""
    z, value, near = point.z, point.log_posterior, point.mode.latent
    k, h = len(z), _DIFFERENCE
    unit = h * np.eye(k)
    plus = np.array([evidence.at(z + e, near).log_posterior for e in unit])
    minus = np.array([evidence.at(z - e, near).log_posterior for e in unit])
    hessian = np.diag((2 * value - plus - minus) / h**2)
    for i in range(k):
        for j in range(i):
            both = evidence.at(z + unit[i] + unit[j], near).log_posterior
            hessian[i, j] = hessian[j, i] = (plus[i] + plus[j] - value - both) / h**2
    return (plus - minus) / (2 * h), hessian
