"""Log-likelihoods of readings and trials, with the derivatives that Newton's method needs.

Two kinds of observation: a caliper reading (Student-t around the printed size) and a fit trial (an
ordered probit with lapses on the clearance). Both give value, gradient and curvature (negative
second derivatives). Neither is concave everywhere: an outlying reading or a likely lapse has
negative curvature.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln, log_ndtr

Array = NDArray[np.floating]

_LOG_2PI = float(np.log(2 * np.pi))


@dataclass(frozen=True)
class ReadingTerms:
    """Value, gradient and curvature (negative second derivative) by the predicted size."""

    value: Array
    gradient: Array
    curvature: Array


def reading_value(residual_mm: Array, scale_mm: Array, dof: float) -> Array:
    """Log-likelihood alone; see `reading_terms`."""
    return _reading_value((residual_mm / scale_mm) ** 2, scale_mm, dof)


def _reading_value(square: Array, scale_mm: Array, dof: float) -> Array:
    constant = _t_constant(dof)
    value: Array = constant - np.log(scale_mm) - (dof + 1) / 2 * np.log1p(square / dof)
    return value


@cache
def _t_constant(dof: float) -> float:
    """Log density of the t-distribution at its middle."""
    constant = gammaln((dof + 1) / 2) - gammaln(dof / 2) - 0.5 * np.log(dof * np.pi)
    return float(constant)


def reading_terms(residual_mm: Array, scale_mm: Array, dof: float) -> ReadingTerms:
    """Student-t log-likelihood of readings.

    Parameters
    ----------
    residual_mm : ndarray of shape (n,)
        Reading − predicted size.
    scale_mm : ndarray of shape (n,)
        Scale of the t-distribution.
    dof : float
        Its degrees of freedom.
    """
    square = (residual_mm / scale_mm) ** 2
    value = _reading_value(square, scale_mm, dof)
    gradient = (dof + 1) * residual_mm / (scale_mm**2 * (dof + square))
    curvature = (dof + 1) * (dof - square) / (scale_mm * (dof + square)) ** 2
    return ReadingTerms(value, gradient, curvature)


def log_interval(upper: Array, lower: Array) -> Array:
    """Return log(Φ(upper) − Φ(lower)) without cancellation; infinite bounds are allowed.

    The difference is taken in whichever tail is small, so that it stays exact far from zero.

    Examples
    --------
    >>> import numpy as np
    >>> bool(np.isfinite(log_interval(np.array([31.0]), np.array([30.0])))[0])
    True
    """
    swap = lower > -upper
    high = np.where(swap, -lower, upper)
    low = np.where(swap, -upper, lower)
    log_high: Array = log_ndtr(high)
    # exp(log low − log high) < 1 wherever low < high; −inf − −inf never meets, high is the larger.
    below: Array = np.exp(log_ndtr(low) - log_high)
    return log_high + np.log1p(-below)


@dataclass(frozen=True)
class TrialTerms:
    """Value and derivatives by the two standardised distances to the bounding thresholds.

    ``lower`` is (clearance − threshold below)/ω, ``upper`` (clearance − threshold above)/ω.
    Curvatures are the entries of the negative Hessian.
    """

    value: Array
    gradient_lower: Array
    gradient_upper: Array
    curvature_lower: Array
    curvature_upper: Array
    curvature_cross: Array


def trial_value(lower: Array, upper: Array, grades_in_set: Array, lapse: float) -> Array:
    """Log-likelihood alone; see `trial_terms`."""
    log_hit = np.log1p(-lapse) + log_interval(lower, upper)
    with np.errstate(divide="ignore"):  # no lapses: log 0 is meant
        log_lapse = np.log(lapse * grades_in_set / 5)
    value: Array = np.logaddexp(log_hit, log_lapse)
    return value


def trial_terms(lower: Array, upper: Array, grades_in_set: Array, lapse: float) -> TrialTerms:
    """Ordered-probit log-likelihood with lapses.

    Parameters
    ----------
    lower, upper : ndarray of shape (n,)
        Standardised distances, ``lower`` ≥ ``upper``; +inf and −inf where a set has no bound.
    grades_in_set : ndarray of shape (n,)
        Number of grades in the reported set: a lapse is equally likely on any grade.
    lapse : float
        Probability of a lapse.
    """
    value = trial_value(lower, upper, grades_in_set, lapse)
    has_lower, has_upper = np.isfinite(lower), np.isfinite(upper)
    finite_lower, finite_upper = np.where(has_lower, lower, 0.0), np.where(has_upper, upper, 0.0)
    density_lower, density_upper = (
        np.where(bound, np.exp(np.log1p(-lapse) - (z**2 + _LOG_2PI) / 2 - value), 0.0)
        for bound, z in ((has_lower, lower), (has_upper, upper))
    )
    gradient_lower, gradient_upper = density_lower, -density_upper
    curvature_lower = finite_lower * density_lower + gradient_lower**2
    curvature_upper = -finite_upper * density_upper + gradient_upper**2
    curvature_cross = gradient_lower * gradient_upper
    return TrialTerms(
        value, gradient_lower, gradient_upper, curvature_lower, curvature_upper, curvature_cross
    )
