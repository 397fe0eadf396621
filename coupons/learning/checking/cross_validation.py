"""Cross-validation by feature: how well a feature is predicted from all others.

Each feature is left out with every entry in which it takes part, and those entries are predicted
from the rest, as they would be for a feature not yet printed.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coupons.learning.checking.downdate import each_feature, predict_left_out
from coupons.learning.checking.predictive import PredictedReadings
from coupons.learning.design import Trials
from coupons.learning.posterior.integrate import Mixture
from coupons.terms import GRADES

Array = NDArray[np.floating]

INTERVAL = 0.90


@dataclass(frozen=True)
class HeldOutReadings:
    """Readings of features left out. Errors in mm, shares between 0 and 1.

    ``inside`` is the share that fell into its 90 % interval. A mistyped reading changes ``rmse_mm``
    much and ``median_error_mm`` hardly.
    """

    count: int
    rmse_mm: float
    median_error_mm: float
    inside: float


@dataclass(frozen=True)
class HeldOutTrials:
    """Trials of features left out. Shares between 0 and 1.

    ``inside`` is the share that fell into the fewest grades that together have 90 % probability.
    Grades are few, so such a set usually has more than that; ``expected_inside`` is what ``inside``
    should be. ``exact`` is the share in which the likeliest grade was the one found.
    """

    count: int
    inside: float
    expected_inside: float
    exact: float


@dataclass(frozen=True)
class HeldOut:
    """Cross-validation scores; None where there are no readings, or no trials."""

    readings: HeldOutReadings | None
    trials: HeldOutTrials | None


def hold_out(mixture: Mixture) -> HeldOut:
    """Leave out one feature at a time and score how well it was predicted.

    Parameters
    ----------
    mixture : Mixture
        A fit to everything. It is not fitted again; see `coupons.learning.checking.downdate`.
    """
    design = mixture.model.design
    readings, trials = predict_left_out(mixture, each_feature(design))
    return HeldOut(
        _score_readings(readings, design.readings.value) if len(design.readings.value) else None,
        _score_trials(trials.chances, design.trials) if len(design.trials.tightest) else None,
    )


def _score_readings(predicted: PredictedReadings, value_mm: Array) -> HeldOutReadings:
    error = value_mm - predicted.expected_mm
    below = predicted.chance_below(value_mm)
    tail = (1 - INTERVAL) / 2
    return HeldOutReadings(
        len(error),
        float(np.sqrt(np.mean(error**2))),
        float(np.median(abs(error))),
        float(np.mean((below > tail) & (below < 1 - tail))),
    )


def likeliest_sets(chances: Array, content: float = INTERVAL) -> NDArray[np.bool_]:
    """Return the smallest sets of grades with a probability of ``content``, shape (n, 5).

    Examples
    --------
    >>> import numpy as np
    >>> likeliest_sets(np.array([[0.01, 0.04, 0.75, 0.17, 0.03]])).astype(int)
    array([[0, 0, 1, 1, 0]])
    """
    order = np.argsort(-chances, axis=1)
    sorted_chances = np.take_along_axis(chances, order, axis=1)
    before = np.cumsum(sorted_chances, axis=1) - sorted_chances
    chosen = np.zeros(chances.shape, bool)
    np.put_along_axis(chosen, order, before < content, axis=1)
    return chosen


def reported(trials: Trials) -> NDArray[np.bool_]:
    """Return which grades each trial's report allows, shape (n, 5)."""
    ranks = np.arange(len(GRADES))
    return (ranks >= trials.tightest[:, None]) & (ranks <= trials.loosest[:, None])


def _score_trials(chances: Array, trials: Trials) -> HeldOutTrials:
    found, chosen = reported(trials), likeliest_sets(chances)
    # Of a report of several grades, that share counts as inside which is so by the chances.
    share = (chances * (found & chosen)).sum(axis=1) / (chances * found).sum(axis=1)
    likeliest = chances.argmax(axis=1)
    return HeldOutTrials(
        len(chances),
        float(share.mean()),
        float((chances * chosen).sum(axis=1).mean()),
        float(found[np.arange(len(found)), likeliest].mean()),
    )
