"""The fit on a published table of printed holes.

Eight holes of 3 to 10 mm; values and source in hole_closing_published.csv, whose least-squares
line in 1/d is about 0.013 − 1.232/d (computed from the table, not printed by its author).
"""

import csv
from pathlib import Path

import numpy as np
import pytest
from support.synthetic import Builder, flat_table, plain_design, small_scatters, with_reports

from coupons.learning.checking.cross_validation import hold_out
from coupons.learning.effects import EFFECTS, effect_rows
from coupons.learning.fit import fit_design
from coupons.learning.posterior.laplace import find_mode
from coupons.learning.posterior.latent import latent_model
from coupons.terms import Direction, Feature, Form

TABLE = Path(__file__).with_name("hole_closing_published.csv")


def published():
    lines = TABLE.read_text(encoding="utf-8").splitlines()
    numbers = [line for line in lines if not line.startswith(("#", "nominal"))]
    return np.array([tuple(map(float, row)) for row in csv.reader(numbers)]).T


def fitted_to(drawn, error):
    build = Builder()
    build.readings += [
        build.size(0, f"A{k}", Feature(Form.HOLE, d, Direction.Z)) for k, d in enumerate(drawn)
    ]
    return fit_design(with_reports(build.design(), value=drawn + error))


@pytest.fixture(scope="module")
def fitted():
    return fitted_to(*published())


def curve(fitted, sizes):
    """Posterior mean and sd of the error of vertical holes."""
    rows = effect_rows(Feature(Form.HOLE, 5.0, Direction.Z), sizes)
    n = len(EFFECTS)
    mean = rows @ fitted.mean[:n]
    return mean, np.sqrt(np.einsum("ij,jk,ik->i", rows, fitted.covariance[:n, :n], rows))


def test_without_priors_it_is_the_least_squares_line():
    drawn, error = published()
    design = plain_design(np.column_stack([np.ones(8), 1 / drawn]), value=error)
    scatters = small_scatters(sigma=0.02, omega=1.0)
    intercept, slope = find_mode(latent_model(design, flat_table(wide=1e4)), scatters).latent[:2]
    expected = np.polyfit(1 / drawn, error, 1)
    assert (slope, intercept) == pytest.approx(tuple(expected), abs=1e-6)
    assert (slope, intercept) == pytest.approx((-1.232, 0.013), abs=2e-3)


def test_the_table_is_fitted_to_two_hundredths(fitted):
    drawn, error = published()
    mean, _ = curve(fitted, drawn)
    assert np.sqrt(np.mean((error - mean) ** 2)) < 0.02


def test_the_posterior_agrees_with_the_line_within_its_own_uncertainty(fitted):
    sizes = np.array([3.0, 3.5, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0])
    mean, sd = curve(fitted, sizes)
    line = 0.013 - 1.232 / sizes
    assert (abs(mean - line) < 2 * sd).all()
    assert sd.max() < 0.05


def test_the_closing_is_told_from_a_constant_offset(fitted):
    at = EFFECTS.index("curl_int")
    mean, sd = fitted.mean[at], np.sqrt(fitted.covariance[at, at])
    assert mean > 3 * sd
    assert abs(10 * mean - 1.232) < 2 * 10 * sd


def test_each_hole_is_predicted_from_the_others(fitted):
    score = hold_out(fitted.mixture).readings
    assert score.rmse_mm < 0.06
    assert score.inside >= 7 / 8


def test_the_smallest_holes_are_predicted_from_the_larger_ones():
    """Holes of 3 and 4 mm from those of 5 to 10: each in the 90 % interval of one such hole."""
    drawn, error = published()
    small = drawn < 5
    found = fitted_to(drawn[~small], error[~small])
    mean, sd = curve(found, drawn[small])
    logs = [found.mixture.log_sd_moments(name) for name in ("tau", "sigma")]
    of_one_reading = sum(np.exp(2 * (mean_log + sd_log**2)) for mean_log, sd_log in logs)
    half_width = 1.645 * np.sqrt(sd**2 + of_one_reading)
    assert (abs(error[small] - mean) < half_width).all()
    # An interval that holds everything says nothing: a constant offset, which the larger holes
    # have on average, lies outside of it at 3 mm.
    constant = error[~small].mean()
    assert abs(constant - mean[0]) > half_width[0]
