"""The offset model as a scikit-learn estimator, so that the library's own tools judge it.

Importing this module imports scikit-learn, which takes most of a second: nothing else does.
"""

from dataclasses import replace
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray
from sklearn.base import BaseEstimator, RegressorMixin
from sklearn.utils.validation import check_is_fitted, validate_data

from coupons.errors import FitError
from coupons.learning.design import Design, Readings, Sizes, trials_of
from coupons.learning.effects import EFFECTS, EXTRUSION, Normal, PriorTable
from coupons.learning.fit import fit_design
from coupons.learning.foretold import ForetoldReadings, ForetoldTrials
from coupons.learning.integrate import Mixture
from coupons.learning.latent import N_TERMS, LatentModel, latent_model
from coupons.learning.observation_table import design_from_table, run_numbers
from coupons.learning.slopes import N_EDGES, edge_offset, edge_rows
from coupons.terms import GRADES

Array = NDArray[np.floating]
Indices = NDArray[np.intp]

ROWS = ("observations", "effects")
# So wide that a prior says nothing of what a column may do, in units of y per unit of X.
_ANYTHING = Normal(0.0, 1e3)
# A row of effects is foretold as a size of its own, never as one of those that were fitted.
_NEW = "new "


class OffsetRegressor(RegressorMixin, BaseEstimator):  # type: ignore[misc]  # no type information
    """The offset model behind scikit-learn's interface.

    Parameters
    ----------
    rows : {"observations", "effects"}
        What X holds. *observations*: readings and trials as
        `coupons.learning.observation_table.observation_table` lays them out; rows of one feature
        share its own deviation. *effects*: one reading a row, each of a feature of its own; up to
        12 columns of what each effect contributes, y the error in mm.
    table : PriorTable, optional
        Priors. If not given: those of extrusion for observations, and for effects next to none.

    Attributes
    ----------
    fitted_ : coupons.learning.fit.Fitted
        The whole fit.
    coef_ : ndarray of shape (n_effects,)
        Posterior means of the effects; for rows of effects one a column of X.
    coef_sd_ : ndarray of shape (n_effects,)
        Their standard deviations.
    runs_ : tuple of float
        Numbers of the runs that were fitted.
    n_features_in_ : int
        Number of columns of X.

    Examples
    --------
    >>> import numpy as np
    >>> drawn = np.array([[5.0], [10.0], [20.0], [40.0], [80.0]])
    >>> error = np.array([-0.02, -0.03, -0.06, -0.12, -0.24])
    >>> OffsetRegressor(rows="effects").fit(drawn, error).coef_.round(3)
    array([-0.003])
    """

    def __init__(self, *, rows: str = "observations", table: PriorTable | None = None) -> None:
        self.rows = rows
        self.table = table

    def fit(self, X: Any, y: Any) -> Self:
        """Fit the model.

        Parameters
        ----------
        X : array-like of shape (n_observations, n_columns)
        y : array-like of shape (n_observations,)
            Sizes or errors in mm; for a trial the rank of the tightest grade, 0 no-go … 4 loose.

        Returns
        -------
        self

        Raises
        ------
        FitError
            If X does not hold what ``rows`` says.
        """
        X, y = validate_data(self, X, y, dtype=float, y_numeric=True)
        self.runs_ = run_numbers(X) if self.rows == "observations" else (0.0,)
        self.fitted_ = fit_design(self._design(X, y, self.runs_, ""), self._priors())
        count = len(EFFECTS) if self.rows == "observations" else X.shape[1]
        self.coef_ = self.fitted_.mean[:count]
        self.coef_sd_ = np.sqrt(np.diag(self.fitted_.covariance)[:count])
        return self

    def predict(self, X: Any, return_std: bool = False) -> Array | tuple[Array, Array]:
        """Foretell observations.

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
        readings, trials, is_trial = self._foretell(X)
        ranks = np.arange(len(GRADES))
        mean, std = np.empty(len(is_trial)), np.empty(len(is_trial))
        mean[~is_trial], std[~is_trial] = readings.expected_mm, readings.sd_mm
        mean[is_trial] = trials.chances @ ranks
        std[is_trial] = np.sqrt(trials.chances @ ranks**2 - mean[is_trial] ** 2)
        return (mean, std) if return_std else mean

    def predict_grades(self, X: Any) -> Array:
        """Foretell the chance of each grade.

        Parameters
        ----------
        X : array-like of shape (n_observations, n_columns)

        Returns
        -------
        ndarray of shape (n_observations, 5)
            From no-go to loose; nan for a reading, which has no grade.
        """
        _, trials, is_trial = self._foretell(X)
        chances = np.full((len(is_trial), len(GRADES)), np.nan)
        chances[is_trial] = trials.chances
        return chances

    def _priors(self) -> PriorTable:
        if self.table is not None:
            return self.table
        if self.rows == "observations":
            return EXTRUSION
        return replace(EXTRUSION, effects=dict.fromkeys(EFFECTS, _ANYTHING))

    def _design(self, X: Array, y: Array, runs: tuple[float, ...], key: str) -> Design:
        if self.rows == "observations":
            return design_from_table(X, y, runs)
        if self.rows == "effects":
            return _effects_design(X, y, key)
        raise FitError(f"rows must be one of {', '.join(ROWS)}. Got {self.rows!r} instead.")

    def _foretell(self, X: Any) -> tuple[ForetoldReadings, ForetoldTrials, NDArray[np.bool_]]:
        check_is_fitted(self)
        X = validate_data(self, X, dtype=float, reset=False)
        runs = run_numbers(X, self.runs_) if self.rows == "observations" else self.runs_
        design = self._design(X, np.zeros(len(X)), runs, _NEW)
        is_trial = np.zeros(len(X), bool)
        is_trial[design.trials.row] = True
        return (*foretell_new(self.fitted_.mixture, design), is_trial)


def _effects_design(X: Array, y: Array, key: str) -> Design:
    """Make one reading a row, of a size that is drawn 0 and misses it by y."""
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
    readings = Readings(each, y, np.zeros((n, len(EFFECTS))), no_jaws, nothing, each)
    return Design(sizes, readings, trials_of([]), 1)


def foretell_new(mixture: Mixture, design: Design) -> tuple[ForetoldReadings, ForetoldTrials]:
    """Foretell the observations of a design from a fit to another one.

    Parameters
    ----------
    mixture : Mixture
        The fit. Sizes and runs that it shares with the design, by their keys, keep what was learned
        of them; all others are new.
    design : Design
        Its values and grades are not looked at.
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
) -> tuple[ForetoldReadings, ForetoldTrials]:
    """Part the moments of edges into those of readings and those of trials."""
    n, points = len(design.readings.size), len(mixture.modes)
    sigma, omega = (
        np.array([getattr(s, name) for s in mixture.scatters]) for name in ("sigma", "omega")
    )
    table, weights = mixture.model.table, mixture.weights[:, None]
    readings = ForetoldReadings(
        np.repeat(weights, n, axis=1),
        mean[:, :n],
        variance[:, :n],
        np.sqrt(sigma[:, None] ** 2 + design.readings.resolution**2 / 12),
        table.reading_dof,
    )
    of_trials = (points, -1, N_EDGES)
    trials = ForetoldTrials(
        np.repeat(weights, len(design.trials.internal), axis=1),
        mean[:, n:].reshape(of_trials),
        variance[:, n:].reshape(of_trials),
        omega,
        table.lapse,
    )
    return readings, trials
