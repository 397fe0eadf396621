"""The mode of the latent values, its derivatives and its covariance."""

from dataclasses import replace

import numpy as np
import pytest
from support.synthetic import (
    TYPICAL,
    coupon_design,
    flat_table,
    plain_design,
    with_reports,
)
from support.synthetic import observed as observed_design

from coupons.learning.effects import EFFECTS, THRESHOLDS
from coupons.learning.posterior import laplace
from coupons.learning.posterior.laplace import find_mode
from coupons.learning.posterior.latent import AT_THRESHOLDS, latent_model
from coupons.learning.prior_table import EXTRUSION


def observed(seed, rows="ABCDE", n_runs=1):
    return observed_design(coupon_design(n_runs, rows), seed)


def objective_and_derivatives(model, variance, latent):
    point = laplace._evaluate(model, TYPICAL, variance, latent)
    gradient, hessian = laplace._derivatives(model, TYPICAL, variance, point)
    return point.objective, gradient, dense(hessian)


def dense(matrix):
    """Return a bordered matrix as a whole one."""
    n = len(matrix.core) + len(matrix.alone)
    whole = np.zeros((n, n))
    whole[np.ix_(matrix.core, matrix.core)] = matrix.of_core
    whole[np.ix_(matrix.core, matrix.alone)] = matrix.border
    whole[np.ix_(matrix.alone, matrix.core)] = matrix.border.T
    whole[matrix.alone, matrix.alone] = matrix.diagonal
    return whole


def test_gradient_and_hessian_agree_with_differences():
    design = observed(3, n_runs=2)
    bent = replace(design.readings, gives=-2.0 * design.sizes.drawn[design.readings.size])
    model = latent_model(replace(design, readings=bent), EXTRUSION)
    variance = model.prior_variance(TYPICAL)
    rng = np.random.default_rng(0)
    latent = model.prior_center + 0.1 * rng.normal(size=len(variance)) * np.sqrt(variance)
    _, gradient, hessian = objective_and_derivatives(model, variance, latent)
    h = 1e-6
    for _ in range(20):
        way = rng.normal(size=len(variance)) * np.sqrt(variance)
        up = objective_and_derivatives(model, variance, latent + h * way)
        down = objective_and_derivatives(model, variance, latent - h * way)
        assert gradient @ way == pytest.approx((up[0] - down[0]) / (2 * h), rel=1e-4, abs=1e-4)
        assert hessian @ way == pytest.approx((up[1] - down[1]) / (2 * h), rel=1e-3, abs=1e-2)


def test_the_mode_has_no_slope_and_no_better_neighbour():
    model = latent_model(observed(4), EXTRUSION)
    variance = model.prior_variance(TYPICAL)
    mode = find_mode(model, TYPICAL)
    best, gradient, _ = objective_and_derivatives(model, variance, mode.latent)
    assert np.abs(gradient * np.sqrt(variance)).max() < 1e-4
    rng = np.random.default_rng(1)
    for _ in range(50):
        near = mode.latent + 0.05 * rng.normal(size=len(variance)) * np.sqrt(variance)
        if (np.diff(near[AT_THRESHOLDS]) > 0).all():
            assert laplace._evaluate(model, TYPICAL, variance, near).objective > best


def test_the_start_does_not_matter():
    model = latent_model(observed(5), EXTRUSION)
    from_prior = find_mode(model, TYPICAL)
    start = model.prior_center + 0.02
    assert find_mode(model, TYPICAL, start).latent == pytest.approx(from_prior.latent, abs=1e-7)


def test_with_nothing_but_readings_the_answer_is_the_textbook_ridge():
    # Normal readings, normal prior: the posterior has a closed form to compare with.
    rng = np.random.default_rng(6)
    covariates = rng.normal(size=(40, 3))
    value = covariates @ [0.3, -0.1, 0.2] + 0.05 * rng.normal(size=40)
    table = flat_table(wide=0.5)
    model = latent_model(plain_design(covariates, value=value), table)
    mode = find_mode(model, TYPICAL)
    precision = covariates.T @ covariates / TYPICAL.sigma**2 + np.eye(3) / 0.5**2
    expected = np.linalg.solve(precision, covariates.T @ value / TYPICAL.sigma**2)
    assert mode.latent[:3] == pytest.approx(expected, abs=1e-6)
    assert mode.shared_covariance(3) == pytest.approx(np.linalg.inv(precision), rel=1e-5)


def test_shared_covariance_is_the_corner_of_the_whole():
    mode = find_mode(latent_model(observed(7), EXTRUSION), TYPICAL)
    assert mode.shared_covariance(9) == pytest.approx(mode.covariance[:9, :9], rel=1e-9)


def test_thresholds_stay_in_order_whatever_the_grades_say():
    design = observed(8, rows="B")
    n = len(design.trials.tightest)
    upside_down = with_reports(design, tightest=np.arange(n)[::-1] * 5 // n)
    mode = find_mode(latent_model(upside_down, EXTRUSION), TYPICAL)
    first = len(EFFECTS)
    assert (np.diff(mode.latent[first : first + len(THRESHOLDS)]) > 0).all()
