"""Expected information of a coupon: the uncertainty after it is printed and tried.

Every reading and every trial of the coupon adds its expected (Fisher) information at what is
believed now; own deviations and the print's common shift are unknowns of their own, as in the fit.
Trials say most where their outcome is open, so that their information is averaged over how wide or
tight the pair may turn out.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from coupons.learning.design import Design, design_of
from coupons.learning.effects import EFFECTS, THRESHOLDS
from coupons.learning.posterior.latent import N_TERMS, LatentModel, Scatters, latent_model
from coupons.learning.prior_table import EXTRUSION, PriorTable
from coupons.learning.profile import NORMAL_NODES, NORMAL_WEIGHTS
from coupons.making.record import Coupon
from coupons.measuring.run.conditions import Conditions
from coupons.measuring.run.entries import FitEntry, SizeEntry
from coupons.measuring.run.folder import Run
from coupons.terms import Grade

Array = NDArray[np.floating]

_N_EFFECTS, _N_THRESHOLDS = len(EFFECTS), len(THRESHOLDS)


@dataclass(frozen=True)
class Belief:
    """The current estimate of a printer.

    Parameters
    ----------
    mean : ndarray of shape (n_terms,)
    covariance : ndarray of shape (n_terms, n_terms)
    scatters : Scatters
        In mm.
    """

    mean: Array
    covariance: Array
    scatters: Scatters


def covariance_after(coupon: Coupon, belief: Belief, table: PriorTable = EXTRUSION) -> Array:
    """Predict the covariance of the terms after a coupon is printed, tried and measured.

    Parameters
    ----------
    coupon : Coupon
        Its trials and readings are taken as done once each.
    belief : Belief
    table : PriorTable
        Of the process; its share of lapses and the tails of its readings are used here.

    Returns
    -------
    ndarray of shape (n_terms, n_terms)
        In the order of `coupons.learning.effects.TERMS`.
    """
    model = latent_model(design_of([as_if_done(coupon)]), table)
    precision = _precision_before(model, belief)
    precision += _from_readings(model, belief.scatters)
    precision += _from_trials(model, belief)
    return np.asarray(np.linalg.inv(precision)[:N_TERMS, :N_TERMS])


def as_if_done(coupon: Coupon) -> Run:
    """Return a run with every result filled in; their values do not matter here."""
    sizes = {feature.id: feature.size_mm for feature in coupon.features}
    conditions = Conditions(
        machine="none", material="none", nozzle_mm=coupon.assumed.nozzle_mm, layer_height_mm=0.2
    )
    return Run(
        Path(),
        coupon,
        conditions,
        tuple(
            SizeEntry(0, reading.feature, sizes[reading.feature], reading.jaws, reading.along)
            for reading in coupon.readings
        ),
        tuple(
            FitEntry(0, trial.feature, trial.mate, Grade.PUSH, Grade.PUSH)
            for trial in coupon.trials
        ),
    )


def _precision_before(model: LatentModel, belief: Belief) -> Array:
    variance = model.prior_variance(belief.scatters)
    precision = np.diag(1 / variance)
    precision[:N_TERMS, :N_TERMS] = np.linalg.inv(belief.covariance)
    return precision


def _from_readings(model: LatentModel, scatters: Scatters) -> Array:
    nu = model.table.reading_dof
    readings = model.design.readings
    rows = np.concatenate([model.reading_shared, model.reading_own.T.toarray()], axis=1)
    scale_sq = scatters.sigma**2 + readings.least_variance
    weights = (nu + 1) / (nu + 3) / scale_sq
    return np.asarray((rows.T * weights) @ rows)


def _from_trials(model: LatentModel, belief: Belief) -> Array:
    clearance = clearance_rows(model)
    gap = drawn_gaps(model.design)
    thresholds = slice(_N_EFFECTS, _N_EFFECTS + _N_THRESHOLDS)
    expected = gap + clearance[:, :N_TERMS] @ belief.mean
    covariance = np.diag(model.prior_variance(belief.scatters))
    covariance[:N_TERMS, :N_TERMS] = belief.covariance
    spread = np.sqrt(((clearance @ covariance) * clearance).sum(axis=1))
    weights = trial_information(
        expected[:, None] - belief.mean[thresholds],
        spread,
        belief.scatters.omega,
        model.table.lapse,
    )
    rows = np.repeat(clearance[:, None, :], _N_THRESHOLDS, axis=1)
    rows[:, range(_N_THRESHOLDS), range(_N_EFFECTS, _N_EFFECTS + _N_THRESHOLDS)] -= 1
    return np.asarray(np.einsum("tka,tkl,tlb->ab", rows, weights, rows, optimize=True))


def clearance_rows(model: LatentModel) -> Array:
    """Return the clearance of each trial as a row over all latent values, (n_trials, n_latent)."""
    return np.concatenate([model.clearance_shared, model.trial_own.T.toarray()], axis=1)


def drawn_gaps(design: Design) -> Array:
    """Return the drawn gap of each trial, in mm."""
    drawn, trials = design.sizes.drawn, design.trials
    return np.asarray(drawn[trials.internal] - drawn[trials.external])


def trial_information(margins: Array, spread: Array, omega: float | Array, lapse: float) -> Array:
    """Return the expected information of each trial about its margins over the four thresholds.

    Parameters
    ----------
    margins : ndarray of shape (n_trials, 4)
        Expected clearance in mm less each threshold.
    spread : ndarray of shape (n_trials,)
        Standard deviation of the clearance around that, in mm.
    omega : float or ndarray of shape (n_trials, 1)
        Scatter of the judgement, in mm.
    lapse : float
        Share of trials whose grade is written down at random.

    Returns
    -------
    ndarray of shape (n_trials, 4, 4)
    """
    total = np.zeros((len(margins), _N_THRESHOLDS, _N_THRESHOLDS))
    for node, weight in zip(NORMAL_NODES, NORMAL_WEIGHTS, strict=True):
        z = (margins + node * spread[:, None]) / omega
        at_least = np.pad(ndtr(z), ((0, 0), (1, 1)), constant_values=((0, 0), (1, 0)))
        chances = (1 - lapse) * -np.diff(at_least, axis=1) + lapse / (_N_THRESHOLDS + 1)
        slopes = (1 - lapse) * np.exp(-(z**2) / 2) / (np.sqrt(2 * np.pi) * omega)
        total += weight * _outer_over_grades(slopes, 1 / chances)
    return total


def _outer_over_grades(slopes: Array, weights: Array) -> Array:
    """Sum ∇p ∇pᵀ / p over grades: a margin raises the grade above it and lowers the one below."""
    total = np.zeros((len(slopes), _N_THRESHOLDS, _N_THRESHOLDS))
    for k in range(_N_THRESHOLDS):
        total[:, k, k] = slopes[:, k] ** 2 * (weights[:, k] + weights[:, k + 1])
        if k:
            cross = -slopes[:, k - 1] * slopes[:, k] * weights[:, k]
            total[:, k - 1, k] = total[:, k, k - 1] = cross
    return total
