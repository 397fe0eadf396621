"""Errors of cross-validation by hand, and which sizes are predicted from what."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from sklearn.dummy import DummyRegressor
from support.plain_mixture import NORMAL, mixture_at, read_spans
from support.synthetic import coupon_design, observed

from coupons.learning.checking import cross_validation, regressors
from coupons.learning.checking.cross_validation import _score_trials, hold_out, reported
from coupons.learning.checking.predictive import PredictedReadings
from coupons.learning.checking.regressors import Yardstick, measure_against


def test_errors_are_their_root_mean_square_and_their_median_size():
    told = regressors._score("so", np.array([-0.03, 0.01, 0.05]))
    assert told == Yardstick("so", pytest.approx(np.sqrt(0.0035 / 3)), 0.03)


def test_eight_features_make_a_yardstick_that_is_each_by_itself_on_readings_alone(monkeypatch):
    """Each way predicts a feature from the others; drawn sizes are predicted as nothing."""
    design = observed(coupon_design(1, ""), 4)
    keep = np.flatnonzero(np.isin(design.readings.size, np.unique(design.readings.size)[:8]))
    few = {name: column[keep] for name, column in vars(design.readings).items()}
    design = replace(design, readings=replace(design.readings, **few))
    seen = []

    def fit_design(read, table):
        seen.append((read, table))
        return SimpleNamespace(mixture=None)

    ours = SimpleNamespace(expected_mm=design.readings.value - 0.02)
    monkeypatch.setattr(regressors, "fit_design", fit_design)
    monkeypatch.setattr(regressors, "predict_left_out", lambda *_: (ours, None))
    monkeypatch.setattr(regressors, "_library", lambda: (("mean", DummyRegressor()),))
    told = measure_against(design, NORMAL)
    assert [one.name for one in told] == ["this model", "mean", "as drawn"]
    assert told[0].rmse_mm == pytest.approx(0.02)
    error_mm = design.readings.value - design.sizes.drawn[design.readings.size]
    left = [error_mm[design.readings.size != at].mean() for at in design.readings.size]
    assert told[1].rmse_mm == pytest.approx(np.sqrt(np.mean((error_mm - left) ** 2)))
    assert told[2].rmse_mm == pytest.approx(np.sqrt(np.mean(error_mm**2)))
    ((read, table),) = seen
    assert (len(read.trials.row), len(read.readings.value), table) == (0, 8, NORMAL)


def test_the_librarys_regressions_find_a_line_and_one_of_them_in_spite_of_a_slip():
    X = np.linspace(-1, 1, 30)[:, None] * [1.0, 0.0] + np.array([0.0, 1.0])
    y = 0.1 + 2 * X[:, 0] + 0.001 * np.cos(40 * X[:, 0])
    y[3] += 5
    (robust, first), (bayesian, second) = regressors._library()
    assert (robust, bayesian) == ("robust regression", "Bayesian regression")
    new = np.array([[0.5, 1.0]])
    assert first.fit(X, y).predict(new) == pytest.approx([1.1], abs=0.01)
    assert second.fit(X, y).predict(new) == pytest.approx([1.1], abs=0.3)
    assert abs(second.predict(new) - 1.1) > 0.02


def test_a_trial_counts_as_inside_by_its_share_in_the_likeliest_grades():
    chances = np.array([[0.0, 0.05, 0.61, 0.3, 0.04], [0.85, 0.10, 0.05, 0.0, 0.0]])
    trials = SimpleNamespace(tightest=np.array([1, 1]), loosest=np.array([2, 1]))
    told = _score_trials(chances, trials)
    # In the first 0.61 + 0.3 make 90 %: of force..push 0.61 in 0.66. The second needs two: 0.95.
    assert (told.count, told.inside) == (2, pytest.approx((0.61 / 0.66 + 1) / 2))
    assert told.expected_inside == pytest.approx((0.91 + 0.95) / 2)
    assert told.exact == 0.5, "push, which was left open; force, where no-go was likelier"
    assert reported(trials).astype(int).tolist() == [[0, 1, 1, 0, 0], [0, 1, 0, 0, 0]]


def test_readings_are_scored_by_their_error_and_their_interval(monkeypatch):
    """A normal of sd 0.02 holds 90 % within ± 0.0329; 0.033 lies outside."""
    off = np.array([0.0, 0.0325, -0.0325, 0.0335, -0.0335])
    one = np.ones((1, 5))
    predicted = PredictedReadings(one, 10 * one, 0.02**2 * one, 1e-9 * one, 4.0)
    design = SimpleNamespace(
        readings=SimpleNamespace(value=10 + off), trials=SimpleNamespace(tightest=np.zeros(0))
    )
    monkeypatch.setattr(cross_validation, "each_feature", lambda _: ())
    monkeypatch.setattr(
        cross_validation, "predict_left_out", lambda *_: (predicted, SimpleNamespace(chances=None))
    )
    told = hold_out(SimpleNamespace(model=SimpleNamespace(design=design)))
    assert told.trials is None
    assert (told.readings.count, told.readings.inside) == (5, pytest.approx(0.6))
    assert told.readings.rmse_mm == pytest.approx(np.sqrt(np.mean(off**2)))
    assert told.readings.median_error_mm == pytest.approx(0.0325)


def test_what_was_not_read_has_no_score():
    design = read_spans(np.random.default_rng(8))
    assert hold_out(mixture_at(design, NORMAL)).trials is None
    tried = observed(coupon_design(1, "A"), 2)
    none = {name: column[:0] for name, column in vars(tried.readings).items()}
    tried = replace(tried, readings=replace(tried.readings, **none))
    told = hold_out(mixture_at(tried, NORMAL))
    assert told.readings is None
    assert told.trials.count == len(tried.trials.row)
