"""One observation at a time: its moments against numerical integration over what is not known."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm
from scipy.stats import t as student
from support.synthetic import TYPICAL

from coupons.learning.effects import TERMS, THRESHOLDS, prior_mean, prior_sd
from coupons.learning.posterior.latent import AT_THRESHOLDS
from coupons.learning.posterior.stepwise import (
    NormalPosterior,
    after_reading,
    after_trial,
    expected_after,
    falls_by_readings,
    falls_by_trials,
    in_order,
    noise_of,
    told_by_reading,
    told_by_trial,
)
from coupons.learning.prior_table import EXTRUSION

N = len(TERMS)
NOISE = noise_of(TYPICAL, EXTRUSION, 0.01)
GAP_MM = 0.12


@pytest.fixture
def now():
    """Something in which every value hangs together with every other."""
    rng = np.random.default_rng(3)
    spread = rng.normal(size=(N, N)) * 0.02
    mean, covariance = in_order(prior_mean(), np.diag(prior_sd() ** 2) + spread @ spread.T)
    return NormalPosterior(mean, covariance)


@pytest.fixture
def clearance():
    row = np.zeros(N)
    row[TERMS.index("growth_int")] = -2
    row[TERMS.index("growth_ext")] = -2
    return row


def moments(weights, draws):
    mean = weights @ draws / weights.sum()
    apart = draws - mean
    return mean, (weights * apart.T) @ apart / weights.sum()


def drawn(now, count=100_000):
    return np.random.default_rng(1).multivariate_normal(now.mean, now.covariance, count)


def over(values, threshold):
    z = (values - threshold) / np.sqrt(NOISE.judged_mm2)
    return (1 - NOISE.lapse) * norm.cdf(z) + NOISE.lapse * (4 - np.arange(4))[:, None] / 5


def test_a_grade_at_the_end_of_the_scale_has_its_exact_moments(now, clearance):
    """Only one threshold bounds it. Of 100,000 draws a tenth count: sd 0.01 of a mean's sd."""
    draws = drawn(now)
    felt = GAP_MM + draws @ clearance
    loose = over(felt, draws[:, AT_THRESHOLDS].T)[3]
    mean, covariance = moments(loose, draws)
    found = after_trial(now, clearance, GAP_MM, (4, 4), NOISE)
    sd = np.sqrt(np.diag(covariance))
    assert np.all(abs(found.mean - mean) < 0.04 * sd)
    assert np.allclose(np.sqrt(np.diag(found.covariance)), sd, rtol=0.03)


def test_every_grade_moves_the_clearance_to_where_it_belongs(now, clearance):
    means = [
        GAP_MM + clearance @ after_trial(now, clearance, GAP_MM, (k, k), NOISE).mean
        for k in range(5)
    ]
    assert np.all(np.diff(means) > 0)
    go = GAP_MM + clearance @ after_trial(now, clearance, GAP_MM, (2, 4), NOISE).mean
    assert means[1] < go < means[4]


def test_no_run_of_grades_spoils_the_covariance(now, clearance):
    rng = np.random.default_rng(5)
    for _ in range(200):
        low, high = np.sort(rng.integers(0, 5, 2))
        now = after_trial(now, clearance, rng.uniform(-0.2, 0.8), (int(low), int(high)), NOISE)
    assert np.linalg.eigvalsh(now.covariance)[0] > 0


@pytest.mark.parametrize("miss_mm", [-0.03, 0.1, 0.5])
def test_a_reading_has_the_moments_of_the_student_t(miss_mm):
    now = NormalPosterior(np.array([0.0]), np.array([[0.05**2]]))
    at = np.linspace(-1, 1, 400_001)
    scale = np.sqrt(TYPICAL.sigma**2 + 0.01**2 / 12)
    weights = norm.pdf(at, 0, 0.05) * student.pdf((miss_mm - at) / scale, EXTRUSION.reading_dof)
    mean, variance = moments(weights, at[:, None])
    found = after_reading(now, np.ones(1), miss_mm, NOISE)
    assert found.mean[0] == pytest.approx(mean[0], abs=0.03 * np.sqrt(variance[0, 0]))
    assert found.covariance[0, 0] == pytest.approx(variance[0, 0], rel=0.06)


def test_a_mistyped_reading_hardly_moves_anything():
    now = NormalPosterior(np.array([0.0]), np.array([[0.05**2]]))
    found = after_reading(now, np.ones(1), 10.0, NOISE)
    assert abs(found.mean[0]) < 0.01


def test_the_expected_fall_is_the_average_over_what_may_be_found(now, clearance):
    """The exact average over the five grades; the two sides of a grade are not independent."""
    wanted = np.stack([clearance, np.eye(N)[TERMS.index("growth_int")]])
    before = np.einsum("wi,ij,wj->w", wanted, now.covariance, wanted)
    draws = drawn(now)
    sides = over(GAP_MM + draws @ clearance, draws[:, AT_THRESHOLDS].T).mean(axis=1)
    chances = -np.diff([1.0, *sides, 0.0])
    after = [
        np.einsum("wi,ij,wj->w", wanted, later.covariance, wanted)
        for later in (after_trial(now, clearance, GAP_MM, (k, k), NOISE) for k in range(5))
    ]
    average = before - chances @ np.array(after)
    found = falls_by_trials(now, clearance[None], np.array([GAP_MM]), wanted, NOISE)[0]
    assert np.allclose(found, average, rtol=0.15)


def test_the_fall_is_what_the_expected_normal_has(now, clearance):
    wanted = np.stack([clearance, np.eye(N)[AT_THRESHOLDS.start + 2]])
    for told, fall in (
        (
            told_by_trial(now, clearance, GAP_MM, NOISE),
            falls_by_trials(now, clearance[None], np.array([GAP_MM]), wanted, NOISE)[0],
        ),
        (
            told_by_reading(now, clearance, NOISE),
            falls_by_readings(now, clearance[None], wanted, NOISE)[0],
        ),
    ):
        lower = now.covariance - expected_after(now, told).covariance
        assert np.allclose(np.einsum("wi,ij,wj->w", wanted, lower, wanted), fall)


def test_thresholds_told_to_rise_have_the_moments_of_those_that_do():
    draws = np.random.default_rng(2).normal(prior_mean(), prior_sd(), (200_000, N))
    rising = np.all(np.diff(draws[:, AT_THRESHOLDS]) > 0, axis=1)
    kept = draws[rising][:, AT_THRESHOLDS]
    mean, covariance = in_order(prior_mean(), np.diag(prior_sd() ** 2))
    assert np.allclose(mean[AT_THRESHOLDS], kept.mean(axis=0), atol=0.006)
    sds = np.sqrt(np.diag(covariance)[AT_THRESHOLDS])
    assert np.allclose(sds, kept.std(axis=0), rtol=0.06)
    assert len(THRESHOLDS) == 4


def test_a_judgement_known_less_well_teaches_less(now, clearance):
    unsure = replace(NOISE, judged_mm2=4 * NOISE.judged_mm2)
    gaps = np.array([GAP_MM])
    sure = falls_by_trials(now, clearance[None], gaps, clearance[None], NOISE)
    assert falls_by_trials(now, clearance[None], gaps, clearance[None], unsure) < sure
