"""The estimator keeps scikit-learn's contract, and agrees with the fit that it wraps.

`OffsetRegressor` passes every one of the library's own checks. `ObservationModel` passes those that
ask nothing of X; the others feed made-up numbers where codes are asked for (kind, form, direction),
which is refused. What they check is checked below on a real table.
"""

import os
import pickle
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from sklearn.base import clone
from sklearn.model_selection import GroupKFold, cross_val_predict, cross_val_score
from sklearn.utils import estimator_checks
from sklearn.utils.estimator_checks import parametrize_with_checks
from support.rehearsed import rehearsed_run

from coupons.errors import FitError
from coupons.learning.checking.downdate import each_feature, predict_left_out
from coupons.learning.checking.regressors import effect_table
from coupons.learning.design import design_of
from coupons.learning.effects import EFFECTS
from coupons.learning.estimator import ObservationModel, OffsetRegressor, reading_table
from coupons.learning.fit import fit_runs
from coupons.learning.observation_table import COLUMNS, observation_table
from coupons.learning.prior_table import EXTRUSION, NormalPrior


def needs_array_api(check):
    return check.func.__name__ == "check_array_api_input"


def checked_with_array_api(estimator, check):
    """Run a check where scipy takes arrays of other libraries, which it asks when it is imported.

    It makes every function of `scipy.special` look at its arguments first, so no other test has it.
    """
    code = "import pickle, sys; check, estimator = pickle.load(sys.stdin.buffer); check(estimator)"
    subprocess.run(
        [sys.executable, "-W", "error", "-c", code],
        input=pickle.dumps((check, estimator)),
        env=os.environ | {"SCIPY_ARRAY_API": "1"},
        check=True,
    )


@pytest.mark.slow
@parametrize_with_checks([OffsetRegressor()])
def test_the_librarys_own_checks(estimator, check):
    if needs_array_api(check):
        checked_with_array_api(estimator, check)
    else:
        check(estimator)


WITHOUT_TABLE = [
    "check_estimator_cloneable",
    "check_estimator_repr",
    "check_estimator_tags_renamed",
    "check_get_params_invariance",
    "check_no_attributes_set_in_init",
    "check_parameters_default_constructible",
    "check_set_params",
    "check_valid_tag_types",
]


@pytest.mark.parametrize("name", WITHOUT_TABLE)
def test_the_librarys_checks_that_ask_nothing_of_the_table(name):
    model = ObservationModel()
    getattr(estimator_checks, name)(type(model).__name__, model)


@pytest.fixture(scope="module")
def runs():
    return [rehearsed_run(3, "bench-2"), rehearsed_run(4, "bench-2", folder="run-b")]


@pytest.fixture(scope="module")
def table(runs):
    return observation_table(runs[:1])


@pytest.fixture(scope="module")
def fitted(table):
    X, y, _ = table
    return ObservationModel().fit(X, y)


def test_it_is_the_same_fit(runs, fitted):
    direct = fit_runs(runs[:1])
    assert fitted.fitted_.mean == pytest.approx(direct.mean, abs=1e-9)
    assert fitted.fitted_.covariance == pytest.approx(direct.covariance, abs=1e-12)
    assert fitted.coef_ == pytest.approx(direct.mean[: len(EFFECTS)], abs=1e-9)


@pytest.mark.slow
def test_several_runs_are_the_same_fit_too(runs):
    X, y, _ = observation_table(runs)
    ours = ObservationModel().fit(X, y).fitted_
    assert ours.mean == pytest.approx(fit_runs(runs).mean, abs=1e-9)


@pytest.mark.slow
def test_prediction_leaves_out_a_feature_as_the_quick_way_does(runs, table):
    X, y, groups = table
    quick, _ = predict_left_out(fit_runs(runs[:1]).mixture, each_feature(design_of(runs[:1])))
    off = []
    for at in (2, 5, 20, 40, 50):
        held = groups == groups[at]
        mean, std = ObservationModel().fit(X[~held], y[~held]).predict(X[held], return_std=True)
        told = np.flatnonzero(held).tolist().index(at)
        off.append(abs(mean[told] - quick.expected_mm[at]) / std[told])
        assert std[told] == pytest.approx(quick.sd_mm[at], rel=0.15)
    assert np.median(off) <= 0.1
    assert max(off) <= 0.4


@pytest.mark.slow
def test_cross_validation_by_feature_is_the_librarys(table):
    X, y, groups = table
    read = X[:, COLUMNS.index("kind")] == 0
    told = cross_val_predict(ObservationModel(), X, y, groups=groups, cv=GroupKFold(5))
    error = (told - y)[read]
    as_drawn = (X[:, COLUMNS.index("drawn_mm")] - y)[read]
    assert np.sqrt(np.mean(error**2)) < 0.6 * np.sqrt(np.mean(as_drawn**2))


def test_what_was_fitted_is_predicted_better_than_a_new_feature(table, fitted):
    X, _, _ = table
    new = X.copy()
    new[:, COLUMNS.index("feature")] += 10_000
    _, std = fitted.predict(X, return_std=True)
    _, std_new = fitted.predict(new, return_std=True)
    read = X[:, COLUMNS.index("kind")] == 0
    assert (std_new[read] > std[read]).mean() > 0.9


def test_another_print_is_predicted_less_well(table, fitted):
    X, _, _ = table
    read = X[:, COLUMNS.index("kind")] == 0
    other = X[read].copy()
    other[:, COLUMNS.index("feature")] += 10_000
    _, std = fitted.predict(other, return_std=True)
    other[:, COLUMNS.index("run")] = 7
    _, std_other = fitted.predict(other, return_std=True)
    assert (std_other > std).all()


def test_grades_have_chances_and_readings_none(table, fitted):
    X, y, _ = table
    chances = fitted.predict_grades(X)
    tried = X[:, COLUMNS.index("kind")] == 1
    assert np.isnan(chances[~tried]).all()
    assert chances[tried].sum(axis=1) == pytest.approx(np.ones(tried.sum()))
    assert (chances[tried].argmax(axis=1) == y[tried]).mean() > 0.7
    assert fitted.predict(X)[tried] == pytest.approx(chances[tried] @ np.arange(5))


@pytest.mark.slow
def test_order_and_subsets_do_not_matter(table, fitted):
    X, y, _ = table
    order = np.random.default_rng(1).permutation(len(X))
    shuffled = ObservationModel().fit(X[order], y[order])
    # Sums in another order: a hundredth of a micron.
    assert shuffled.predict(X) == pytest.approx(fitted.predict(X), abs=1e-5)
    assert fitted.predict(X[::3]) == pytest.approx(fitted.predict(X)[::3], abs=1e-12)


@pytest.mark.slow
def test_cloned_pickled_and_fitted_again_it_is_the_same(table, fitted):
    X, y, _ = table
    again = clone(fitted).fit(X, y)
    assert again.predict(X) == pytest.approx(fitted.predict(X), abs=1e-12)
    copy = pickle.loads(pickle.dumps(fitted))
    assert (copy.predict(X) == fitted.predict(X)).all()


def test_the_librarys_parameters_are_stored_and_nothing_else():
    for regressor in (OffsetRegressor(table=EXTRUSION), ObservationModel(table=EXTRUSION)):
        assert regressor.get_params() == {"table": EXTRUSION}
        assert vars(regressor) == regressor.get_params()


def test_effects_with_the_printers_priors_are_the_fit_of_the_readings(runs):
    X, error_mm, _ = effect_table(design_of(runs[:1]))
    flat = OffsetRegressor().fit(X, error_mm)
    least_squares = np.linalg.lstsq(X, error_mm)[0]
    assert abs(flat.coef_ - least_squares).max() < 4 * flat.coef_sd_.max()


@pytest.mark.slow
def test_the_score_is_the_mean_log_chance_of_what_was_observed(table, fitted):
    X, y, _ = table
    read = X[:, COLUMNS.index("kind")] == 0
    # Over all that the caliper can show the chances add up to one, with the expected reading.
    at = np.flatnonzero(read)[5]
    assert X[at, COLUMNS.index("resolution_mm")] == 0.01
    shown = np.round(y[at] + 0.01 * np.arange(-150, 151), 2)
    chance = np.exp([fitted.score(X[at : at + 1], [value]) for value in shown])
    assert chance.sum() == pytest.approx(1, abs=1e-3)
    assert chance @ shown == pytest.approx(fitted.predict(X[at : at + 1])[0], abs=2e-3)
    tried = np.flatnonzero(~read)
    X = X.copy()
    X[tried[:20], COLUMNS.index("width")] = 2  # as from people who leave three grades open
    chances = fitted.predict_grades(X[tried])
    width = X[tried, COLUMNS.index("width")].astype(int)
    told = [
        row[int(rank) : int(rank) + left + 1].sum()
        for row, rank, left in zip(chances, y[tried], width, strict=True)
    ]
    assert fitted.score(X[tried], y[tried]) == pytest.approx(np.log(told).mean())
    share = read.mean()
    parts = share * fitted.score(X[read], y[read]) + (1 - share) * np.log(told).mean()
    assert fitted.score(X, y) == pytest.approx(parts)


def test_a_wrong_observation_scores_worse(table, fitted):
    X, y, _ = table
    wrong = y.copy()
    wrong[0] += 0.3
    assert fitted.score(X, wrong) < fitted.score(X, y)
    tried = np.flatnonzero(X[:, COLUMNS.index("kind")] == 1)[0]
    wrong = y.copy()
    wrong[tried] = 4 - wrong[tried] if wrong[tried] != 2 else 0
    assert fitted.score(X, wrong) < fitted.score(X, y)


def test_the_priors_that_are_given_are_used(runs):
    X, error_mm, _ = reading_table(runs[:1])
    tight = replace(EXTRUSION, effects=dict.fromkeys(EFFECTS, NormalPrior(0.0, 1e-9)))
    assert abs(OffsetRegressor(table=tight).fit(X, error_mm).coef_).max() < 1e-6
    assert abs(OffsetRegressor().fit(X, error_mm).coef_).max() > 1e-3


@pytest.mark.slow
def test_cross_validation_by_feature_beats_the_drawn_size(runs):
    X, error_mm, feature = reading_table(runs[:1])
    folds = {"groups": feature, "cv": GroupKFold(5), "scoring": "neg_root_mean_squared_error"}
    rms_mm = -cross_val_score(OffsetRegressor(), X, error_mm, **folds)
    assert len(X) == len(runs[0].sizes)
    assert len(set(feature)) < len(feature)  # round features are read twice
    assert np.sqrt(np.mean(rms_mm**2)) < 0.6 * np.sqrt(np.mean(error_mm**2))


@pytest.mark.parametrize(
    ("column", "value", "message"),
    [
        ("kind", 2, "Column kind of X must hold whole numbers from 0 to 1. Got 2 instead."),
        ("form", 1.5, "Column form of X must hold whole numbers from 0 to 3. Got 1.5 instead."),
        ("direction", -1, "Column direction of X must hold whole numbers from 0 to 4."),
        ("width", 9, "Column width of X must hold whole numbers from 0 to 4."),
    ],
)
def test_codes_that_are_none_are_refused(table, column, value, message):
    X, y, _ = table
    wrong = X.copy()
    wrong[3, COLUMNS.index(column)] = value
    with pytest.raises(FitError) as error:
        ObservationModel().fit(wrong, y)
    assert message in str(error.value)


@pytest.mark.parametrize(
    ("estimator", "columns", "message"),
    [
        (ObservationModel(), 3, "X must have the 23 columns kind, run"),
    ],
)
def test_tables_of_another_shape_are_refused(estimator, columns, message):
    with pytest.raises(FitError) as error:
        estimator.fit(np.ones((4, columns)), np.ones(4))
    assert message in str(error.value)
