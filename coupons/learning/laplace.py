"""Given the scatters, the model is Gaussian in its latent values: find their mode and covariance.

Latent values are laid out as ``[effects, thresholds, round loss, run shifts, run shifts in z]``,
the *shared* block of a few dozen, followed by one *own deviation* a size. The likelihood touches at
most two own deviations at a time, so its curvature is assembled from sparse pieces.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import LinAlgError, cho_solve, cholesky, solve_triangular
from scipy.sparse import csr_array

from coupons.errors import FitError
from coupons.learning.design import Design
from coupons.learning.effects import EFFECTS, THRESHOLDS, PriorTable, prior_mean, prior_sd
from coupons.learning.likelihood import ReadingTerms, TrialTerms, reading_terms, trial_terms
from coupons.terms import GRADES

Array = NDArray[np.floating]

_N_EFFECTS, _N_THRESHOLDS = len(EFFECTS), len(THRESHOLDS)
N_TERMS = _N_EFFECTS + _N_THRESHOLDS + 1
_THRESHOLDS = slice(_N_EFFECTS, _N_EFFECTS + _N_THRESHOLDS)
_MAX_STEPS = 200
_DECREMENT = 1e-10
_FLATTEST = 0.05  # the prior's own curvature is 1


@dataclass(frozen=True)
class Scatters:
    """Standard deviations in mm; see `coupons.learning.effects.PriorTable`."""

    tau: float
    tau_z: float
    sigma: float
    omega: float
    rho: float
    rho_z: float


@dataclass(frozen=True)
class Mode:
    """The most probable latent values at given scatters.

    ``log_evidence`` is the Laplace approximation of log p(observations | scatters), up to a
    constant that does not depend on the scatters. ``factor`` is the lower Cholesky factor of the
    negative Hessian.
    """

    latent: Array
    factor: Array
    log_evidence: float

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
class LatentModel:
    """Structure of one data set, built once and used at every value of the scatters.

    Rows of the ``shared`` arrays are observations, columns the shared latent values. ``lower`` and
    ``upper`` are a trial's clearance less the threshold that bounds its grades below and above. The
    sparse ``own`` arrays map observations (columns) to own deviations (rows).
    """

    design: Design
    table: PriorTable
    reading_shared: Array
    lower_shared: Array
    upper_shared: Array
    reading_own: csr_array
    trial_own: csr_array
    has_lower: NDArray[np.bool_]
    has_upper: NDArray[np.bool_]

    @property
    def n_shared(self) -> int:
        """Number of latent values that are not own deviations."""
        return N_TERMS + 2 * self.design.n_runs

    @cached_property
    def prior_center(self) -> Array:
        """Prior mean of all latent values."""
        rest = 2 * self.design.n_runs + len(self.design.sizes.drawn)
        return np.concatenate([prior_mean(self.table), np.zeros(rest)])

    def prior_variance(self, scatters: Scatters) -> Array:
        """Prior variance of all latent values, all independent."""
        sizes, n = self.design.sizes, self.design.n_runs
        printed = (1 - sizes.z_share) * scatters.tau**2 + sizes.z_share * scatters.tau_z**2
        bought = np.isfinite(sizes.fixed_sd)
        # A piece known exactly still needs a positive variance; a nanometre is as good as none.
        own = np.where(bought, np.maximum(sizes.fixed_sd, 1e-6) ** 2, printed)
        shifts = np.repeat([scatters.rho**2, scatters.rho_z**2], n)
        return np.concatenate([prior_sd(self.table) ** 2, shifts, own])


def latent_model(design: Design, table: PriorTable) -> LatentModel:
    """Lay out which latent values each observation depends on."""
    sizes, readings, trials = design.sizes, design.readings, design.trials
    size_shared = np.concatenate(
        [sizes.effects, np.zeros((len(sizes.drawn), _N_THRESHOLDS + 1)), _shift_columns(design)], 1
    )
    reading_shared = size_shared[readings.size]
    reading_shared[:, :_N_EFFECTS] += readings.effects
    clearance = size_shared[trials.internal] - size_shared[trials.external]
    clearance[:, N_TERMS - 1] = -trials.is_round
    n_sizes = len(sizes.drawn)
    return LatentModel(
        design,
        table,
        reading_shared,
        _minus_threshold(clearance, trials.tightest - 1),
        _minus_threshold(clearance, trials.loosest),
        _pick(readings.size, n_sizes),
        _pick(trials.internal, n_sizes) - _pick(trials.external, n_sizes),
        trials.tightest > 0,
        trials.loosest < len(GRADES) - 1,
    )


def _shift_columns(design: Design) -> Array:
    """Let a run's shift make all its external sizes larger and all its internal ones smaller."""
    sizes = design.sizes
    printed = np.isnan(sizes.fixed_sd)
    of_run = (sizes.run[:, None] == np.arange(design.n_runs)) * (sizes.side * printed)[:, None]
    in_z = sizes.z_share[:, None]
    return np.concatenate([of_run * (1 - in_z), of_run * in_z], axis=1)


def _minus_threshold(clearance: Array, threshold: NDArray[np.intp]) -> Array:
    """Subtract each trial's threshold; ranks outside the four thresholds stand for no bound."""
    rows = clearance.copy()
    bounded = np.flatnonzero((threshold >= 0) & (threshold < _N_THRESHOLDS))
    rows[bounded, _N_EFFECTS + threshold[bounded]] -= 1
    return rows


def _pick(index: NDArray[np.intp], n_sizes: int) -> csr_array:
    n = len(index)
    return csr_array((np.ones(n), (index, np.arange(n))), shape=(n_sizes, n))


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
            log_evidence = (
                -point.objective - np.log(np.diag(factor)).sum() - 0.5 * np.log(variance).sum()
            )
            return Mode(point.latent, factor, float(log_evidence))
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
        if np.all(np.diff(latent[_THRESHOLDS]) > 0):
            new = _evaluate(model, scatters, variance, latent)
            # The last term allows for rounding once the objective is flat to machine precision.
            if new.objective <= point.objective - 1e-4 * share * decrement + 1e-9:
                return new
        share /= 2
    raise FitError("The fit cannot improve. Run `coupons check` and look for impossible numbers.")


def _evaluate(model: LatentModel, scatters: Scatters, variance: Array, latent: Array) -> _Point:
    """Negative log posterior (up to constants) and the likelihood terms at a latent value."""
    design = model.design
    shared, own = latent[: model.n_shared], latent[model.n_shared :]
    readings, trials = design.readings, design.trials
    predicted = design.sizes.drawn[readings.size] + model.reading_shared @ shared
    predicted += own[readings.size]
    scale = np.sqrt(scatters.sigma**2 + readings.resolution**2 / 12)
    of_readings = reading_terms(readings.value - predicted, scale, model.table.reading_dof)
    gap = design.sizes.drawn[trials.internal] - design.sizes.drawn[trials.external]
    gap = gap + own[trials.internal] - own[trials.external]
    lower = np.where(model.has_lower, (gap + model.lower_shared @ shared) / scatters.omega, np.inf)
    upper = np.where(model.has_upper, (gap + model.upper_shared @ shared) / scatters.omega, -np.inf)
    grades_in_set = trials.loosest - trials.tightest + 1.0
    of_trials = trial_terms(lower, upper, grades_in_set, model.table.lapse)
    penalty = 0.5 * np.sum((latent - model.prior_center) ** 2 / variance)
    penalty -= model.table.order_weight * np.log(np.diff(shared[_THRESHOLDS])).sum()
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

    steps = np.diff(point.latent[_THRESHOLDS])
    push = model.table.order_weight / steps
    gradient[_THRESHOLDS] -= np.append(0, push) - np.append(push, 0)
    between = np.append(np.insert(push / steps, 0, 0), 0)

    weighted_reading = r.curvature[:, None] * model.reading_shared
    weighted_lower = c_lower * model.lower_shared + c_cross * model.upper_shared
    weighted_upper = c_cross * model.lower_shared + c_upper * model.upper_shared
    own_trial = (c_lower + 2 * c_cross + c_upper)[:, 0]
    hessian = np.diag(1 / variance)
    hessian[_THRESHOLDS, _THRESHOLDS] += (
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
