"""Marginal posterior of each threshold, instead of a normal around the mode.

The posteriors of thresholds are skewed: grades leave a threshold open on one side where the
coupon's gaps end, and thresholds must stay in order. Each is fixed at a few values, all else is
fitted again, and the evidence at those values gives its marginal density (a Laplace approximation
of the rest, a textbook method).
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from coupons.learning.effects import THRESHOLDS
from coupons.learning.posterior.corrections import best_mode, room_used
from coupons.learning.posterior.laplace import Mode
from coupons.learning.posterior.latent import AT_THRESHOLDS, LatentModel, Scatters
from coupons.learning.prior_table import NormalPrior

Array = NDArray[np.floating]

_PINS = 1.25 * np.arange(-2, 3)  # in posterior sds from the mode
_FINE = np.linspace(-5, 5, 401)
# A threshold is fixed to this share of its posterior sd, and keeps the others this far away.
_PIN_SD = 0.01
_LEAST_STEP = 0.05


@dataclass(frozen=True)
class Marginals:
    """Moments of the four thresholds relative to those of the normal around the mode.

    Parameters
    ----------
    shift : ndarray of shape (4,)
        Mean less the mode, in sds of the normal.
    stretch : ndarray of shape (4,)
        Standard deviation over that of the normal.
    """

    shift: Array
    stretch: Array


def threshold_marginals(model: LatentModel, scatters: Scatters, mode: Mode) -> Marginals:
    """Return mean and sd of each threshold's own marginal at given scatters.

    Parameters
    ----------
    model : LatentModel
    scatters : Scatters
    mode : Mode
        Found at these scatters.
    """
    towards = threshold_columns(mode)
    moments = [_marginal(model, scatters, mode, towards[:, k], k) for k in range(len(THRESHOLDS))]
    shift, stretch = np.array(moments).T
    return Marginals(shift, stretch)


def threshold_columns(mode: Mode) -> Array:
    """Return the covariance of all latent values with the thresholds, shape (n_latent, 4)."""
    pick = np.zeros((len(mode.latent), len(THRESHOLDS)))
    pick[AT_THRESHOLDS] = np.eye(len(THRESHOLDS))
    return mode.factor.solve(pick)


def _marginal(
    model: LatentModel, scatters: Scatters, mode: Mode, column: Array, k: int
) -> tuple[float, float]:
    grade = THRESHOLDS[k]
    prior = model.table.thresholds[grade]
    center, sd = mode.latent[AT_THRESHOLDS][k], float(np.sqrt(column[AT_THRESHOLDS][k]))
    log_density = []
    for pin in center + sd * _PINS:
        thresholds = {**model.table.thresholds, grade: NormalPrior(float(pin), _PIN_SD * sd)}
        pinned = replace(model, table=replace(model.table, thresholds=thresholds))
        start = _kept_apart(mode.latent + column / sd**2 * (pin - center), k, _LEAST_STEP * sd)
        _, evidence = best_mode(pinned, scatters, start)
        log_density.append(evidence - 0.5 * ((pin - prior.mean) / prior.sd) ** 2)
    # The ratio of the density to the normal is smooth; beyond the fixed values it is kept constant.
    apart = PchipInterpolator(_PINS, np.array(log_density) + 0.5 * _PINS**2)
    fine = apart(np.clip(_FINE, _PINS[0], _PINS[-1])) - 0.5 * _FINE**2
    weights = np.exp(fine - fine.max())
    weights /= weights.sum()
    mean = float(weights @ _FINE)
    return mean, float(np.sqrt(weights @ (_FINE - mean) ** 2))


def stretched(covariance: Array, stretch: Array) -> Array:
    """Scale the thresholds' sds, and everything that is correlated with the thresholds."""
    block = covariance[AT_THRESHOLDS, AT_THRESHOLDS]
    towards = np.linalg.solve(block, covariance[AT_THRESHOLDS]).T
    more: Array = towards @ ((np.outer(stretch, stretch) - 1) * block) @ towards.T
    return covariance + more


def moved(mean: Array, mode: Mode, sds: Array) -> Array:
    """Move the thresholds by so many sds from their mode, and all correlated values with them."""
    columns = threshold_columns(mode)
    block = columns[AT_THRESHOLDS]
    target = mode.latent[AT_THRESHOLDS] + sds * np.sqrt(np.diag(block))
    move = columns @ np.linalg.solve(block, target - mean[AT_THRESHOLDS])
    on_the_way: Array = mean + move / max(1.0, room_used(mean, move))
    return on_the_way


def _kept_apart(latent: Array, k: int, least: float) -> Array:
    """Move the other thresholds so that they stay in order with the fixed one."""
    cuts = latent[AT_THRESHOLDS]
    for i in range(k + 1, len(cuts)):
        cuts[i] = max(cuts[i], cuts[i - 1] + least)
    for i in range(k - 1, -1, -1):
        cuts[i] = min(cuts[i], cuts[i + 1] - least)
    return latent
