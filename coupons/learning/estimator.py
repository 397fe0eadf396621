"""The offset model as scikit-learn estimators, for the library's cross-validation and scores.

Importing this module imports scikit-learn, which takes most of a second: nothing else does.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray
from sklearn.base import BaseEstimator, RegressorMixin
from sklearn.utils.validation import check_is_fitted, validate_data

from coupons.errors import FitError
from coupons.learning.checking.predictive import PredictedReadings, PredictedTrials
from coupons.learning.checking.regressors import effect_table
from coupons.learning.design import Design, Readings, Sizes, design_of, trials_of
from coupons.learning.effects import EFFECTS
from coupons.learning.fit import Fitted, fit_design
from coupons.learning.observation_table import column, design_from_table, run_numbers
from coupons.learning.posterior.edges import N_EDGES, edge_offset, edge_rows
from coupons.learning.posterior.integrate import Mixture
from coupons.learning.posterior.latent import N_TERMS, LatentModel, latent_model
from coupons.learning.prior_table import EXTRUSION, NormalPrior, PriorTable
from coupons.measuring.run.folder import Run
from coupons.terms import GRADES

Array = NDArray[np.floating]
Indices = NDArray[np.intp]

# So wide that a prior says nothing of what a column may do, in units of y per unit of X.
_ANYTHING = NormalPrior(0.0, 1e3)
# A row of effects is predicted as a size of its own, never as one of those that were fitted.
_NEW = "new "
# What a caliper shows, where the table does not say.
_STEP_MM = 0.01


class OffsetRegressor(RegressorMixin, BaseEstimator):  # type: ignore[misc]  # no type information
    """The model of caliper readings as a linear regression with the printer's error structure.

    Each row is one reading, of a feature of its own: error = X · coefficients + the feature's own
    deviation + the caliper's error, which has long tails, so that a slip weighs little. `score` is
    the R² of the errors, as of every regressor of scikit-learn. To learn from fit trials too, see
    `ObservationModel`.

    Parameters
    ----------
    table : PriorTable, optional
        Priors of the coefficients, in the order of the columns, and of the scatters. If not given,
        the coefficients may be anything.

    Attributes
    ----------
    fitted_ : coupons.learning.fit.Fitted
        The whole fit.
    coef_ : ndarray of shape (n_columns,)
        Posterior means of the coefficients, in units of y per unit of X.
    coef_sd_ : ndarray of shape (n_columns,)
        Their standard deviations.
    n_features_in_ : int
        Number of columns of X.

    Examples
    --------
    >>> import numpy as np
    >>> drawn = np.array([[5.0], [10.0], [20.0], [40.0], [80.0]])
    >>> error = np.array([-0.02, -0.03, -0.06, -0.12, -0.24])
    >>> OffsetRegressor().fit(drawn, error).coef_.round(3)
    array([-0.003])
    """

    def __init__(self, *, table: PriorTable | None = None) -> None:
        self.table = table

    def fit(self, X: Any, y: Any) -> Self:
        """Fit the model.

        Parameters
        ----------
        X : array-like of shape (n_readings, n_columns)
            What each effect contributes to the error, such as the drawn size in mm for a scale; at
            most as many columns as the model has effects. `reading_table` makes it from runs.
        y : array-like of shape (n_readings,)
            Error in mm: reading − drawn size.

        Returns
        -------
        self

        Raises
        ------
        FitError
            If X has too many columns.
        """
        X, y = validate_data(self, X, y, dtype=float, y_numeric=True)
        loose = replace(EXTRUSION, effects=dict.fromkeys(EFFECTS, _ANYTHING))
        self.fitted_ = fit_design(_effects_design(X, y, ""), self.table or loose)
        self.coef_, self.coef_sd_ = _coefficients(self.fitted_, X.shape[1])
        return self

    def predict(self, X: Any, return_std: bool = False) -> Array | tuple[Array, Array]:
        """Predict the errors of readings of new features.

        Parameters
        ----------
        X : array-like of shape (n_readings, n_columns)
        return_std : bool
            Return standard deviations too.

        Returns
        -------
        mean : ndarray of shape (n_readings,)
            Expected error in mm.
        std : ndarray of shape (n_readings,)
            Only if ``return_std``: of one reading, in mm.
        """
        check_is_fitted(self)
        X = validate_data(self, X, dtype=float, reset=False)
        design = _effects_design(X, np.zeros(len(X)), _NEW)
        readings, _ = predict_new(self.fitted_.mixture, design)
        mean = readings.expected_mm
        return (mean, readings.sd_mm) if return_std else mean


class ObservationModel(BaseEstimator):  # type: ignore[misc]  # no type information
    """The whole model, readings and fit trials, as an estimator over observation tables.

    It has scikit-learn's interface for cross-validation, cloning and pickling. It is no regressor
    of that library's kind: rows of X are coded (see `coupons.learning.observation_table`), and y
    holds sizes for readings and ranks of grades for trials. So it has a `score` of its own.

    Parameters
    ----------
    table : PriorTable, optional
        Priors; those of extrusion if not given.

    Attributes
    ----------
    fitted_ : coupons.learning.fit.Fitted
        The whole fit.
    coef_ : ndarray of shape (n_effects,)
        Posterior means of the effects.
    coef_sd_ : ndarray of shape (n_effects,)
        Their standard deviations.
    runs_ : tuple of float
        Numbers of the runs that were fitted.
    n_features_in_ : int
        Number of columns of X.
    """

    def __init__(self, *, table: PriorTable | None = None) -> None:
        self.table = table

    def fit(self, X: Any, y: Any) -> Self:
        """Fit the model.

        Parameters
        ----------
        X : array-like of shape (n_observations, n_columns)
            As from `observation_table`; rows of one feature share its own deviation.
        y : array-like of shape (n_observations,)
            Sizes in mm; for a trial the rank of the tightest grade, 0 no-go … 4 loose.

        Returns
        -------
        self

        Raises
        ------
        FitError
            If X is no such table.
        """
        X, y = validate_data(self, X, y, dtype=float, y_numeric=True)
        self.runs_ = run_numbers(X)
        self.fitted_ = fit_design(design_from_table(X, y, self.runs_), self.table or EXTRUSION)
        self.coef_, self.coef_sd_ = _coefficients(self.fitted_, len(EFFECTS))
        return self

    def predict(self, X: Any, return_std: bool = False) -> Array | tuple[Array, Array]:
        """Predict observations.

        Parameters
        ----------
        X : array-like of shape (n_observations, n_columns)
        return_std : bool
            Return standard deviations too.

        Returns
        -------
        mean : ndarray of shape (n_observations,)
            Expected reading in mm; for a trial the expected rank of its grade.
        std : ndarray of shape (n_observations,)
            Only if ``return_std``.
        """
        readings, trials, is_trial = self._predicted_rows(self._checked(X))
        ranks = np.arange(len(GRADES))
        mean, std = np.empty(len(is_trial)), np.empty(len(is_trial))
        mean[~is_trial], std[~is_trial] = readings.expected_mm, readings.sd_mm
        mean[is_trial] = trials.chances @ ranks
        std[is_trial] = np.sqrt(trials.chances @ ranks**2 - mean[is_trial] ** 2)
        return (mean, std) if return_std else mean

    def predict_grades(self, X: Any) -> Array:
        """Predict the chance of each grade.

        Parameters
        ----------
        X : array-like of shape (n_observations, n_columns)

        Returns
        -------
        ndarray of shape (n_observations, 5)
            From no-go to loose; nan for a reading, which has no grade.
        """
        _, trials, is_trial = self._predicted_rows(self._checked(X))
        chances = np.full((len(is_trial), len(GRADES)), np.nan)
        chances[is_trial] = trials.chances
        return chances

    def score(self, X: Any, y: Any) -> float:
        """Return the mean logarithm of the chance that was given to what was observed.

        The chance of a reading is that of the step that the caliper showed, of a trial that of the
        grades that were left open. Both are chances, so they can be averaged; 0 is perfect. The
        score is proper: in expectation nothing beats the true chances.

        Parameters
        ----------
        X : array-like of shape (n_observations, n_columns)
        y : array-like of shape (n_observations,)
        """
        X = self._checked(X)
        y = np.asarray(y, float)
        readings, trials, is_trial = self._predicted_rows(X)
        half = np.where(step := X[~is_trial, column("resolution_mm")], step, _STEP_MM) / 2
        read = y[~is_trial]
        chance = np.empty(len(y))
        chance[~is_trial] = readings.chance_below(read + half) - readings.chance_below(read - half)
        tightest = y[is_trial, None]
        loosest = tightest + X[is_trial, column("width"), None]
        ranks = np.arange(len(GRADES))
        is_open = (ranks >= tightest) & (ranks <= loosest)
        chance[is_trial] = (trials.chances * is_open).sum(axis=1)
        return float(np.log(np.maximum(chance, np.finfo(float).tiny)).mean())

    def _checked(self, X: Any) -> Array:
        check_is_fitted(self)
        checked: Array = validate_data(self, X, dtype=float, reset=False)
        return checked

    def _predicted_rows(
        self, X: Array
    ) -> tuple[PredictedReadings, PredictedTrials, NDArray[np.bool_]]:
        design = design_from_table(X, np.zeros(len(X)), run_numbers(X, self.runs_))
        is_trial = np.zeros(len(X), bool)
        is_trial[design.trials.row] = True
        return (*predict_new(self.fitted_.mixture, design), is_trial)


def reading_table(runs: Sequence[Run]) -> tuple[Array, Array, Indices]:
    """Lay out the caliper readings of runs as `OffsetRegressor` takes them.

    Returns
    -------
    X : ndarray of shape (n_readings, n_columns)
        What each effect of the model contributes; effects that act on no reading are left out.
    error_mm : ndarray of shape (n_readings,)
        Reading − drawn size.
    groups : ndarray of shape (n_readings,)
        One number a feature, for cross-validation that leaves a whole feature out.

    Raises
    ------
    FitError
        If no run holds a single result.
    """
    return effect_table(design_of(runs))


def _coefficients(fitted: Fitted, count: int) -> tuple[Array, Array]:
    """Return posterior means and standard deviations of the first effects."""
    return fitted.mean[:count], np.sqrt(np.diag(fitted.covariance)[:count])


def _effects_design(X: Array, y: Array, key: str) -> Design:
    """Make a reading of each row: a size drawn as 0 that is printed with error y."""
    n, columns = X.shape
    if columns > len(EFFECTS):
        raise FitError(f"X must have at most {len(EFFECTS)} columns. Got {columns} instead.")
    effects = np.zeros((n, len(EFFECTS)))
    effects[:, :columns] = X
    nothing = np.zeros(n)
    sizes = Sizes(
        tuple((0, f"{key}{at}") for at in range(n)),
        nothing,
        effects,
        nothing,
        np.zeros(n, np.intp),
        np.full(n, np.nan),
    )
    each = np.arange(n)
    no_jaws = np.full(n, -1)
    readings = Readings(
        each, y, np.zeros((n, len(EFFECTS))), no_jaws, nothing, nothing, nothing, each
    )
    return Design(sizes, readings, trials_of([]), 1)


def predict_new(mixture: Mixture, design: Design) -> tuple[PredictedReadings, PredictedTrials]:
    """Predict the observations of a design from a fit to another one.

    Parameters
    ----------
    mixture : Mixture
        The fit. Sizes and runs that it shares with the design, by their keys, keep what was learned
        of them; all others are new.
    design : Design
        Its values and grades are not used.
    """
    model = latent_model(design, mixture.model.table)
    known = _known_latent(mixture.model, model)
    rows, offset = edge_rows(model), edge_offset(model)
    mean, variance = [], []
    for mode, learned, scatters in zip(mixture.modes, mixture.means, mixture.scatters, strict=True):
        latent = np.where(known >= 0, learned[known], model.prior_center)
        covariance = mode.covariance[np.ix_(known, known)] * np.outer(known >= 0, known >= 0)
        covariance += np.diag(np.where(known >= 0, 0.0, model.prior_variance(scatters)))
        mean.append(offset + rows @ latent)
        variance.append(rows.multiply(rows @ covariance).sum(axis=1))
    return _split(mixture, design, np.array(mean), np.array(variance))


def _known_latent(fitted: LatentModel, model: LatentModel) -> Indices:
    """Return where each latent value of a model stands in those of a fit, −1 where it is new."""
    before, n_runs = fitted.design, model.design.n_runs
    runs, kinds = np.arange(n_runs), np.arange(model.n_per_run)
    of_runs = N_TERMS + kinds[:, None] * before.n_runs + runs
    of_runs[:, runs >= before.n_runs] = -1
    own_at = {key: fitted.n_shared + at for at, key in enumerate(before.sizes.keys)}
    own = [own_at.get(key, -1) for key in model.design.sizes.keys]
    return np.concatenate([np.arange(N_TERMS), of_runs.ravel(), np.array(own, np.intp)])


def _split(
    mixture: Mixture, design: Design, mean: Array, variance: Array
) -> tuple[PredictedReadings, PredictedTrials]:
    """Split the moments of edges into those of readings and those of trials."""
    n, points = len(design.readings.size), len(mixture.modes)
    sigma, omega = (
        np.array([getattr(s, name) for s in mixture.scatters]) for name in ("sigma", "omega")
    )
    table, weights = mixture.model.table, mixture.weights[:, None]
    readings = PredictedReadings(
        np.repeat(weights, n, axis=1),
        mean[:, :n],
        variance[:, :n],
        np.sqrt(sigma[:, None] ** 2 + design.readings.least_variance),
        table.reading_dof,
    )
    of_trials = (points, -1, N_EDGES)
    trials = PredictedTrials(
        np.repeat(weights, len(design.trials.internal), axis=1),
        mean[:, n:].reshape(of_trials),
        variance[:, n:].reshape(of_trials),
        omega,
        table.lapse,
    )
    return readings, trials
