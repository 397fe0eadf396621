"""The estimator against scikit-learn's own linear, Bayesian and robust regressions."""

import numpy as np
import pytest
from sklearn.linear_model import BayesianRidge, HuberRegressor, LinearRegression
from support.synthetic import flat_table

from coupons.learning.estimator import OffsetRegressor

COEF = np.array([0.04, -0.003, 0.12])


def readings(outliers=0, seed=3):
    """Errors of 80 features of 3 to 80 mm: growth, scale and closing, 0.02 mm of scatter."""
    rng = np.random.default_rng(seed)
    drawn = rng.uniform(3, 80, 80)
    X = np.column_stack([2 * np.ones(80), drawn, -10 / drawn])
    y = X @ COEF + 0.02 * rng.normal(size=80)
    y[:outliers] += rng.choice([-1, 1], outliers) * rng.uniform(0.3, 2, outliers)
    return X, y


@pytest.mark.slow
def test_with_normal_readings_and_no_prior_it_is_linear_regression():
    X, y = readings()
    reference = LinearRegression(fit_intercept=False).fit(X, y)
    ours = OffsetRegressor(table=flat_table(wide=1e3)).fit(X, y)
    assert ours.coef_ == pytest.approx(reference.coef_, rel=1e-6)


@pytest.mark.slow
def test_uncertainty_agrees_with_bayesian_regression():
    X, y = readings()
    reference = BayesianRidge(fit_intercept=False).fit(X, y)
    ours = OffsetRegressor(table=flat_table(wide=1e3)).fit(X, y)
    # The reference learns a common width of its prior from three coefficients: a slight pull to 0.
    assert (abs(ours.coef_ - reference.coef_) < 0.5 * ours.coef_sd_).all()
    assert ours.coef_sd_ == pytest.approx(np.sqrt(np.diag(reference.sigma_)), rel=0.1)
    _, std = ours.predict(X, return_std=True)
    _, reference_std = reference.predict(X, return_std=True)
    assert std == pytest.approx(reference_std, rel=0.1)


def test_outliers_move_it_no_more_than_they_move_robust_regression():
    X, y = readings(outliers=6)
    robust = HuberRegressor(fit_intercept=False, alpha=0, max_iter=2000, tol=1e-8).fit(X, y)
    ours = OffsetRegressor().fit(X, y)
    assert ours.coef_ == pytest.approx(robust.coef_, abs=2 * ours.coef_sd_.max())
    assert (abs(ours.coef_ - COEF) < 3 * ours.coef_sd_).all()
    plain = LinearRegression(fit_intercept=False).fit(X, y)
    off_ours, off_plain = (abs(c - COEF) / ours.coef_sd_ for c in (ours.coef_, plain.coef_))
    assert off_ours.max() < 0.5 * off_plain.max()
