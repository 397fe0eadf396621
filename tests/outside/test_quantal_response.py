"""Published go/no-go data: where every size is known, our trials are plain probit analysis.

Sources: Bliss (1935) beetle mortality as printed in Dobson & Barnett, An Introduction to
Generalized Linear Models (probit −34.94 (2.65), 19.73 (1.49); deviance 10.12; figures from
memory, data on many public pages); Finney (1971) insecticide data as in the R package drc; Wu &
Tian (2014), Journal of Statistical Planning and Inference 149, table 1 (μ 9.9726, σ 2.0705 after
nine shots); Milicer & Szczotka (1966), 25 age groups, as in the R package MASS (Venables & Ripley;
they print a logit, of which the probit here is the recomputed twin; the counts are from memory, and
give the recomputed digits).
"""

import numpy as np
import pytest
from scipy.optimize import minimize
from support.synthetic import flat_table, plain_design, small_scatters

from coupons.learning.posterior.laplace import find_mode
from coupons.learning.posterior.latent import AT_THRESHOLDS, latent_model
from coupons.learning.posterior.likelihood import trial_terms
from coupons.terms import Grade

BLISS_DOSE = np.array([1.6907, 1.7242, 1.7552, 1.7842, 1.8113, 1.8369, 1.8610, 1.8839])
BLISS_N = np.array([59, 60, 62, 56, 63, 59, 62, 60])
BLISS_KILLED = np.array([6, 13, 18, 28, 52, 53, 61, 60])

FINNEY_DOSE = np.log10([10.2, 7.7, 5.1, 3.8, 2.6])
FINNEY_N = np.array([50, 49, 46, 48, 50])
FINNEY_AFFECTED = np.array([44, 42, 24, 16, 6])

MENARCHE_AGE = np.array([9.21, 10.21, *(10.58 + 0.25 * np.arange(22)), 17.58])
MENARCHE_N = np.array(
    "376 200 93 120 90 88 105 111 100 93 100 108 99 106 105 117 98 97 120 102 122 111 94 114 "
    "1049".split(),
    float,
)
MENARCHE_REACHED = np.array(
    "0 0 0 2 2 5 10 17 16 29 39 51 47 67 81 88 79 90 113 95 117 107 92 112 1049".split(), float
)

WU_TIAN_X = np.array([5.5, 16.5, 11.0, 13.8, 10.1, 14.7, 10.4, 11.7, 9.7])
WU_TIAN_Y = np.array([0, 1, 0, 1, 0, 1, 1, 1, 1])


def terms_of(z):
    """Log chance of a response and of none at standardised dose z, by our ordered probit."""
    one = np.ones(len(z))
    response = trial_terms(z, np.full(len(z), -np.inf), one, 0.0)
    none = trial_terms(np.full(len(z), np.inf), z, one, 0.0)
    return response, none


def probit_fit(dose, n, responses):
    """Maximum likelihood of mean and log sd of the tolerance, by our likelihood."""

    def loss(parameters):
        mu, log_sigma = parameters
        response, none = terms_of((dose - mu) / np.exp(log_sigma))
        return -(responses @ response.value + (n - responses) @ none.value)

    start = [dose.mean(), np.log(dose.std())]
    found = minimize(
        loss, start, method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-12, "maxiter": 4000}
    )
    assert found.success
    mu, sigma = found.x[0], np.exp(found.x[1])
    return mu, sigma, -found.fun


def expected_information(dose, n, mu, sigma):
    """Information on intercept and slope, averaged over outcomes: what the books print."""
    response, none = terms_of((dose - mu) / sigma)
    p = np.exp(response.value)
    weight = n * (p * response.curvature_lower + (1 - p) * none.curvature_upper)
    X = np.column_stack([np.ones(len(dose)), dose])
    return X.T @ (weight[:, None] * X)


def saturated(n, responses):
    share = responses / n
    with np.errstate(divide="ignore", invalid="ignore"):
        yes = np.where(responses > 0, responses * np.log(share), 0.0)
        no = np.where(responses < n, (n - responses) * np.log1p(-share), 0.0)
    return (yes + no).sum()


def test_bliss_beetles_to_the_printed_digits():
    mu, sigma, log_likelihood = probit_fit(BLISS_DOSE, BLISS_N, BLISS_KILLED)
    intercept, slope = -mu / sigma, 1 / sigma
    information = expected_information(BLISS_DOSE, BLISS_N, mu, sigma)
    se = np.sqrt(np.diag(np.linalg.inv(information)))
    assert (round(intercept, 2), round(slope, 2)) == (-34.94, 19.73)
    assert (round(se[0], 2), round(se[1], 2)) == (2.65, 1.49)
    deviance = 2 * (saturated(BLISS_N, BLISS_KILLED) - log_likelihood)
    assert round(deviance, 2) == 10.12


def test_finney_insecticide():
    # Recomputed at high precision: −2.88746, 4.21320, log10 ED50 0.68534 (ED50 4.8455).
    mu, sigma, _ = probit_fit(FINNEY_DOSE, FINNEY_N, FINNEY_AFFECTED)
    assert (-mu / sigma, 1 / sigma) == pytest.approx((-2.88746, 4.21320), abs=2e-5)
    assert 10**mu == pytest.approx(4.8455, abs=5e-5)


def test_age_at_menarche():
    mu, sigma, log_likelihood = probit_fit(MENARCHE_AGE, MENARCHE_N, MENARCHE_REACHED)
    information = expected_information(MENARCHE_AGE, MENARCHE_N, mu, sigma)
    se = np.sqrt(np.diag(np.linalg.inv(information)))
    assert (-mu / sigma, 1 / sigma) == pytest.approx((-11.81894, 0.90782), abs=2e-5)
    assert tuple(se) == pytest.approx((0.38702, 0.02955), abs=1e-5)
    deviance = 2 * (saturated(MENARCHE_N, MENARCHE_REACHED) - log_likelihood)
    assert round(deviance, 3) == 22.887


def test_nine_shots_of_wu_and_tian():
    mu, sigma, _ = probit_fit(WU_TIAN_X, np.ones(9), WU_TIAN_Y)
    assert (round(mu, 4), round(sigma, 4)) == (9.9726, 2.0705)


def test_the_whole_latent_model_finds_the_same_mean_tolerance():
    # The nine shots as trials: clearance = dose, one threshold free, the others far above.
    mu, sigma, _ = probit_fit(WU_TIAN_X, np.ones(9), WU_TIAN_Y)
    far = {Grade.PUSH: 1e5, Grade.SLIDE: 2e5, Grade.LOOSE: 3e5}
    table = flat_table(thresholds=far, wide=1e4)
    design = plain_design(
        WU_TIAN_X[:, None], tightest=WU_TIAN_Y, loosest=np.where(WU_TIAN_Y == 1, 4, 0)
    )
    # One covariate with coefficient pinned to 1 turns "effects" into the dose itself.
    table.effects["scale_x"] = type(table.effects["scale_x"])(1.0, 1e-9)
    scatters = small_scatters(sigma=1.0, omega=sigma)
    mode = find_mode(latent_model(design, table), scatters)
    assert mode.latent[AT_THRESHOLDS][0] == pytest.approx(mu, abs=1e-5)
