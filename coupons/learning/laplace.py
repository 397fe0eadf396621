"""Given the scatters, the latent values are nearly Gaussian: find their mode and covariance."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import LinAlgError, cho_solve, cholesky, solve_triangular

from coupons.errors import FitError
from coupons.learning.latent import AT_THRESHOLDS, LatentModel, Scatters
from coupons.learning.likelihood import ReadingTerms, TrialTerms, reading_terms, trial_terms
from coupons.learning.shape import evidence_beyond_normal

Array = NDArray[np.floating]

_MAX_STEPS = 200
_DECREMENT = 1e-10
_FLATTEST = 0.05  # the prior's own curvature is 1


@dataclass(frozen=True)
class Mode:
    """The most probable latent values at given scatters.

    ``log_laplace`` is Laplace's approximation of log p(observations | scatters), up to a constant
    that does not depend on the scatters, and ``beyond_normal`` what it lacks. ``factor`` is the
    lower Cholesky factor of the negative Hessian.
    """

    latent: Array
    factor: Array
    log_laplace: float
    beyond_normal: float

    @property
    def log_evidence(self) -> float:
        """Log evidence of the scatters, corrected."""
        return self.log_laplace + self.beyond_normal

    @cached_property
    def covariance(self) -> Array:
        """Laplace covariance of all latent values."""
        inverse: Array = cho_solve((self.factor, True), np.eye(len(self.latent)))
        return inverse

    def shared_covariance(self, count: int) -> Array:
        """Covariance of the first ``count`` latent values, without inverting the rest."""
        half: Array = solve_triangular(self.factor, np.eye(len(self.latent), count), lower=True)
        return half.T @ half


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
        If no mode is found, which means a fault in the data's numbers (for example 1e300).
    """
    variance = model.prior_variance(scatters)
    point = _evaluate(model, scatters, variance, model.prior_center if start is None else start)
    for _ in range(_MAX_STEPS):
        gradient, hessian = _derivatives(model, scatters, variance, point)
        step, factor = _newton_step(gradient, hessian, variance)
        decrement = float(-gradient @ step)
        if factor is not None and decrement < _DECREMENT:
            log_laplace = (
                -point.objective - np.log(np.diag(factor)).sum() - 0.5 * np.log(variance).sum()
            )
            lacking = evidence_beyond_normal(model, scatters, point.latent, factor)
            return Mode(point.latent, factor, float(log_laplace), lacking)
        point = _damped(model, scatters, variance, point, step, decrement)
    raise FitError("The fit did not settle. Run `coupons check` and look for impossible numbers.")


def _newton_step(gradient: Array, hessian: Array, variance: Array) -> tuple[Array, Array | None]:
    """Newton's step and the Hessian's Cholesky factor; None for the factor where it has none.

    Away from the mode a wild reading can bend the objective downwards. There the step follows each
    principal axis downhill by the size of its curvature, whatever its sign (a saddle is left as
    fast as a valley is entered), in units of the prior's standard deviations.
    """
    try:
        factor = cholesky(hessian, lower=True)
        return -cho_solve((factor, True), gradient), factor
    except LinAlgError:
        sd = np.sqrt(variance)
        curvature, axes = np.linalg.eigh(hessian * sd * sd[:, None])
        steepness = np.maximum(np.abs(curvature), _FLATTEST)
        return -sd * (axes @ ((axes.T @ (sd * gradient)) / steepness)), None


def _damped(
    model: LatentModel,
    scatters: Scatters,
    variance: Array,
    point: _Point,
    step: Array,
    decrement: float,
) -> _Point:
    """Take as much of a Newton step as lowers the objective and keeps the thresholds in order."""
    share = 1.0
    while share > 1e-12:
        latent = point.latent + share * step
        if np.all(np.diff(latent[AT_THRESHOLDS]) > 0):
            new = _evaluate(model, scatters, variance, latent)
            # The last term allows for rounding once the objective is flat to machine precision.
            if new.objective <= point.objective - 1e-4 * share * decrement + 1e-9:
                return new
        share /= 2
    raise FitError("The fit cannot improve. Run `coupons check` and look for impossible numbers.")


def _evaluate(model: LatentModel, scatters: Scatters, variance: Array, latent: Array) -> _Point:
    """Negative log posterior (up to constants) and the likelihood terms at a latent value."""
    trials = model.design.trials
    residual = model.design.readings.value - model.predicted(latent)
    of_readings = reading_terms(residual, model.reading_scale(scatters), model.table.reading_dof)
    lower, upper = model.distances(latent, scatters)
    grades_in_set = trials.loosest - trials.tightest + 1.0
    of_trials = trial_terms(lower, upper, grades_in_set, model.table.lapse)
    penalty = 0.5 * np.sum((latent - model.prior_center) ** 2 / variance)
    penalty -= model.table.order_weight * np.log(np.diff(latent[AT_THRESHOLDS])).sum()
    objective = float(penalty - of_readings.value.sum() - of_trials.value.sum())
    return _Point(latent, objective, of_readings, of_trials)


def _derivatives(
    model: LatentModel, scatters: Scatters, variance: Array, point: _Point
) -> tuple[Array, Array]:
    """Gradient and (positive definite) Hessian of the objective."""
    n, omega = model.n_shared, scatters.omega
    t, r = point.trials, point.readings
    g_lower, g_upper = t.gradient_lower / omega, t.gradient_upper / omega
    c_lower, c_upper, c_cross = (
        c[:, None] / omega**2 for c in (t.curvature_lower, t.curvature_upper, t.curvature_cross)
    )
    gradient = (point.latent - model.prior_center) / variance
    gradient[:n] -= model.reading_shared.T @ r.gradient
    gradient[:n] -= model.lower_shared.T @ g_lower + model.upper_shared.T @ g_upper
    gradient[n:] -= model.reading_own @ r.gradient + model.trial_own @ (g_lower + g_upper)

    steps = np.diff(point.latent[AT_THRESHOLDS])
    push = model.table.order_weight / steps
    gradient[AT_THRESHOLDS] -= np.append(0, push) - np.append(push, 0)
    between = np.append(np.insert(push / steps, 0, 0), 0)

    weighted_reading = r.curvature[:, None] * model.reading_shared
    weighted_lower = c_lower * model.lower_shared + c_cross * model.upper_shared
    weighted_upper = c_cross * model.lower_shared + c_upper * model.upper_shared
    own_trial = (c_lower + 2 * c_cross + c_upper)[:, 0]
    hessian = np.diag(1 / variance)
    hessian[AT_THRESHOLDS, AT_THRESHOLDS] += (
        np.diag(between[:-1] + between[1:]) - np.diag(between[1:-1], 1) - np.diag(between[1:-1], -1)
    )
    hessian[:n, :n] += model.reading_shared.T @ weighted_reading
    hessian[:n, :n] += model.lower_shared.T @ weighted_lower
    hessian[:n, :n] += model.upper_shared.T @ weighted_upper
    hessian[n:, :n] = model.reading_own @ weighted_reading
    hessian[n:, :n] += model.trial_own @ (weighted_lower + weighted_upper)
    hessian[:n, n:] = hessian[n:, :n].T
    hessian[n:, n:] += _own_curvature(model, r.curvature, own_trial)
    return gradient, hessian


def _own_curvature(model: LatentModel, of_readings: Array, of_trials: Array) -> Array:
    """Curvature between own deviations: each trial couples the two sizes that meet in it."""
    design, n = model.design, len(model.design.sizes.drawn)
    internal, external = design.trials.internal, design.trials.external
    # With nothing to count bincount returns integers, hence the casts.
    pairs = np.bincount(internal * n + external, -of_trials, n * n).reshape(n, n).astype(float)
    on_diagonal = np.bincount(design.readings.size, of_readings, n).astype(float)
    on_diagonal += np.bincount(internal, of_trials, n) + np.bincount(external, of_trials, n)
    curvature: Array = pairs + pairs.T + np.diag(on_diagonal)
    return curvature
