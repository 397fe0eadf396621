"""Numerical integration over the scatters, and the moments of all latent values that follow.

Scatters on which a data set says nothing (no feature across layers, a single run) stay at their
prior. Those of which several prints say a little, each by itself, are integrated one by one before
the others, which hang together, are integrated at once.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from coupons.learning.effects import SCATTERS, print_rows
from coupons.learning.posterior.corrections import mean_shift
from coupons.learning.posterior.laplace import Mode
from coupons.learning.posterior.latent import LatentModel, Scatters
from coupons.learning.posterior.lattice import (
    OneScatter,
    Point,
    ScatterPosterior,
    explored,
    flattening,
    one_scatter,
    top_of,
)
from coupons.learning.posterior.threshold_marginals import (
    Marginals,
    moved,
    stretched,
    threshold_marginals,
)

Array = NDArray[np.floating]

_LEAST_WEIGHT = 1e-3
_WITH_MARGINALS = 3


@dataclass(frozen=True)
class Mixture:
    """Laplace fits at the design points and their weights, which sum to one.

    ``means`` are the posterior means of the latent values at each point: the modes, moved by the
    skewness of the likelihood. ``stretches``, one a threshold at each point, are by how much the
    thresholds' sds differ from those of the Laplace fits. ``by_itself`` are scatters that were
    integrated one by one.
    """

    model: LatentModel
    active: tuple[str, ...]
    scatters: tuple[Scatters, ...]
    modes: tuple[Mode, ...]
    means: tuple[Array, ...]
    stretches: tuple[Array, ...]
    weights: Array
    by_itself: dict[str, OneScatter]

    def heaviest(self, count: int) -> "Mixture":
        """Return the mixture of the heaviest points, for work that is costly at each point."""
        order = np.sort(np.argsort(-self.weights, kind="stable")[:count])
        scatters, modes, means, stretches = (
            tuple(values[k] for k in order)
            for values in (self.scatters, self.modes, self.means, self.stretches)
        )
        weights = self.weights[order] / self.weights[order].sum()
        return replace(
            self, scatters=scatters, modes=modes, means=means, stretches=stretches, weights=weights
        )

    def shared_moments(self, count: int) -> tuple[Array, Array]:
        """Mean and covariance of the first ``count`` latent values over the mixture."""
        means = np.array([mean[:count] for mean in self.means])
        covariances = [mode.shared_covariance(count) for mode in self.modes]
        return self._moments(means, covariances)

    @cached_property
    def moments(self) -> tuple[Array, Array]:
        """Mean and covariance of all latent values over the mixture."""
        means = np.array(self.means)
        covariances = [mode.covariance for mode in self.modes]
        return self._moments(means, covariances)

    def _moments(self, means: Array, covariances: Sequence[Array]) -> tuple[Array, Array]:
        mean = self.weights @ means
        apart = means - mean
        covariance = (self.weights * apart.T) @ apart
        for weight, within, stretch in zip(self.weights, covariances, self.stretches, strict=True):
            covariance += weight * stretched(within, stretch)
        return mean, covariance

    def log_sd_moments(self, name: str) -> tuple[float, float]:
        """Posterior mean and sd of log(scatter); the prior's where the data say nothing."""
        if name in self.by_itself:
            return self.by_itself[name].log_mean, self.by_itself[name].log_sd
        if name not in self.active:
            prior = self.model.table.scatters[name]
            return float(np.log(prior.median)), prior.log_sd
        logs = np.log([getattr(s, name) for s in self.scatters])
        mean = float(self.weights @ logs)
        return mean, float(np.sqrt(self.weights @ (logs - mean) ** 2))

    def mean_square(self, name: str) -> float:
        """Posterior mean of a scatter's variance, in mm²."""
        if name in self.by_itself:
            return self.by_itself[name].mean_square
        if name not in self.active:
            return self.model.table.scatters[name].mean_square
        return float(self.weights @ np.array([getattr(s, name) ** 2 for s in self.scatters]))


# Scatters that hang together are integrated at once.
_AT_ONCE = ("tau", "tau_z", "sigma", "omega", "rho")


def active_scatters(model: LatentModel) -> tuple[str, ...]:
    """Return the scatters on which a data set can say something."""
    design, table = model.design, model.table
    sizes = design.sizes
    says = {
        "tau": bool((sizes.is_printed & (sizes.z_share < 1)).any()),
        "tau_z": bool((sizes.z_share > 0).any()),
        "sigma": len(design.readings.value) > 0,
        "omega": len(design.trials.internal) > 0,
    }
    runs = sizes.runs_with(print_rows(sizes.effects, table))
    for effect, count in zip(table.prints, runs, strict=True):
        says[effect.scatter] = says.get(effect.scatter, False) or count > 1
    return tuple(name for name in SCATTERS if says.get(name, False))


def integrate(model: LatentModel) -> Mixture:
    """Fit the latent values at a lattice of scatter values around their mode.

    The sum over a lattice is nearly the integral of a smooth density that falls off on all sides,
    even with steps of almost two standard deviations. Unlike a quadrature rule for a normal it
    assumes no shape: posteriors of scatters are skewed and curved.
    """
    active = active_scatters(model)
    evidence = ScatterPosterior(model, [name for name in active if name in _AT_ONCE])
    by_itself, top = {}, None
    if alone := [name for name in active if name not in _AT_ONCE]:
        top = top_of(evidence)
        for name in alone:
            by_itself[name] = one_scatter(evidence, name, top)
            evidence.fixed[name] = float(np.sqrt(by_itself[name].mean_square))
    points, weights = _weighted(explored(evidence, top))
    marginals = tuple(_marginals(model, points, weights))
    return Mixture(
        model,
        evidence.active,
        tuple(point.scatters for point in points),
        tuple(point.mode for point in points),
        tuple(
            moved(_mean(model, point), point.mode, marginal.shift)
            for point, marginal in zip(points, marginals, strict=True)
        ),
        tuple(marginal.stretch for marginal in marginals),
        weights,
        by_itself,
    )


def _weighted(points: Sequence[Point]) -> tuple[list[Point], Array]:
    """Return the points that count and their weights."""
    log_posterior = np.array([point.log_posterior for point in points])
    power = flattening(len(points[0].z))
    log_volume = np.array([point.log_volume for point in points])
    log_weights = power * (log_posterior - log_posterior.max()) + log_volume
    weights = np.exp(log_weights - log_weights.max())
    weights /= weights.sum()
    kept = weights > _LEAST_WEIGHT
    weights = weights[kept]
    return [points[k] for k in np.flatnonzero(kept).tolist()], weights / weights.sum()


def _mean(model: LatentModel, point: Point) -> Array:
    """Posterior mean of the latent values: the mode, moved by the skewness of the likelihood."""
    mode = point.mode
    return mode.latent + mean_shift(model, point.scatters, mode)


def _marginals(model: LatentModel, points: Sequence[Point], weights: Array) -> Iterator[Marginals]:
    """Return each point with the marginals of its thresholds.

    They cost twenty fits a point: the heaviest points get their own, all others their average.
    """
    heaviest = np.argsort(-weights, kind="stable")[:_WITH_MARGINALS].tolist()
    own = {k: threshold_marginals(model, points[k].scatters, points[k].mode) for k in heaviest}
    average = Marginals(
        np.average([m.shift for m in own.values()], axis=0, weights=weights[heaviest]),
        np.average([m.stretch for m in own.values()], axis=0, weights=weights[heaviest]),
    )
    return (own.get(k, average) for k in range(len(points)))
