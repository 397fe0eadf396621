"""Certified straight lines: where readings are normal and priors flat, ours is least squares.

Sources: NIST Statistical Reference Datasets, Norris (certified values to 15 digits), and JCGM 100
(GUM) example H.3, the calibration of a thermometer: −0.1712(29), 0.00218(67), at 30 °C −0.1494(41).
The eleven H.3 readings are from memory; they reproduce the printed results to every digit.
"""

import numpy as np
import pytest
from support.synthetic import flat_table, plain_design, small_scatters

from coupons.learning.posterior.laplace import find_mode
from coupons.learning.posterior.latent import latent_model

# fmt: off
NORRIS_Y = np.array([
    0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8,
    339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5,
    778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2])
NORRIS_X = np.array([
    0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5,
    666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2,
    999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5])
GUM_T = np.array([
    21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
GUM_B = np.array([
    -0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160])
# fmt: on


def line(x, y, sd):
    """Intercept and slope with their covariance, by the latent model with flat priors."""
    design = plain_design(np.column_stack([np.ones(len(x)), x]), value=y)
    scatters = small_scatters(sigma=sd, omega=1.0)
    mode = find_mode(latent_model(design, flat_table(wide=1e8)), scatters)
    return mode.latent[:2], mode.shared_covariance(2)


def agreeing_digits(got, certified):
    return -np.log10(abs(got - certified) / abs(certified))


def test_norris_to_nine_digits():
    (intercept, slope), covariance = line(NORRIS_X, NORRIS_Y, 0.884796396144373)
    assert agreeing_digits(intercept, -0.262323073774029) >= 9
    assert agreeing_digits(slope, 1.00211681802045) >= 9
    se = np.sqrt(np.diag(covariance))
    assert agreeing_digits(se[0], 0.232818234301152) >= 6
    assert agreeing_digits(se[1], 0.000429796848199937) >= 6


def test_gum_thermometer_correction():
    t = GUM_T - 20.0
    (y1, y2), _ = line(t, GUM_B, 0.0035)
    residual_sd = np.sqrt(np.sum((GUM_B - y1 - y2 * t) ** 2) / 9)
    (y1, y2), covariance = line(t, GUM_B, residual_sd)
    assert (round(y1, 4), round(y2, 5)) == (-0.1712, 0.00218)
    assert np.round(np.sqrt(np.diag(covariance)), 5) == pytest.approx([0.0029, 0.00067], abs=6e-5)
    at_30 = np.array([1.0, 10.0])
    assert round(float(at_30 @ [y1, y2]), 4) == -0.1494
    assert round(float(np.sqrt(at_30 @ covariance @ at_30)), 4) == 0.0041
