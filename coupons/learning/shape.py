"""Where a normal approximation falls short, and by how much: corrections to a Laplace fit.

Both corrections go observation by observation, with the posterior spread of that observation's own
prediction: one of the evidence (readings have long tails), one of the mean (grades at the edge of
the coupon's gaps leave a threshold open on one side).
"""

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_solve, solve_triangular
from scipy.special import logsumexp

from coupons.learning.latent import AT_THRESHOLDS, LatentModel, Scatters
from coupons.learning.likelihood import reading_terms, trial_terms

Array = NDArray[np.floating]

_GRID = np.linspace(-6, 6, 25)  # in posterior standard deviations of one predicted size
_DIFFERENCE = 1e-4
# One reading alone accounts for no more. Where readings fight (a caliper taken for far better than
# it is) the modes are many and the integral beside one of them means nothing.
_LARGEST_RATIO = 0.3
# A first-order correction of more than this many posterior sds is not to be believed: with next to
# no data the expansion does not hold.
_LARGEST_SHIFT = 0.5
# Share of the way between two thresholds by which a correction may bring them together.
_LARGEST_CLOSING = 0.9


def evidence_beyond_normal(
    model: LatentModel, scatters: Scatters, latent: Array, factor: Array
) -> float:
    """Return what the log evidence lacks for the shape of the readings' likelihood.

    Laplace's rule takes each Student-t for a normal with its curvature at the mode. Where an own
    deviation is free to follow a reading this loses 0.17 a reading, which would make own deviations
    look smaller and the caliper worse than they are. The true ratio is an integral over the one
    predicted size, whose posterior is known; against importance sampling of the whole posterior it
    was right to 0.3 where the correction was 2.5.
    """
    scale, dof = model.reading_scale(scatters), model.table.reading_dof
    residual = model.design.readings.value - model.predicted(latent)
    sd = np.sqrt((_half(factor, _reading_rows(model)) ** 2).sum(axis=0))
    moved = sd * _GRID[:, None]
    terms = reading_terms(residual, scale, dof)
    actual = reading_terms(residual - moved, scale, dof).value
    as_normal = terms.value + terms.gradient * moved - 0.5 * terms.curvature * moved**2
    log_ratio = logsumexp(actual - as_normal - 0.5 * _GRID[:, None] ** 2, axis=0)
    lacking = log_ratio + np.log((_GRID[1] - _GRID[0]) / np.sqrt(2 * np.pi))
    return float(np.clip(lacking, -_LARGEST_RATIO, _LARGEST_RATIO).sum())


def mean_shift(model: LatentModel, scatters: Scatters, latent: Array, factor: Array) -> Array:
    """Return posterior mean − mode of the latent values, to first order in the skewness.

    With third derivatives l‴ of each log-likelihood and the posterior variance s² of its argument
    the mean lies at mode + ½ H⁻¹ Σ rowᵀ l‴ s² (the leading term of the expansion of a posterior
    around its mode; a textbook result).
    """
    of_readings = _reading_rows(model)
    pull = of_readings @ _reading_skew(model, scatters, latent, factor, of_readings)
    own = model.trial_own.toarray()
    of_lower = np.concatenate([model.lower_shared.T, own]) / scatters.omega
    of_upper = np.concatenate([model.upper_shared.T, own]) / scatters.omega
    by_lower, by_upper = _trial_skew(model, scatters, latent, factor, of_lower, of_upper)
    pull += of_lower @ by_lower + of_upper @ by_upper
    shift: Array = 0.5 * cho_solve((factor, True), pull)
    sd = np.sqrt((_half(factor, np.eye(len(latent))) ** 2).sum(axis=0))
    largest = float(np.max(np.abs(shift) / sd))
    # Means of thresholds are in order as thresholds are: none may pass its neighbour.
    between, closing = np.diff(latent[AT_THRESHOLDS]), -np.diff(shift[AT_THRESHOLDS])
    used_up = float(np.max(closing / between)) / _LARGEST_CLOSING
    return shift / max(1.0, largest / _LARGEST_SHIFT, used_up)


def _reading_skew(
    model: LatentModel, scatters: Scatters, latent: Array, factor: Array, rows: Array
) -> Array:
    """Third derivative of each reading's log-likelihood times the variance of its prediction."""
    scale, dof = model.reading_scale(scatters), model.table.reading_dof
    residual = model.design.readings.value - model.predicted(latent)
    step = _DIFFERENCE * scale
    # A larger prediction is a smaller residual; curvature is minus the second derivative.
    change = reading_terms(residual + step, scale, dof).curvature
    change = change - reading_terms(residual - step, scale, dof).curvature
    third: Array = change / (2 * step)
    variance = (_half(factor, rows) ** 2).sum(axis=0)
    skew: Array = third * variance
    return skew


def _trial_skew(
    model: LatentModel,
    scatters: Scatters,
    latent: Array,
    factor: Array,
    of_lower: Array,
    of_upper: Array,
) -> tuple[Array, Array]:
    """Third derivatives of each trial's log-likelihood, contracted with its 2 × 2 covariance."""
    half_lower, half_upper = _half(factor, of_lower), _half(factor, of_upper)
    v_lower, v_upper = (half_lower**2).sum(axis=0), (half_upper**2).sum(axis=0)
    v_cross = (half_lower * half_upper).sum(axis=0)
    lower, upper = model.distances(latent, scatters)
    trials = model.design.trials
    in_set = trials.loosest - trials.tightest + 1.0

    def contracted(low: Array, up: Array) -> Array:
        t = trial_terms(low, up, in_set, model.table.lapse)
        outer: Array = t.curvature_lower * v_lower + t.curvature_upper * v_upper
        total: Array = outer + 2 * t.curvature_cross * v_cross
        return total

    # Grades that contradict each other press thresholds together: stay within what is between.
    h = np.minimum(_DIFFERENCE, 0.25 * (lower - upper))
    by_lower = (contracted(lower - h, upper) - contracted(lower + h, upper)) / (2 * h)
    by_upper = (contracted(lower, upper - h) - contracted(lower, upper + h)) / (2 * h)
    return by_lower, by_upper


def _reading_rows(model: LatentModel) -> Array:
    """Latent rows × readings: how each predicted size depends on the latent values."""
    return np.concatenate([model.reading_shared.T, model.reading_own.toarray()])


def _half(factor: Array, rows: Array) -> Array:
    """Whiten rows by the posterior: the columns' squares then sum to posterior variances."""
    half: Array = solve_triangular(factor, rows, lower=True)
    return half
