"""Values against other formulas, derivatives against finite differences."""

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import quad
from scipy.special import log_ndtr

from coupons.learning.posterior.likelihood import log_interval, reading_terms, trial_terms


def difference(function, at, h=1e-6):
    return (function(at + h) - function(at - h)) / (2 * h)


RESIDUALS = np.array([-3.0, -0.2, -0.01, 0.0, 0.004, 0.05, 1.0])


def test_readings_agree_with_a_library_student_t():
    scale = np.full(RESIDUALS.shape, 0.02)
    expected = stats.t.logpdf(RESIDUALS, 4, scale=0.02)
    assert reading_terms(RESIDUALS, scale, 4.0).value == pytest.approx(expected, abs=1e-12)


def test_reading_derivatives_by_the_predicted_size():
    scale = np.full(RESIDUALS.shape, 0.02)
    terms = reading_terms(RESIDUALS, scale, 4.0)
    # A larger predicted size makes the residual smaller, hence the minus.
    gradient = -difference(lambda r: reading_terms(r, scale, 4.0).value, RESIDUALS)
    curvature = difference(lambda r: reading_terms(r, scale, 4.0).gradient, RESIDUALS)
    assert terms.gradient == pytest.approx(gradient, rel=1e-5, abs=1e-5)
    assert terms.curvature == pytest.approx(curvature, rel=1e-5, abs=1e-3)
    assert (terms.curvature < 0).any()  # wild readings are not concave


INTERVALS = [(1.0, -1.0), (0.5, 0.4), (np.inf, 2.0), (-3.0, -np.inf), (9.0, 8.5), (-8.5, -9.0)]


@pytest.mark.parametrize(("high", "low"), INTERVALS)
def test_log_interval_agrees_with_quadrature(high, low):
    mass, _ = quad(stats.norm.pdf, low, high, epsabs=0, epsrel=1e-10)
    assert log_interval(np.array([high]), np.array([low]))[0] == pytest.approx(
        np.log(mass), rel=1e-7
    )


def test_log_interval_keeps_its_digits_far_out():
    # Φ(−30) − Φ(−31) is 1e-198: the difference of logs must not be lost to rounding.
    expected = log_ndtr(-30.0) + np.log1p(-np.exp(log_ndtr(-31.0) - log_ndtr(-30.0)))
    assert log_interval(np.array([31.0]), np.array([30.0]))[0] == pytest.approx(expected, rel=1e-14)


LOWER = np.array([0.3, 2.5, -4.0, np.inf, 6.0, 1.0])
UPPER = np.array([-0.9, 2.1, -7.0, 0.2, -np.inf, -np.inf])
IN_SET = np.array([1.0, 1.0, 2.0, 1.0, 3.0, 1.0])


@pytest.mark.parametrize("lapse", [0.0, 0.02])
def test_trial_derivatives(lapse):
    def at(lower, upper):
        return trial_terms(lower, upper, IN_SET, lapse)

    terms = at(LOWER, UPPER)
    has_lower, has_upper = np.isfinite(LOWER), np.isfinite(UPPER)
    by_lower = difference(lambda z: at(z, UPPER).value, LOWER)[has_lower]
    by_upper = difference(lambda z: at(LOWER, z).value, UPPER)[has_upper]
    assert terms.gradient_lower[has_lower] == pytest.approx(by_lower, rel=1e-5, abs=1e-7)
    assert terms.gradient_upper[has_upper] == pytest.approx(by_upper, rel=1e-5, abs=1e-7)
    twice_lower = -difference(lambda z: at(z, UPPER).gradient_lower, LOWER)[has_lower]
    twice_upper = -difference(lambda z: at(LOWER, z).gradient_upper, UPPER)[has_upper]
    cross = -difference(lambda z: at(z, UPPER).gradient_upper, LOWER)[has_lower & has_upper]
    assert terms.curvature_lower[has_lower] == pytest.approx(twice_lower, rel=1e-5, abs=1e-6)
    assert terms.curvature_upper[has_upper] == pytest.approx(twice_upper, rel=1e-5, abs=1e-6)
    assert terms.curvature_cross[has_lower & has_upper] == pytest.approx(cross, rel=1e-5, abs=1e-6)
    assert (terms.gradient_lower[~has_lower] == 0).all()
    assert (terms.gradient_upper[~has_upper] == 0).all()


def test_chances_of_all_grades_add_up_to_one():
    cuts = np.array([np.inf, 1.2, 0.3, -0.4, -2.0, -np.inf])
    total = sum(
        np.exp(trial_terms(cuts[k : k + 1], cuts[k + 1 : k + 2], np.ones(1), 0.02).value[0])
        for k in range(5)
    )
    assert total == pytest.approx(1.0, abs=1e-12)
