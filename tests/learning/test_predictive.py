"""What a fit predicts of one reading and one trial."""

import numpy as np
import pytest
from scipy import stats

from coupons.learning.checking.predictive import PredictedReadings, PredictedTrials


def one_reading(mean=10.0, sd=0.02, scale=0.015, dof=4.0):
    one = np.ones((1, 1))
    return PredictedReadings(one, mean * one, sd**2 * one, scale * one, dof)


@pytest.mark.parametrize("at", [9.9, 9.97, 10.0, 10.01, 10.05, 10.2])
def test_a_size_known_exactly_leaves_the_calipers_student_t(at):
    got = one_reading(sd=0.0).chance_below(np.array([at]))[0]
    assert got == pytest.approx(stats.t.cdf((at - 10) / 0.015, 4), abs=2e-3)


def test_an_exact_caliper_leaves_a_normal():
    got = one_reading(scale=1e-9).chance_below(np.array([10.03]))[0]
    assert got == pytest.approx(stats.norm.cdf(1.5), abs=1e-6)


def test_moments_and_quantiles_agree_with_draws():
    rng = np.random.default_rng(1)
    weights = np.array([[0.3], [0.7]])
    two = PredictedReadings(
        weights,
        np.array([[10.0], [10.05]]),
        np.array([[0.02**2], [0.01**2]]),
        np.array([[0.01], [0.02]]),
        4.0,
    )
    which = rng.random(400_000) > 0.3
    draws = np.where(which, 10.05, 10.0) + np.where(which, 0.01, 0.02) * rng.normal(size=400_000)
    draws += np.where(which, 0.02, 0.01) * rng.standard_t(4, 400_000)
    assert two.expected_mm[0] == pytest.approx(draws.mean(), abs=2e-4)
    assert two.sd_mm[0] == pytest.approx(draws.std(), rel=0.02)
    for chance in (0.05, 0.5, 0.95):
        assert two.quantile_mm(chance)[0] == pytest.approx(np.quantile(draws, chance), abs=3e-4)


def test_chances_of_grades_are_areas_under_the_normal():
    margins = np.array([[[0.3, 0.2, 0.05, -0.1]]])
    told = PredictedTrials(
        np.ones((1, 1)), margins, np.full((1, 1, 4), 0.03**2), np.array([0.04]), 0.02
    )
    reached = stats.norm.cdf(margins[0, 0] / 0.05)
    by_hand = -np.diff([1.0, *reached, 0.0])
    assert told.chances[0] == pytest.approx(0.98 * by_hand + 0.004, abs=1e-9)
    assert told.chances.sum() == pytest.approx(1.0)
