"""Comparison with general-purpose regressors, by cross-validation on the caliper readings.

All get the same rows of effects and the same readings; each feature is predicted from all others.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coupons.learning.checking.downdate import Fold, each_feature, predict_left_out, without
from coupons.learning.design import Design
from coupons.learning.fit import fit_design
from coupons.learning.prior_table import EXTRUSION, PriorTable

Array = NDArray[np.floating]

# With fewer features a regression on effects leaves nothing to validate it with.
_FEWEST = 8


@dataclass(frozen=True)
class Yardstick:
    """Cross-validation error of one way to predict readings, in mm."""

    name: str
    rmse_mm: float
    median_error_mm: float


def measure_against(design: Design, table: PriorTable = EXTRUSION) -> tuple[Yardstick, ...]:
    """Compare leave-one-feature-out errors on the readings alone, fit trials left aside.

    Imports scikit-learn. Takes about a second for a hundred readings.

    Parameters
    ----------
    design : Design
    table : PriorTable
        Priors of the model.

    Returns
    -------
    tuple of Yardstick
        This model, the library's robust and its Bayesian regression, and the error of taking every
        reading to be as drawn. Empty if fewer than 8 features were read.
    """
    if len(np.unique(design.readings.size)) < _FEWEST:
        return ()
    X, error_mm, groups = effect_table(design)
    predicted = {name: _cross_predicted(model, X, error_mm, groups) for name, model in _library()}
    predicted["as drawn"] = np.zeros(len(error_mm))
    return (
        _ours(design, table),
        *(_score(name, error_mm - guess) for name, guess in predicted.items()),
    )


def effect_table(design: Design) -> tuple[Array, Array, NDArray[np.intp]]:
    """Return the readings as the table of a regression.

    Returns
    -------
    X : ndarray of shape (n_readings, n_columns)
        What each effect contributes; effects that act on no reading are left out.
    error_mm : ndarray of shape (n_readings,)
        Reading − drawn size.
    groups : ndarray of shape (n_readings,)
        The feature that was read.
    """
    readings, sizes = design.readings, design.sizes
    rows = sizes.effects[readings.size] + readings.effects
    error_mm: Array = readings.value - sizes.drawn[readings.size]
    return rows[:, rows.any(axis=0)], error_mm, readings.size


def _ours(design: Design, table: PriorTable) -> Yardstick:
    trials = np.arange(len(design.trials.internal))
    read = without(design, Fold(np.zeros(0, np.intp), trials, trials))
    predicted, _ = predict_left_out(fit_design(read, table).mixture, each_feature(read))
    return _score("this model", read.readings.value - predicted.expected_mm)


def _library() -> tuple[tuple[str, Any], ...]:
    from sklearn.linear_model import BayesianRidge, HuberRegressor
    from sklearn.pipeline import make_pipeline
    from sklearn.preprocessing import StandardScaler

    robust = make_pipeline(StandardScaler(), HuberRegressor(max_iter=1000))
    bayesian = make_pipeline(StandardScaler(), BayesianRidge())
    return ("robust regression", robust), ("Bayesian regression", bayesian)


def _cross_predicted(model: Any, X: Array, y: Array, groups: NDArray[np.intp]) -> Array:
    from sklearn.model_selection import LeaveOneGroupOut, cross_val_predict

    predicted: Array = cross_val_predict(model, X, y, groups=groups, cv=LeaveOneGroupOut())
    return predicted


def _score(name: str, error_mm: Array) -> Yardstick:
    rmse_mm = float(np.sqrt(np.mean(error_mm**2)))
    return Yardstick(name, rmse_mm, float(np.median(abs(error_mm))))
