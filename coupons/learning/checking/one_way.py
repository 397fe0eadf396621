"""Whether a machine drifts one way from print to print, told from several runs of it.

Each run is fitted alone. Of the sizes along an axis that were printed, the mean error is a sum of
terms, known from each run with an uncertainty that holds what its print has of its own. Its slope
over the prints, in their order, is a contrast of the runs. With G = 1 − ΣP⁻¹, the share of the
truth's distance from the prior mean by which the posterior mean of a run moves, a contrast w has
the variance  (Σ wG)·P·(Σ wG)ᵀ + Σ w²·GΣ  where nothing drifts; P is the prior covariance of the
terms and Σ the posterior one of the run.

Part of that variance is what prints differ in, of which one print says nothing: Σ holds its prior
mean square. How far like features differ, the rest of it, one print tells only roughly. Machines
differ in both, so the slopes of all machines have longer tails than a normal
with the mean variance. They are therefore averaged over, weighed by how far the prints lie from
a straight line; given how far prints differ, the slope is independent of these residuals. With
three prints there is one residual and the prior decides; with eight the prints tell it themselves.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import ndtr

from coupons.learning.effects import EFFECTS, print_rows, prior_mean, prior_sd
from coupons.learning.fit import Fitted
from coupons.learning.prior_table import PriorTable

Array = NDArray[np.floating]

FEWEST = 3
FALSE_ALARMS = 0.05
AXES = ("x", "y", "z")
_POWER_SDS = 0.84  # a drift so far beyond the limit is found with 80 % power
_LEAST_MOVED = 0.2
_NODES, _NODE_WEIGHTS = np.polynomial.hermite_e.hermegauss(7)


@dataclass(frozen=True)
class OneWayDrift:
    """How the sizes along one axis change from print to print.

    Parameters
    ----------
    axis : {"x", "y", "z"}
    by_mm, sd_mm : float
        The mean size more with each print, and its standard deviation where nothing drifts, by what
        the prints themselves tell of how far they differ.
    length_mm : float
        Mean of the sizes that it is told for.
    limit : float
        In standard deviations: one fit in twenty without a drift has an axis beyond its limit. It
        is farther out than that of a normal, the fewer prints tell how far they differ.
    dated : bool
        The order is that of the dates of the prints, not that in which they were given.
    """

    axis: str
    by_mm: float
    sd_mm: float
    length_mm: float
    limit: float
    dated: bool

    @property
    def is_found(self) -> bool:
        """Whether it is larger than chance explains."""
        return abs(self.by_mm) > self.limit * self.sd_mm

    @property
    def detectable_mm(self) -> float:
        """The drift a print that would be found with 80 % power."""
        return (self.limit + _POWER_SDS) * self.sd_mm


def one_way_drifts(
    fits: Sequence[Fitted], printed_on: Sequence[date | None]
) -> tuple[OneWayDrift, ...]:
    """Tell the drift along each axis of which every run measured sizes.

    Parameters
    ----------
    fits : sequence of Fitted
        One for each print.
    printed_on : sequence of date or None
        Their dates. The order given counts unless all have one.

    Returns
    -------
    tuple of OneWayDrift
        The clearest first; empty with fewer than three prints.
    """
    if len(fits) < FEWEST:
        return ()
    days = [day.toordinal() for day in printed_on if day is not None]
    dated = len(days) == len(fits) and len(set(days)) > 1
    order = np.argsort(days, kind="stable") if dated else np.arange(len(fits))
    ordered = [fits[k] for k in order]
    rows = {axis: found for axis in AXES if (found := _row(ordered, axis)) is not None}
    told = {axis: _slope(ordered, row, axis) for axis, (row, _) in rows.items()}
    known = {axis: one for axis, one in told.items() if one is not None}
    if not known:
        return ()
    alarms = FALSE_ALARMS / len(known)
    drifts = [
        OneWayDrift(axis, one.by_mm, one.sd_mm, rows[axis][1], one.limit(alarms), dated)
        for axis, one in known.items()
    ]
    return tuple(sorted(drifts, key=lambda one: -abs(one.by_mm) / one.sd_mm / one.limit))


@dataclass(frozen=True)
class _Slope:
    """A slope, with the sds that it has where nothing drifts and how likely each of them is."""

    by_mm: float
    sds: Array
    weights: Array

    @property
    def sd_mm(self) -> float:
        return float(np.sqrt(self.weights @ self.sds**2))

    def limit(self, alarms: float) -> float:
        """Return the limit in sds beyond which this share of slopes lies where nothing drifts."""

        def too_many(limit: float) -> float:
            return float(self.weights @ (2 * ndtr(-limit * self.sd_mm / self.sds))) - alarms

        return float(brentq(too_many, 0.1, 50.0))


def _row(fits: Sequence[Fitted], axis: str) -> tuple[Array, float] | None:
    """Return the mean row of effects of the sizes along an axis, and their mean in mm."""
    rows, lengths = [], []
    columns = [EFFECTS.index(f"scale_{one}") for one in AXES]
    for fitted in fits:
        sizes = fitted.design.sizes
        along = sizes.effects[:, columns] > 0
        only = along[:, AXES.index(axis)] & (along.sum(axis=1) == 1) & sizes.is_printed
        if not only.any():
            return None
        # Outer and inner sizes grow against each other: their mean would tell of neither.
        outer = only & (sizes.effects[:, EFFECTS.index("growth_ext")] > 0)
        outer |= only & (sizes.effects[:, EFFECTS.index("growth_ext_z")] > 0)
        chosen = outer if outer.any() else only
        rows.append(sizes.effects[chosen].mean(axis=0))
        lengths.append(float(sizes.drawn[chosen].mean()))
    return np.mean(rows, axis=0), float(np.mean(lengths))


def _slope(fits: Sequence[Fitted], effects: Array, axis: str) -> _Slope | None:
    """Return the slope in mm a print; None where little is known."""
    table = fits[0].mixture.model.table
    sd, center = prior_sd(table), prior_mean(table)
    row = np.zeros(len(sd))
    row[: len(effects)] = effects
    prior = sd**2
    likely = prior * row  # how the terms move, most likely, where the sizes do
    varies = np.where(prior > 0, prior, np.inf)
    gains = np.array([row @ (np.eye(len(sd)) - one.covariance / varies) for one in fits])
    moved = gains @ likely / float(row @ likely)
    if moved.min() < _LEAST_MOVED:
        return None
    gains /= moved[:, None]
    values = np.array([float(row @ (one.mean - center)) for one in fits]) / moved
    noise = np.array([float(g @ one.covariance @ row) for g, one in zip(gains, fits, strict=True)])
    noise /= moved
    contrast = _contrast(1 / noise)
    variances, weights = _between_prints(effects, table)
    own = np.maximum(noise - weights @ variances, 0.0)
    shares, share_weights = _own_shares(fits, axis)
    each = np.multiply.outer(shares, own)[:, None, :] + variances[:, None]
    each = each.reshape(-1, len(own))
    # The level that all runs share is not seen alike by runs of different coupons.
    told = (gains * prior) @ gains.T + each[:, :, None] * np.eye(len(own))
    sds = np.sqrt(np.einsum("i,kij,j->k", contrast, told, contrast))
    odds = np.multiply.outer(share_weights, weights).ravel() * _residual_odds(values, told)
    return _Slope(float(contrast @ values), sds, odds / odds.sum())


def _contrast(weights: Array) -> Array:
    """Return the weights of the prints in the slope of a line through them."""
    prints = np.arange(len(weights))
    places = prints - np.average(prints, weights=weights)
    return np.asarray(weights * places / (weights @ places**2))


def _between_prints(effects: Array, table: PriorTable) -> tuple[Array, Array]:
    """Return variances in mm² that prints may differ with in a size, and their prior weights."""
    amounts: dict[str, float] = {}
    for effect, by in zip(table.prints, print_rows(effects, table), strict=True):
        amounts[effect.scatter] = amounts.get(effect.scatter, 0.0) + float(by * effect.share) ** 2
    variances, weights = np.zeros(1), np.ones(1)
    for name, amount in amounts.items():
        if amount > 0:
            scatter = table.scatters[name]
            squares = amount * (scatter.median * np.exp(scatter.log_sd * _NODES)) ** 2
            variances = np.add.outer(variances, squares).ravel()
            weights = np.multiply.outer(weights, _NODE_WEIGHTS).ravel()
    return variances, weights / weights.sum()


def _own_shares(fits: Sequence[Fitted], axis: str) -> tuple[Array, Array]:
    """Return what one print's own variance may be as a share of the stated one, with weights.

    Few features say only roughly how far like features of a machine differ, and all prints of it
    have that in common.
    """
    name = "tau_z" if axis == "z" else "tau"
    log_sd = float(np.mean([one.mixture.log_sd_moments(name)[1] for one in fits]))
    # The stated variance is the mean.
    return np.exp(2 * log_sd * (_NODES - log_sd)), _NODE_WEIGHTS / _NODE_WEIGHTS.sum()


def _residual_odds(values: Array, told: Array) -> Array:
    """Return how likely what is left of a straight line through the prints is, by covariance.

    ``told`` has one covariance of the prints a row; they are in proportion only.
    """
    line = np.column_stack([np.ones(len(values)), np.arange(len(values))])
    off_line = np.linalg.qr(line, mode="complete")[0][:, 2:]
    left = off_line.T @ values
    covariances = off_line.T @ told @ off_line
    squares = left @ np.linalg.solve(covariances, left[:, None])[..., 0].T
    log_odds = -(squares + np.linalg.slogdet(covariances)[1]) / 2
    return np.asarray(np.exp(log_odds - log_odds.max()))
