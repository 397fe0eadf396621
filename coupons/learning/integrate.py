"""Integrate over the scatters: their posterior mode, a small design of points around it, weights.

Each scatter is worked with as z = (log sd − log median)/log-sd, standard normal a priori. Scatters
on which a data set says nothing (no feature across layers, a single run) stay at their prior.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from coupons.learning.design import Design
from coupons.learning.effects import SCATTERS
from coupons.learning.laplace import Mode, find_mode
from coupons.learning.latent import LatentModel, Scatters
from coupons.learning.shape import mean_shift

Array = NDArray[np.floating]

_DIFFERENCE = 0.25
_MAX_STEPS = 25
_MAX_STRETCHES = 6
_NEAR_ENOUGH = 0.25
_MAX_HILLS = 4
_HIGHER = 0.5


@dataclass(frozen=True)
class Mixture:
    """Laplace fits at the design points and their weights, which sum to one.

    ``means`` are the posterior means of the latent values at each point: the modes, moved by the
    skewness of the likelihood.
    """

    model: LatentModel
    active: tuple[str, ...]
    scatters: tuple[Scatters, ...]
    modes: tuple[Mode, ...]
    means: tuple[Array, ...]
    weights: Array

    def shared_moments(self, count: int) -> tuple[Array, Array]:
        """Mean and covariance of the first ``count`` latent values over the mixture."""
        means = np.array([mean[:count] for mean in self.means])
        covariances = np.array([mode.shared_covariance(count) for mode in self.modes])
        return _mixture_moments(self.weights, means, covariances)

    @cached_property
    def moments(self) -> tuple[Array, Array]:
        """Mean and covariance of all latent values over the mixture."""
        means = np.array(self.means)
        covariances = np.array([mode.covariance for mode in self.modes])
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


class _Evidence:
    """Log posterior of the active scatters; every evaluation starts from the last mode found."""

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

    def scatters(self, z: Array) -> Scatters:
        sds = np.exp(self.center + self.width * z)
        return Scatters(**self.fixed, **dict(zip(self.active, map(float, sds), strict=True)))

    def mode(self, z: Array) -> Mode:
        mode = find_mode(self.model, self.scatters(z), self.last)
        self.last = mode.latent
        return mode

    def __call__(self, z: Array) -> float:
        return self.mode(z).log_evidence - 0.5 * float(z @ z)


def integrate(model: LatentModel) -> Mixture:
    """Fit the latent values at a design of scatter values around their mode.

    The design is a centre and two points an axis of the curvature there, at a radius that makes the
    rule exact for the fourth moment of a normal as well as for its second.
    """
    active = active_scatters(model.design)
    evidence = _Evidence(model, active)
    points, widths = _star(evidence, len(active))
    modes = [evidence.mode(z) for z in points]
    log_posterior = np.array(
        [mode.log_evidence - 0.5 * float(z @ z) for z, mode in zip(points, modes, strict=True)]
    )
    weights = _design_weights(len(active)) * np.exp(log_posterior - max(log_posterior)) * widths
    scatters = tuple(evidence.scatters(z) for z in points)
    means = tuple(
        mode.latent + mean_shift(model, at, mode.latent, mode.factor)
        for at, mode in zip(scatters, modes, strict=True)
    )
    return Mixture(
        model,
        active,
        scatters,
        tuple(modes),
        means,
        weights / weights.sum(),
    )


def _radius_sq(k: int) -> float:
    """Squared distance of the design's outer points from its centre, in sds of a normal."""
    return max(3.0, 1.21 * k)


def _star(evidence: _Evidence, k: int) -> tuple[list[Array], Array]:
    """Place the centre and both ends of every arm, each where the log posterior has dropped.

    The curvature at the top is that of a small spike as often as not: the evidence has kinks where
    the mode goes over from one reading to another. So each arm is stretched or shortened until its
    end lies as far down as it would on a normal of that width. The two ends of an arm may differ;
    their shares of it are returned as relative widths. An end that lies higher than the top has
    found a higher hill (grades that contradict each other leave two: lapses, or a poor judgement),
    and the search begins anew from there.
    """
    top: Array = np.zeros(k)
    for _ in range(_MAX_HILLS):
        top, hessian = _climb(evidence, top)
        highest = evidence(top)
        eigenvalues, axes = np.linalg.eigh(hessian)
        # Curvature below the prior's own means a bumpy evidence: do not step out further than that.
        arms = np.sqrt(_radius_sq(k)) * (axes / np.sqrt(np.maximum(eigenvalues, 0.5))).T
        points, widths = [top], [1.0]
        for arm in arms:
            ends = [_stretched(evidence, top, side * arm, highest, k) for side in (1.0, -1.0)]
            points += [top + ends[0] * arm, top - ends[1] * arm]
            widths += [2 * end / sum(ends) for end in ends]
        best = max(points, key=evidence)
        if evidence(best) <= highest + _HIGHER:
            break
        top = best
    return points, np.array(widths)


def _stretched(evidence: _Evidence, top: Array, arm: Array, highest: float, k: int) -> float:
    """Return by how much to stretch an arm so that its end lies as far down as on a normal.

    Where the log posterior jumps past that, the arm ends before the jump.
    """
    drop = _radius_sq(k) / 2
    short, long, stretch = 0.0, np.inf, 1.0
    for _ in range(_MAX_STRETCHES):
        dropped = highest - evidence(top + stretch * arm)
        if abs(dropped / drop - 1) < _NEAR_ENOUGH:
            return stretch
        short, long = (stretch, long) if dropped < drop else (short, stretch)
        # On a parabola the drop grows with the square of the way.
        guess = stretch * float(np.clip(np.sqrt(drop / max(dropped, 1e-9)), 1 / 3, 3))
        stretch = guess if short < guess < long else (short + long) / 2
    return short or stretch


def _design_weights(k: int) -> Array:
    """Weights that turn density values at the design points into the moments of a normal."""
    radius_sq = _radius_sq(k)
    on_axis = np.exp(radius_sq / 2) / (2 * radius_sq)
    return np.array([1 - k / radius_sq, *[on_axis] * (2 * k)])


def _climb(evidence: _Evidence, start: Array) -> tuple[Array, Array]:
    """Find the scatters' mode and the curvature there, by Newton's method on differences."""
    z, value = start, evidence(start)
    for _ in range(_MAX_STEPS):
        gradient, hessian = _differences(evidence, z, value)
        eigenvalues, axes = np.linalg.eigh(hessian)
        step = axes @ ((axes.T @ gradient) / np.maximum(np.abs(eigenvalues), 0.5))
        step *= min(1.0, 2.0 / max(float(np.linalg.norm(step)), 1e-300))
        share, new = 1.0, evidence(z + step)
        while new < value and share > 1e-3:
            share /= 2
            new = evidence(z + share * step)
        if new <= value + 1e-4:
            return z, hessian
        z, value = z + share * step, new
    return z, hessian


def _differences(evidence: _Evidence, z: Array, value: float) -> tuple[Array, Array]:
    """Gradient and negative Hessian by central differences."""
    k, h = len(z), _DIFFERENCE
    unit = h * np.eye(k)
    plus = np.array([evidence(z + e) for e in unit])
    minus = np.array([evidence(z - e) for e in unit])
    hessian = np.diag((2 * value - plus - minus) / h**2)
    for i in range(k):
        for j in range(i):
            both = evidence(z + unit[i] + unit[j])
            hessian[i, j] = hessian[j, i] = (plus[i] + plus[j] - value - both) / h**2
    return (plus - minus) / (2 * h), hessian
