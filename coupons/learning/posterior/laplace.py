"""Laplace approximation at given scatters: mode and covariance of the latent values."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.linalg import LinAlgError
from numpy.typing import NDArray

from coupons.errors import FitError
from coupons.learning.effects import THRESHOLDS
from coupons.learning.posterior.bordered import Bordered, Factor
from coupons.learning.posterior.latent import AT_THRESHOLDS, LatentModel, Scatters
from coupons.learning.posterior.likelihood import (
    ReadingTerms,
    TrialTerms,
    reading_terms,
    trial_terms,
)

Array = NDArray[np.floating]

_MAX_STEPS = 200
# In units of log probability; the last step is still taken and leaves almost none of it.
_DECREMENT = 1e-7
_FLATTEST = 0.05  # the prior's own curvature is 1
_STEPS = np.diff(np.eye(len(THRESHOLDS)), axis=0)  # thresholds to the steps between them


@dataclass(frozen=True)
class Mode:
    """Posterior mode of the latent values at given scatters.

    ``log_laplace`` is Laplace's approximation of log p(observations | scatters), up to a constant
    that does not depend on the scatters. ``factor`` is that of the negative Hessian.
    """

    latent: Array
    factor: Factor
    log_laplace: float

    @cached_property
    def covariance(self) -> Array:
        """Laplace covariance of all latent values."""
        return self.factor.solve(np.eye(len(self.latent)))

    def shared_covariance(self, count: int) -> Array:
        """Covariance of the first ``count`` latent values, without inverting the rest."""
        return self.factor.first_of_core(count)


@dataclass(frozen=True)
class _Point:
    """The objective at one value of the latent values, with what the next Newton step needs."""

    latent: Array
    objective: float
    readings: ReadingTerms
    trials: TrialTerms


def find_mode(model: LatentModel, scatters: Scatters, start: Array | None = None) -> Mode:
    """Find the posterior mode of the latent values by damped Newton.

    Parameters
    ----------
    model : LatentModel
    scatters : Scatters
    start : ndarray of shape (n_latent,), optional
        Where to start; the prior mean if not given.

    Raises
    ------
    FitError
        If no mode is found, which means impossible numbers in the data (for example 1e300).
    """
    variance = model.prior_variance(scatters)
    point = _evaluate(model, scatters, variance, model.prior_center if start is None else start)
    for _ in range(_MAX_STEPS):
        gradient, hessian = _derivatives(model, scatters, variance, point)
        step, factor = _newton_step(gradient, hessian, variance)
        decrement = float(-gradient @ step)
        if factor is not None and decrement < _DECREMENT:
            highest = 0.5 * decrement - point.objective
            log_volume = 0.5 * (factor.log_determinant + float(np.log(variance).sum()))
            return Mode(point.latent + step, factor, highest - log_volume)
        point = _damped(model, scatters, variance, point, step, decrement)
    raise FitError("The fit did not converge. Run `coupons check` and look for impossible numbers.")


def _newton_step(
    gradient: Array, hessian: Bordered, variance: Array
) -> tuple[Array, Factor | None]:
    """Newton's step and the Hessian's factor; None for the factor where it has none.

    Away from the mode an outlying reading can make the Hessian indefinite. There the step uses the
    absolute values of its curvatures, in units of the prior's standard deviations, so that it
    always descends.
    """
    try:
        factor = hessian.factorised()
    except LinAlgError:
        return -hessian.bent_upwards(np.sqrt(variance), _FLATTEST).solve(gradient), None
    return -factor.solve(gradient), factor


def _damped(
    model: LatentModel,
    scatters: Scatters,
    variance: Array,
    point: _Point,
    step: Array,
    decrement: float,
) -> _Point:
    """Shorten a Newton step until it lowers the objective and keeps the thresholds in order."""
    share = 1.0
    while share > 1e-12:
        latent = point.latent + share * step
        if np.all(np.diff(latent[AT_THRESHOLDS]) > 0):
            new = _evaluate(model, scatters, variance, latent)
            # The last term allows for rounding once the objective is flat to machine precision.
            if new.objective <= point.objective - 1e-4 * share * decrement + 1e-9:
                return new
        share /= 2
    raise FitError(
        "The fit stopped before it converged. Run `coupons check` and look for impossible numbers."
    )


def _evaluate(model: LatentModel, scatters: Scatters, variance: Array, latent: Array) -> _Point:
    """Negative log posterior (up to constants) and the likelihood terms at a latent value."""
    residual = model.design.readings.value - model.predicted(latent)
    of_readings = reading_terms(residual, model.reading_scale(scatters), model.table.reading_dof)
    lower, upper = model.distances(latent, scatters)
    of_trials = trial_terms(lower, upper, model.grades_in_set, model.table.lapse)
    penalty = 0.5 * np.sum((latent - model.prior_center) ** 2 / variance)
    penalty -= model.table.order_weight * np.log(np.diff(latent[AT_THRESHOLDS])).sum()
    objective = float(penalty - of_readings.value.sum() - of_trials.value.sum())
    return _Point(latent, objective, of_readings, of_trials)


def _derivatives(
    model: LatentModel, scatters: Scatters, variance: Array, point: _Point
) -> tuple[Array, Bordered]:
    """Gradient and (near the mode positive definite) Hessian of the objective."""
    n, n_readings, omega = model.n_shared, model.n_readings, scatters.omega
    t, r = point.trials, point.readings
    below, above = model.below, model.above
    over_lower, over_upper = t.gradient_lower / omega, t.gradient_upper / omega
    slope = np.concatenate([r.gradient, over_lower + over_upper])
    gradient = (point.latent - model.prior_center) / variance
    gradient[:n] -= slope @ model.seen_shared
    gradient[n:] -= model.seen_own @ slope
    push, between = _order_terms(model, point.latent)
    gradient[AT_THRESHOLDS] += push + over_lower @ below + over_upper @ above

    of_trials = np.array([t.curvature_lower, t.curvature_upper, t.curvature_cross]) / omega**2
    lower, upper, cross = of_trials
    of_clearance = lower + 2 * cross + upper
    weighted = model.seen_shared * np.concatenate([r.curvature, of_clearance])[:, None]
    of_cuts = (lower + cross) * below.T + (upper + cross) * above.T
    weighted[n_readings:, AT_THRESHOLDS] -= of_cuts.T
    shared = model.seen_shared.T @ weighted
    shared[AT_THRESHOLDS] = shared[:, AT_THRESHOLDS].T
    both = (cross * below.T) @ above
    at_cuts = (lower * below.T) @ below + (upper * above.T) @ above + both + both.T
    shared[AT_THRESHOLDS, AT_THRESHOLDS] = at_cuts + between
    shared.flat[:: n + 1] += 1 / variance[:n]
    own = model.seen_own @ weighted
    return gradient, _bordered(model, shared, own, 1 / variance[n:], r.curvature, of_clearance)


def _order_terms(model: LatentModel, latent: Array) -> tuple[Array, Array]:
    """Gradient and Hessian, by the thresholds, of the log barrier that keeps them in order."""
    step_of = _STEPS / (_STEPS @ latent[AT_THRESHOLDS])[:, None]
    weight = model.table.order_weight
    return -weight * step_of.sum(axis=0), weight * step_of.T @ step_of


def _bordered(
    model: LatentModel,
    shared: Array,
    with_own: Array,
    own: Array,
    of_readings: Array,
    of_trials: Array,
) -> Bordered:
    """Assemble the Hessian from its blocks.

    ``shared`` is between shared values, ``with_own`` between them and own deviations, ``own`` the
    prior's curvature of the latter. Each trial couples the two own deviations that meet in it.
    """
    n, trials, sizes = model.n_shared, model.design.trials, len(own)
    own = own + np.bincount(model.design.readings.size, of_readings, sizes)
    own += np.bincount(trials.internal, of_trials, sizes)
    own += np.bincount(trials.external, of_trials, sizes)
    core, alone = model.core[n:] - n, model.alone - n
    meets = np.bincount(model.meetings, -of_trials, len(core) * sizes)
    meets = meets.reshape(len(core), sizes)
    between = meets[:, core] + meets[:, core].T + np.diag(own[core])
    of_core = np.empty((n + len(core), n + len(core)))
    of_core[:n, :n], of_core[n:, n:] = shared, between
    of_core[n:, :n] = with_own[core]
    of_core[:n, n:] = of_core[n:, :n].T
    border = np.concatenate([with_own[alone].T, meets[:, alone]])
    return Bordered(model.core, model.alone, of_core, border, own[alone])
