"""One-way random effects: our evidence of the scatters is restricted maximum likelihood (REML).

With normal readings and a flat prior of the mean, the Laplace evidence is exact and its maximum
over (τ, σ) is REML. Sources: Rail (Devore; Pinheiro & Bates, Mixed-Effects Models in S and S-PLUS:
24.80547, 4.020779, mean 66.5 with SE 10.17104); Dyestuff (Davies 1947: between variance 1764.05,
within 2451.25); Dyestuff2 (Box & Tiao), where the between component is zero.
"""

import numpy as np
import pytest
from scipy.optimize import minimize
from support.synthetic import flat_table, plain_design, small_scatters

from coupons.learning.posterior.corrections import best_mode
from coupons.learning.posterior.latent import latent_model

RAIL = np.array(
    [[55, 53, 54], [26, 37, 32], [78, 91, 85], [92, 100, 96], [49, 51, 50], [80, 85, 83]], float
)
# fmt: off
DYESTUFF = np.array([
    [1545, 1440, 1440, 1520, 1580], [1540, 1555, 1490, 1560, 1495], [1595, 1550, 1605, 1510, 1560],
    [1445, 1440, 1595, 1465, 1545], [1595, 1630, 1515, 1635, 1625], [1520, 1455, 1450, 1480, 1445],
], float)
DYESTUFF2 = np.array([
    [7.298, 3.846, 2.434, 9.566, 7.99], [5.22, 6.556, 0.608, 11.788, -0.892],
    [0.11, 10.386, 13.434, 5.51, 8.166], [2.212, 4.852, 7.092, 9.288, 4.98],
    [0.282, 9.014, 4.458, 9.446, 7.198], [1.722, 4.782, 8.106, 0.758, 3.758],
])
# fmt: on


def fit(data):
    """Maximise the evidence over the two scatters; return them and the mode there."""
    k, n = data.shape
    group = np.repeat(np.arange(k), n)
    design = plain_design(np.ones((k * n, 1)), value=data.ravel(), group=group)
    model = latent_model(design, flat_table(wide=1e6))

    def at(log_sds):
        tau, sigma = np.exp(log_sds)
        scatters = small_scatters(tau=tau, sigma=sigma, omega=1.0)
        return best_mode(model, scatters)

    start = np.log([data.mean(axis=1).std(), data.std(axis=1).mean()])
    options = {"xatol": 1e-7, "fatol": 1e-10, "maxiter": 2000}
    found = minimize(
        lambda x: -at(x)[1], start, method="Nelder-Mead", options=options,
        bounds=[(-6, 12), (-6, 12)],
    )  # fmt: skip
    tau, sigma = np.exp(found.x)
    return tau, sigma, at(found.x)[0]


def test_rail():
    tau, sigma, mode = fit(RAIL)
    assert (tau, sigma) == pytest.approx((24.80547, 4.020779), rel=1e-5)
    assert mode.latent[0] == pytest.approx(66.5, abs=1e-6)
    assert np.sqrt(mode.shared_covariance(1)[0, 0]) == pytest.approx(10.17104, rel=1e-5)


def test_dyestuff():
    tau, sigma, _ = fit(DYESTUFF)
    assert (tau**2, sigma**2) == pytest.approx((1764.05, 2451.25), rel=1e-4)


@pytest.mark.slow
def test_a_component_of_zero_is_found_to_be_zero():
    tau, sigma, mode = fit(DYESTUFF2)
    assert tau < 0.01
    assert sigma == pytest.approx(DYESTUFF2.std(ddof=1), rel=1e-4)
    assert mode.latent[0] == pytest.approx(5.6656, abs=1e-4)
