"""Corrections to the Laplace approximation for posteriors that are not normal.

One corrects the evidence: readings have long tails, and grades say little about how far a size is
from a threshold, so that the posterior of an own deviation is not normal. One corrects the mean,
which skewness moves away from the mode.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coupons.learning.posterior.bordered import Factor, Rows
from coupons.learning.posterior.laplace import Mode, find_mode
from coupons.learning.posterior.latent import AT_THRESHOLDS, LatentModel, Scatters
from coupons.learning.posterior.likelihood import (
    reading_terms,
    reading_value,
    trial_terms,
    trial_value,
)

Array = NDArray[np.floating]

# Nodes of an integral over an own deviation, in its conditional sds from the mode: half an sd apart
# in the middle, far apart in the tails of a reading, out to 16.
_SPREAD = np.linspace(-3.2, 3.2, 17)[:, None]
_NODES = 1.3 * np.sinh(_SPREAD)
_AT_MODE = len(_SPREAD) // 2
_LOG_WIDTHS = np.log(1.3 * np.cosh(_SPREAD) * (_SPREAD[1] - _SPREAD[0]))
_LOG_ROOT_2PI = 0.5 * np.log(2 * np.pi)
# In log probability: another mode that is higher by less is not worth a second search.
_HIGHER = 0.05
_MAX_HOPS = 8
_DIFFERENCE = 1e-4
# A first-order correction of more than this many posterior sds is not valid: with almost no data
# the expansion does not hold.
_LARGEST_SHIFT = 0.5
# Share of the way between two thresholds by which a correction may bring them together.
_LARGEST_CLOSING = 0.9


def best_mode(
    model: LatentModel, scatters: Scatters, start: Array | None = None
) -> tuple[Mode, float]:
    """Find the mode by `find_mode`, and log p(observations | scatters) up to a constant.

    A reading that contradicts a trial gives two modes: the size is as read and the grade a lapse,
    or the other way round. Where one of the own deviations that are alone has a higher mode than
    the one found, the search starts again from there.
    """
    for _ in range(_MAX_HOPS):
        mode = find_mode(model, scatters, start)
        around = around_mode(model, scatters, mode)
        if around.log_ratio.max(initial=0.0) < _HIGHER:
            break
        start = mode.latent.copy()
        start[model.alone] += around.highest
    return mode, mode.log_laplace + around.beyond_normal


@dataclass(frozen=True)
class AroundMode:
    """Posterior density of the own deviations that are alone around the mode, given the core.

    Parameters
    ----------
    moved : ndarray of shape (n_nodes, n_alone)
        From the mode, in mm.
    log_ratio : ndarray of shape (n_nodes, n_alone)
        Log posterior there, over that at the mode.
    """

    moved: Array
    log_ratio: Array

    @property
    def highest(self) -> Array:
        """Distance of the most probable value of each deviation from the mode, shape (n_alone,)."""
        best = self.log_ratio.argmax(axis=0)
        highest: Array = self.moved[best, np.arange(len(best))]
        return highest

    @property
    def beyond_normal(self) -> float:
        """Correction of the log evidence for own deviations whose posterior is not normal.

        With the core at its mode, own deviations that are alone are independent, and the integral
        over each is one-dimensional. The Laplace approximation takes it to be that of a normal;
        the correction is the sum of the logarithms of the ratio of the two. Without it, own
        deviations look smaller and the caliper worse than they are, by two thirds of a posterior
        sd.
        """
        integral = np.logaddexp.reduce(self.log_ratio + _LOG_WIDTHS, axis=0)
        return float((integral - _LOG_ROOT_2PI).sum())


def around_mode(model: LatentModel, scatters: Scatters, mode: Mode) -> AroundMode:
    """Evaluate the posterior along each own deviation that is alone, away from the mode."""
    own, variance = mode.latent[model.alone], model.prior_variance(scatters)[model.alone]
    moved = _NODES / np.sqrt(mode.factor.diagonal)
    log_ratio = -0.5 * moved * (2 * own + moved) / variance
    log_ratio += _from_readings(model, scatters, mode.latent, moved)
    log_ratio += _from_trials(model, scatters, mode.latent, moved)
    return AroundMode(moved, log_ratio)


def _from_readings(model: LatentModel, scatters: Scatters, latent: Array, moved: Array) -> Array:
    """Change of the readings' log-likelihood as own deviations move, by deviation."""
    rows, readings = model.reading_rows, model.design.readings
    residual = readings.value - model.predicted(latent) - rows.alone * moved[:, rows.place]
    value = reading_value(residual, model.reading_scale(scatters), model.table.reading_dof)
    return _by_place(rows, value, moved)


def _from_trials(model: LatentModel, scatters: Scatters, latent: Array, moved: Array) -> Array:
    """Change of the trials' log-likelihood as own deviations move, by deviation."""
    rows = model.margin_rows[0]
    lower, upper = model.distances(latent, scatters)
    further = rows.alone * moved[:, rows.place] / scatters.omega
    in_set = model.grades_in_set
    value = trial_value(lower + further, upper + further, in_set, model.table.lapse)
    return _by_place(rows, value, moved)


def _by_place(rows: Rows, value: Array, moved: Array) -> Array:
    """Add up by how much the observations of each value that is alone differ from the mode's."""
    n_alone = moved.shape[1]
    place = rows.place + n_alone * np.arange(len(moved))[:, None]
    change = (value - value[_AT_MODE]).ravel()
    total = np.asarray(np.bincount(place.ravel(), change, moved.size), float)
    return total.reshape(moved.shape)


def mean_shift(model: LatentModel, scatters: Scatters, mode: Mode) -> Array:
    """Return posterior mean − mode of the latent values, to first order in the skewness.

    With third derivatives l‴ of each log-likelihood and the posterior variance s² of its argument
    the mean lies at mode + ½ H⁻¹ Σ rowᵀ l‴ s² (the leading term of the expansion of a posterior
    around its mode; a textbook result).
    """
    latent, factor = mode.latent, mode.factor
    pull = _onto_latent(model, model.reading_rows, _reading_skew(model, scatters, latent, factor))
    for rows, skew in zip(
        model.margin_rows, _trial_skew(model, scatters, latent, factor), strict=True
    ):
        pull += _onto_latent(model, rows, skew)
    shift: Array = 0.5 * factor.solve(pull)
    sd = np.sqrt(factor.inverse_diagonal)
    largest = float(np.max(np.abs(shift) / sd))
    return shift / max(1.0, largest / _LARGEST_SHIFT, room_used(latent, shift))


def room_used(latent: Array, move: Array) -> float:
    """Return the share of the distance between thresholds that a move of the latent values uses.

    The means of the thresholds must stay in order: above 1 a move brings two of them too close.
    """
    between, closing = np.diff(latent[AT_THRESHOLDS]), -np.diff(move[AT_THRESHOLDS])
    return float(np.max(closing / between)) / _LARGEST_CLOSING


def _onto_latent(model: LatentModel, rows: Rows, weights: Array) -> Array:
    """Add up the rows of observations, each times its weight, over all latent values."""
    total = np.empty(len(model.prior_center))
    total[model.core] = rows.core @ weights
    total[model.alone] = np.bincount(rows.place, rows.alone * weights, len(model.alone))
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
    in_set = model.grades_in_set

    def contracted(low: Array, up: Array) -> Array:
        t = trial_terms(low, up, in_set, model.table.lapse)
        outer: Array = t.curvature_lower * v_lower + t.curvature_upper * v_upper
        return outer + 2 * t.curvature_cross * v_cross

    # Grades that contradict each other push thresholds together: stay within their distance.
    h = np.minimum(_DIFFERENCE, 0.25 * (lower - upper))
    size = 2 * h * scatters.omega**3
    by_lower = (contracted(lower - h, upper) - contracted(lower + h, upper)) / size
    by_upper = (contracted(lower, upper - h) - contracted(lower, upper + h)) / size
    return by_lower, by_upper
