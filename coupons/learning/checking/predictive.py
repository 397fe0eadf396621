"""Posterior predictive distributions of caliper readings and of grades.

A reading is predicted as its printed size plus the caliper's Student-t, a trial as the probability
of each of the five grades. Both are mixtures over the fit's design points of the scatters, which is
why most arrays here have the design point as their first axis.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincinv, ndtr

from coupons.terms import GRADES

Array = NDArray[np.floating]

# How many normals of different width stand for one Student-t.
_WIDTHS = 200
# Readings worked out at once: a million would fill the memory with normals.
_AT_ONCE = 1000
_BISECTIONS = 50
_FAR_SDS = 60.0


@dataclass(frozen=True)
class PredictedReadings:
    """Predictive distribution of readings, in mm.

    Parameters
    ----------
    weights : ndarray of shape (n_points, n)
        Weight of each design point for each reading; every column sums to one.
    mean, variance : ndarray of shape (n_points, n)
        Moments of the printed size as a caliper without error would read it.
    scale : ndarray of shape (n_points, n)
        Scale of the caliper's Student-t.
    dof : float
        Its degrees of freedom, above 2.
    """

    weights: Array
    mean: Array
    variance: Array
    scale: Array
    dof: float

    def take(self, index: NDArray[np.intp]) -> "PredictedReadings":
        """Return the predictions of some of the readings."""
        weights, mean, variance, scale = (
            a[:, index] for a in (self.weights, self.mean, self.variance, self.scale)
        )
        return PredictedReadings(weights, mean, variance, scale, self.dof)

    @cached_property
    def expected_mm(self) -> Array:
        """Mean of each reading."""
        mean: Array = (self.weights * self.mean).sum(axis=0)
        return mean

    @cached_property
    def sd_mm(self) -> Array:
        """Standard deviation of each reading."""
        caliper = self.scale**2 * self.dof / (self.dof - 2)
        square = self.variance + caliper + (self.mean - self.expected_mm) ** 2
        sd: Array = np.sqrt((self.weights * square).sum(axis=0))
        return sd

    def chance_below(self, value_mm: Array) -> Array:
        """Return the chance that each reading is below a value."""
        parts = np.array_split(np.arange(len(value_mm)), len(value_mm) // _AT_ONCE + 1)
        return np.concatenate([self.take(part)._below(value_mm[part]) for part in parts])

    def _below(self, value_mm: Array) -> Array:
        # A Student-t is a normal whose precision is drawn from a gamma distribution.
        middles = (np.arange(_WIDTHS) + 0.5) / _WIDTHS
        precision = gammaincinv(self.dof / 2, middles) / (self.dof / 2)
        spread = self.variance + self.scale**2 / precision[:, None, None]
        below = ndtr((value_mm - self.mean) / np.sqrt(spread)).mean(axis=0)
        chance: Array = (self.weights * below).sum(axis=0)
        return chance

    def quantile_mm(self, chance: float) -> Array:
        """Return the value that each reading is below with a given chance."""
        low = self.expected_mm - _FAR_SDS * self.sd_mm
        high = self.expected_mm + _FAR_SDS * self.sd_mm
        for _ in range(_BISECTIONS):
            middle = (low + high) / 2
            under = self.chance_below(middle) < chance
            low, high = np.where(under, middle, low), np.where(under, high, middle)
        return (low + high) / 2


@dataclass(frozen=True)
class PredictedTrials:
    """Predictive distribution of the grades of trials.

    Parameters
    ----------
    weights : ndarray of shape (n_points, n)
        Weight of each design point for each trial; every column sums to one.
    mean, variance : ndarray of shape (n_points, n, 4)
        Moments of clearance − threshold, in mm and mm².
    omega : ndarray of shape (n_points,)
        Scatter of the hand's judgement, in mm.
    lapse : float
        Probability that a grade is written down at random.
    """

    weights: Array
    mean: Array
    variance: Array
    omega: Array
    lapse: float

    @cached_property
    def chances(self) -> Array:
        """Probability of each grade, shape (n, 5)."""
        spread = np.sqrt(self.variance + self.omega[:, None, None] ** 2)
        reached = (self.weights[:, :, None] * ndtr(self.mean / spread)).sum(axis=0)
        edge = np.ones((len(reached), 1))
        reached = np.concatenate([edge, reached, 0 * edge], axis=1)
        # Thresholds are not equally well known, so far tails may cross slightly.
        hit = np.maximum(-np.diff(reached, axis=1), 0.0)
        hit /= hit.sum(axis=1, keepdims=True)
        chances: Array = (1 - self.lapse) * hit + self.lapse / len(GRADES)
        return chances
