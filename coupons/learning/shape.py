"""Where a normal approximation falls short, and by how much: corrections to a Laplace fit.

Both corrections go observation by observation, with the posterior spread of that observation's own
prediction: one of the evidence (readings have long tails), one of the mean (grades at the edge of
the coupon's gaps leave a threshold open on one side).
"""

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from coupons.learning.bordered import Factor, Rows
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
    model: LatentModel, scatters: Scatters, latent: Array, factor: Factor
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
    reached = factor.whiten(model.reading_rows)
    sd = np.sqrt(reached.inner(reached))
    moved = sd * _GRID[:, None]
    terms = reading_terms(residual, scale, dof)
    actual = reading_terms(residual - moved, scale, dof).value
    as_normal = terms.value + terms.gradient * moved - 0.5 * terms.curvature * moved**2
    log_ratio = logsumexp(actual - as_normal - 0.5 * _GRID[:, None] ** 2, axis=0)
    lacking = log_ratio + np.log((_GRID[1] - _GRID[0]) / np.sqrt(2 * np.pi))
    return float(np.clip(lacking, -_LARGEST_RATIO, _LARGEST_RATIO).sum())


def mean_shift(model: LatentModel, scatters: Scatters, latent: Array, factor: Factor) -> Array:
    """Return posterior mean − mode of the latent values, to first order in the skewness.

    With third derivatives l‴ of each log-likelihood and the posterior variance s² of its argument
    the mean lies at mode + ½ H⁻¹ Σ rowᵀ l‴ s² (the leading term of the expansion of a posterior
    around its mode; a textbook result).
    """
    pull = _onto_latent(model, model.reading_rows, _reading_skew(model, scatters, latent, factor))
    for rows, skew in zip(
        model.margin_rows, _trial_skew(model, scatters, latent, factor), strict=True
    ):
        pull += _onto_latent(model, rows, skew)
    shift: Array = 0.5 * factor.solve(pull)
    sd = np.sqrt(factor.inverse_diagonal)
    largest = float(np.max(np.abs(shift) / sd))
    # Means of thresholds are in order as thresholds are: none may pass its neighbour.
    between, closing = np.diff(latent[AT_THRESHOLDS]), -np.diff(shift[AT_THRESHOLDS])
    used_up = float(np.max(closing / between)) / _LARGEST_CLOSING
    return shift / max(1.0, largest / _LARGEST_SHIFT, used_up)


def _onto_latent(model: LatentModel, rows: Rows, weights: Array) -> Array:
    """Add up the rows of observations, each times its weight, over all latent values."""
    total = np.empty(len(model.prior_center))
    total[model.core] = rows.core @ weights
    total[model.alone] = rows.alone @ weights
    return total


def _reading_skew(model: LatentModel, scatters: Scatters, latent: Array, factor: Factor) -> Array:
    """Third derivative of each reading's log-likelihood times the variance of its prediction."""
    scale, dof = model.reading_scale(scatters), model.table.reading_dof
    residual = model.design.readings.value - model.predicted(latent)
    step = _DIFFERENCE * scale
    # A larger prediction is a smaller residual; curvature is minus the second derivative.
    change = reading_terms(residual + step, scale, dof).curvature
    change = change - reading_terms(residual - step, scale, dof).curvature
    third: Array = change / (2 * step)
    reached = factor.whiten(model.reading_rows)
    return third * reached.inner(reached)


def _trial_skew(
    model: LatentModel, scatters: Scatters, latent: Array, factor: Factor
) -> tuple[Array, Array]:
    """Third derivatives of each trial's log-likelihood, contracted with its 2 × 2 covariance.

    By the clearance less its lower and its upper threshold, in mm.
    """
    at_lower, at_upper = (factor.whiten(rows) for rows in model.margin_rows)
    v_lower, v_upper = at_lower.inner(at_lower), at_upper.inner(at_upper)
    v_cross = at_lower.inner(at_upper)
    lower, upper = model.distances(latent, scatters)
    trials = model.design.trials
    in_set = trials.loosest - trials.tightest + 1.0

    def contracted(low: Array, up: Array) -> Array:
        t = trial_terms(low, up, in_set, model.table.lapse)
        outer: Array = t.curvature_lower * v_lower + t.curvature_upper * v_upper
        return outer + 2 * t.curvature_cross * v_cross

    # Grades that contradict each other press thresholds together: stay within what is between.
    h = np.minimum(_DIFFERENCE, 0.25 * (lower - upper))
    size = 2 * h * scatters.omega**3
    by_lower = (contracted(lower - h, upper) - contracted(lower + h, upper)) / size
    by_upper = (contracted(lower, upper - h) - contracted(lower, upper + h)) / size
    return by_lower, by_upper
