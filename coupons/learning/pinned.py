"""Where each threshold lies, by its own marginal instead of a normal around the mode.

Grades leave a threshold open on one side where the coupon's gaps end, and thresholds keep out of
each other's way: their posteriors are skewed. Each is pinned at a few values, all else is fitted
anew, and the evidence at those values is its marginal density (Laplace's rule applied to the rest,
a textbook method).
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from coupons.learning.effects import THRESHOLDS, Normal
from coupons.learning.laplace import Mode, find_mode
from coupons.learning.latent import AT_THRESHOLDS, LatentModel, Scatters

Array = NDArray[np.floating]

_PINS = np.arange(-3.0, 4.0)  # in posterior sds from the mode
_FINE = np.linspace(-5, 5, 401)
# A pinned threshold may move by so much of its posterior sd, and pushes the others so far away.
_PIN_SD = 0.01
_LEAST_STEP = 0.05


@dataclass(frozen=True)
class Marginals:
    """Means in mm of the four thresholds, and their sds as multiples of the normal's."""

    mean: Array
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
    mean, sd = np.array(moments).T
    normal_sd = np.sqrt(np.diag(towards[AT_THRESHOLDS]))
    return Marginals(mean, sd / normal_sd)


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
        thresholds = {**model.table.thresholds, grade: Normal(float(pin), _PIN_SD * sd)}
        pinned = replace(model, table=replace(model.table, thresholds=thresholds))
        start = _kept_apart(mode.latent + column / sd**2 * (pin - center), k, _LEAST_STEP * sd)
        evidence = find_mode(pinned, scatters, start).log_evidence
        log_density.append(evidence - 0.5 * ((pin - prior.mean) / prior.sd) ** 2)
    # Beyond the pins the density goes on as it falls there.
    fall = CubicSpline(_PINS, log_density)
    ends = np.clip(_FINE, _PINS[0], _PINS[-1])
    log_density = fall(ends) + fall(ends, 1) * (_FINE - ends)
    weights = np.exp(log_density - log_density.max())
    weights /= weights.sum()
    mean = weights @ _FINE
    return center + sd * mean, sd * float(np.sqrt(weights @ (_FINE - mean) ** 2))


def _kept_apart(latent: Array, k: int, least: float) -> Array:
    """Move the other thresholds out of the way of the one that is pinned."""
    cuts = latent[AT_THRESHOLDS]
    for i in range(k + 1, len(cuts)):
        cuts[i] = max(cuts[i], cuts[i - 1] + least)
    for i in range(k - 1, -1, -1):
        cuts[i] = min(cuts[i], cuts[i + 1] - least)
    return latent
