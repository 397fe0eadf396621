"""Whether a machine drifts one way from print to print, told from several runs of it.

Each run is fitted alone. Of the sizes along an axis that were printed, the mean error is a sum of
terms, known from each run with an uncertainty that holds what its print has of its own. Its slope
over the prints, in their order, is a contrast of the runs. With G = 1 − ΣP⁻¹, the share of the
truth's distance from the prior mean by which the posterior mean of a run moves, a contrast w has
the variance  (Σ wG)·P·(Σ wG)ᵀ + Σ w²·GΣ  where nothing drifts; P is the prior covariance of the
terms and Σ the posterior one of the run.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from coupons.learning.effects import EFFECTS, prior_mean, prior_sd
from coupons.learning.fit import Fitted

Array = NDArray[np.floating]

FEWEST = 3
FALSE_ALARMS = 0.05
AXES = ("x", "y", "z")
_POWER_SDS = 0.84  # a drift so far beyond the limit is found with 80 % power
_LEAST_MOVED = 0.2


@dataclass(frozen=True)
class OneWayDrift:
    """How the sizes along one axis change from print to print.

    Parameters
    ----------
    axis : {"x", "y", "z"}
    by_mm, sd_mm : float
        The mean size more with each print, and its standard deviation where nothing drifts.
    length_mm : float
        Mean of the sizes that it is told for.
    limit : float
        In standard deviations: one fit in twenty without a drift has an axis beyond it.
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
    told = {axis: _slope(ordered, row) for axis, (row, _) in rows.items()}
    known = {axis: one for axis, one in told.items() if one is not None}
    if not known:
        return ()
    limit = NormalDist().inv_cdf(1 - FALSE_ALARMS / len(known) / 2)
    drifts = [
        OneWayDrift(axis, by, sd, rows[axis][1], limit, dated) for axis, (by, sd) in known.items()
    ]
    return tuple(sorted(drifts, key=lambda one: -abs(one.by_mm) / one.sd_mm))


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


def _slope(fits: Sequence[Fitted], effects: Array) -> tuple[float, float] | None:
    """Return the slope in mm a print with its standard deviation; None where little is known."""
    table = fits[0].mixture.model.table
    sd, center = prior_sd(table), prior_mean(table)
    row = np.zeros(len(sd))
    row[: len(effects)] = effects
    prior = sd**2
    likely = prior * row  # how the terms move, most likely, where the sizes do
    varies = np.where(prior > 0, prior, np.inf)
    gains = [row @ (np.eye(len(sd)) - one.covariance / varies) for one in fits]
    moved = np.array([float(gain @ likely) for gain in gains]) / float(row @ likely)
    if moved.min() < _LEAST_MOVED:
        return None
    noise = np.array([float(g @ one.covariance @ row) for g, one in zip(gains, fits, strict=True)])
    weights = moved**2 / noise
    places = np.arange(len(fits)) - np.average(np.arange(len(fits)), weights=weights)
    contrast = weights * places / (weights @ places**2) / moved
    values = np.array([float(row @ (one.mean - center)) for one in fits])
    shared = np.sum(contrast[:, None] * np.array(gains), axis=0)
    variance = float(shared**2 @ prior + contrast**2 @ noise)
    return float(contrast @ values), float(np.sqrt(variance))
