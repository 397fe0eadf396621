"""Ordered probit and interval-censored regression against general-purpose libraries.

References: statsmodels OrderedModel (probit) on the graduate-school data that ship with it (UCLA
ologit example), and lifelines' log-normal accelerated failure time model, whose interval-censored
fit of exp(bounds) is interval-censored normal regression.
"""

import warnings
from importlib.resources import files

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import minimize
from scipy.special import log_ndtr
from support.synthetic import flat_table, plain_design, small_scatters

from coupons.learning.fit import fit_design
from coupons.learning.posterior.laplace import find_mode
from coupons.learning.posterior.latent import AT_THRESHOLDS, latent_model
from coupons.learning.posterior.likelihood import log_interval
from coupons.terms import Grade

FIXED = small_scatters(sigma=1.0, omega=1.0)


def graduate_school():
    path = files("statsmodels") / "miscmodels/tests/results/ologit_ucla.csv"
    data = pd.read_csv(path)
    levels = {"unlikely": 0, "somewhat likely": 1, "very likely": 2}
    return data["apply"].map(levels).to_numpy(), data[["pared", "public", "gpa"]].to_numpy(float)


def test_ordered_probit_on_the_graduate_school_data():
    from statsmodels.miscmodels.ordinal_model import OrderedModel

    y, X = graduate_school()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library warns of its own numerics
        reference = OrderedModel(y, X, distr="probit").fit(method="bfgs", disp=False, gtol=1e-9)
    # Levels 0, 1, 2 are no-go, force and push; slide and loose lie out of reach above.
    far = {Grade.SLIDE: 1e4, Grade.LOOSE: 2e4}
    design = plain_design(X, tightest=y, loosest=np.where(y == 2, 4, y))
    mode = find_mode(latent_model(design, flat_table(wide=1e4, thresholds=far)), FIXED)
    cuts = reference.params[3], reference.params[3] + np.exp(reference.params[4])
    assert mode.latent[:3] == pytest.approx(reference.params[:3], abs=2e-4)
    assert mode.latent[AT_THRESHOLDS][:2] == pytest.approx(cuts, abs=2e-4)
    se = np.sqrt(np.diag(mode.shared_covariance(3)))
    assert se == pytest.approx(reference.bse[:3], rel=2e-3)
    # As printed by the library's own tests: 0.59811, 0.01016, 0.35815.
    assert mode.latent[:3] == pytest.approx([0.59811, 0.01016, 0.35815], abs=2e-4)


@pytest.mark.slow
def test_interval_censored_normal_against_lifelines():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # lifelines leans on deprecated calls
        from lifelines import LogNormalAFTFitter

        rng = np.random.default_rng(11)
        x = rng.uniform(-1, 1, 300)
        y = 1.0 + 0.8 * x + 0.5 * rng.normal(size=300)
        low = np.floor(y / 0.4) * 0.4
        high = low + 0.4
        frame = pd.DataFrame({"low": np.exp(low), "high": np.exp(high), "x": x})
        reference = LogNormalAFTFitter().fit_interval_censoring(
            frame, "low", "high", formula="x", fit_options={"tol": 1e-10}
        )

    def loss(p):
        mean, sd = p[0] + p[1] * x, np.exp(p[2])
        return -log_interval((high - mean) / sd, (low - mean) / sd).sum()

    ours = minimize(loss, [0.0, 0.0, 0.0], method="BFGS", options={"gtol": 1e-7}).x
    intercept = reference.params_["mu_", "Intercept"]
    slope = reference.params_["mu_", "x"]
    log_sd = reference.params_["sigma_", "Intercept"]
    assert ours == pytest.approx([intercept, slope, log_sd], abs=1e-4)


def test_separated_data_have_no_maximum_likelihood_but_a_finite_answer():
    # x 14 15 16 with y 0 1 1: probit's likelihood rises for ever (Silvapulle 1981).
    x, y = np.array([14.0, 15.0, 16.0]), np.array([0, 1, 1])
    steep = [log_ndtr(k * (14.5 - x[0])) + log_ndtr(k * (x[1:] - 14.5)).sum() for k in (1, 10, 100)]
    assert steep[0] < steep[1] < steep[2]
    design = plain_design(np.zeros((3, 1)), tightest=y, loosest=np.where(y == 1, 4, 0))
    design.sizes.drawn[:3] = (x - 14.5) / 10
    fitted = fit_design(design)
    sd = np.sqrt(np.diag(fitted.covariance))
    assert np.isfinite(fitted.mean).all()
    assert np.isfinite(sd).all()
    assert (sd[12:16] > 0.02).all()  # three shots do not settle a threshold
