"""Derivatives of the log-likelihood by the linear predictors, at several points at once.

A reading depends on one linear predictor, its size; a trial on four, its clearance less each of the
thresholds. In one array, readings first, they are the *edges* on which cross-validation works.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array, hstack

from coupons.learning.effects import EFFECTS, THRESHOLDS
from coupons.learning.posterior.latent import LatentModel, Scatters
from coupons.learning.posterior.likelihood import (
    ReadingTerms,
    TrialTerms,
    reading_terms,
    trial_terms,
)

Array = NDArray[np.floating]
Indices = NDArray[np.intp]

N_EDGES = len(THRESHOLDS)


def edge_rows(model: LatentModel) -> csr_array:
    """Return the weights of all latent values in the edges, shape (n_edges, n_latent)."""
    clearance = np.repeat(model.clearance_shared, N_EDGES, axis=0)
    at_thresholds = np.tile(-np.eye(N_EDGES), (len(model.clearance_shared), 1))
    clearance[:, len(EFFECTS) : len(EFFECTS) + N_EDGES] = at_thresholds
    own = hstack([model.reading_own, model.trial_own[:, np.arange(len(clearance)) // N_EDGES]])
    return csr_array(hstack([csr_array(np.concatenate([model.reading_shared, clearance])), own.T]))


def edge_offset(model: LatentModel) -> Array:
    """Return the edges where all latent values are zero: drawn sizes and drawn gaps."""
    sizes, trials = model.design.sizes, model.design.trials
    gap = sizes.drawn[trials.internal] - sizes.drawn[trials.external]
    return np.concatenate([sizes.drawn[model.design.readings.size], np.repeat(gap, N_EDGES)])


def edges_of(n_readings: int, readings: Indices, trials: Indices) -> Indices:
    """Return the edges of some readings and trials of a data set with so many readings."""
    of_trials = n_readings + N_EDGES * trials[:, None] + np.arange(N_EDGES)
    return np.concatenate([readings, of_trials.ravel()])


@dataclass(frozen=True)
class Observations:
    """All observations of a data set with the scatters at K design points.

    ``lower`` and ``upper`` are the edges that bound a trial's grades; where a set has no bound they
    point at any of its edges, on which nothing then depends.
    """

    model: LatentModel
    rows: csr_array
    offset: Array
    scale: Array
    omega: Array
    lower: Indices
    upper: Indices

    @property
    def n_readings(self) -> int:
        """Number of readings among the edges."""
        return len(self.model.design.readings.size)

    def at(self, latent: Array) -> Array:
        """Return the edges at K latent values, shape (K, n_edges)."""
        edges: Array = self.offset + (self.rows @ latent.T).T
        return edges

    def slopes(self, edges: Array) -> "Slopes":
        """Return log-likelihoods and their derivatives at the edges, shape (K, n_edges)."""
        design, model = self.model.design, self.model
        of_readings = reading_terms(
            design.readings.value - edges[:, : self.n_readings], self.scale, model.table.reading_dof
        )
        of_trials = trial_terms(
            np.where(model.has_lower, edges[:, self.lower] / self.omega, np.inf),
            np.where(model.has_upper, edges[:, self.upper] / self.omega, -np.inf),
            design.trials.grades_in_set,
            model.table.lapse,
        )
        return Slopes(self, of_readings, of_trials)


def observations(model: LatentModel, scatters: Sequence[Scatters]) -> Observations:
    """Arrange the observations of a data set for several values of the scatters."""
    trials, least = model.design.trials, model.design.readings.least_variance
    sigma, omega = (np.array([[getattr(s, name)] for s in scatters]) for name in ("sigma", "omega"))
    starts = len(least) + N_EDGES * np.arange(len(trials.internal))
    return Observations(
        model,
        edge_rows(model),
        edge_offset(model),
        np.sqrt(sigma**2 + least),
        omega,
        starts + np.maximum(trials.tightest - 1, 0),
        starts + np.minimum(trials.loosest, N_EDGES - 1),
    )


@dataclass(frozen=True)
class Slopes:
    """Log-likelihoods and their derivatives by the edges."""

    seen: Observations
    of_readings: ReadingTerms
    of_trials: TrialTerms

    def group_value(self, at: Indices, times: Indices) -> Array:
        """Log-likelihood of a group, shape (K,); see `curvature_of`."""
        readings, trials = self._observed(at)
        n = len(readings)
        of_readings: Array = self.of_readings.value[:, readings] @ times[:n]
        of_trials: Array = self.of_trials.value[:, trials] @ times[n::N_EDGES]
        return of_readings + of_trials

    def _observed(self, at: Indices) -> tuple[Indices, Indices]:
        """Return the readings and trials whose edges these are."""
        readings = at[at < self.seen.n_readings]
        starts = at[len(readings) :: N_EDGES]
        return readings, (starts - self.seen.n_readings) // N_EDGES

    @property
    def gradient(self) -> Array:
        """First derivatives, shape (K, n_edges)."""
        seen, trials = self.seen, self.of_trials
        gradient = np.zeros((len(seen.omega), len(seen.offset)))
        gradient[:, : seen.n_readings] = self.of_readings.gradient
        gradient[:, seen.lower] += trials.gradient_lower / seen.omega
        gradient[:, seen.upper] += trials.gradient_upper / seen.omega
        return gradient

    def times_curvature(self, moved: Array) -> Array:
        """Return (negative second derivatives) · ``moved``, both of shape (K, n_edges)."""
        seen, trials, n = self.seen, self.of_trials, self.seen.n_readings
        product = np.zeros_like(moved)
        product[:, :n] = self.of_readings.curvature * moved[:, :n]
        lower, upper = moved[:, seen.lower] / seen.omega**2, moved[:, seen.upper] / seen.omega**2
        product[:, seen.lower] += trials.curvature_lower * lower + trials.curvature_cross * upper
        product[:, seen.upper] += trials.curvature_cross * lower + trials.curvature_upper * upper
        return product

    def curvature_of(self, at: Indices, times: Indices, rows: Array) -> Array:
        """Return the negative Hessian of a group by the latent values of its edges.

        Parameters
        ----------
        at : ndarray of int, ascending
            All edges of the group's observations.
        times : ndarray of int, of the same shape
            How often each counts.
        rows : ndarray of shape (n_group_edges, n_used)
            Weights of the latent values in them.

        Returns
        -------
        ndarray of shape (K, n_used, n_used)
        """
        seen, terms = self.seen, self.of_trials
        readings, trials = self._observed(at)
        n = len(readings)
        of_reading = times[:n] * self.of_readings.curvature[:, readings]
        lower = rows[np.searchsorted(at, seen.lower[trials])]
        upper = rows[np.searchsorted(at, seen.upper[trials])]
        of_lower, of_upper, cross = (
            (times[n::N_EDGES] * curvature[:, trials] / seen.omega**2)[:, :, None]
            for curvature in (terms.curvature_lower, terms.curvature_upper, terms.curvature_cross)
        )
        bent: Array = rows[:n].T @ (of_reading[:, :, None] * rows[:n])
        bent += lower.T @ (of_lower * lower + cross * upper)
        bent += upper.T @ (of_upper * upper + cross * lower)
        return bent
