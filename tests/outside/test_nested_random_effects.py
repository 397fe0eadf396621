"""Two nested scatters: prints that differ, features that differ within a print, and readings.

A published set of deliveries, casks and analyses (values and source in paste_casks.csv). By
restricted maximum likelihood the sds are 1.2874 between deliveries, 2.9041 between casks of one,
0.8234 between analyses; the mean is 60.0533 with a standard error of 0.6769 (public outputs of
lme4 for this set, whose digits the analysis of variance of the balanced set reproduces). Here a
delivery is a print, a cask a feature with its own deviation, an analysis a reading. With normal
readings and a flat prior of the mean the evidence is exact, and its maximum is that estimate.
"""

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import minimize
from support.synthetic import flat_table, plain_design, small_scatters

from coupons.learning.effects import EFFECTS
from coupons.learning.posterior.corrections import best_mode
from coupons.learning.posterior.latent import latent_model
from coupons.learning.prior_table import PrintEffect

TABLE = Path(__file__).with_name("paste_casks.csv")
PUBLISHED_SDS = (1.2874, 2.9041, 0.8234)
PUBLISHED_MEAN, PUBLISHED_ERROR = 60.0533, 0.6769


def published():
    lines = TABLE.read_text(encoding="utf-8").splitlines()
    rows = csv.reader(line for line in lines if not line.startswith(("#", "delivery")))
    return np.array([row[2:] for row in rows], float).reshape(10, 3, 2)


def by_variance_analysis(data):
    """Return the three sds and the standard error of the mean of a balanced nested set."""
    a, b, n = data.shape
    casks, deliveries, mean = data.mean(axis=2), data.mean(axis=(1, 2)), data.mean()
    outer = b * n * ((deliveries - mean) ** 2).sum() / (a - 1)
    inner = n * ((casks - deliveries[:, None]) ** 2).sum() / (a * (b - 1))
    within = ((data - casks[:, :, None]) ** 2).sum() / (a * b * (n - 1))
    squares = ((outer - inner) / (b * n), (inner - within) / n, within)
    return tuple(np.sqrt(squares)), float(np.sqrt(outer / data.size))


def nested_model(data):
    """Lay out prints, features and readings; each print moves the one effect there is."""
    a, b, n = data.shape
    feature = np.repeat(np.arange(a * b), n)
    design = plain_design(np.ones((data.size, 1)), value=data.ravel(), group=feature)
    run = np.append(np.repeat(np.arange(a), b), 0)
    sizes = replace(
        design.sizes, run=run, keys=tuple((r, str(k)) for k, r in enumerate(run.tolist()))
    )
    of_print = (PrintEffect("rho", 1.0, {EFFECTS[0]: 1.0}),)
    table = replace(flat_table(wide=1e5), prints=of_print)
    return latent_model(replace(design, sizes=sizes, n_runs=a), table)


def fit(data):
    """Maximise the evidence over the three scatters; return them and the mode there."""
    model = nested_model(data)

    def at(log_sds):
        rho, tau, sigma = np.exp(log_sds)
        return best_mode(model, small_scatters(rho=rho, tau=tau, sigma=sigma, omega=1.0))

    options = {"xatol": 1e-6, "fatol": 1e-9, "maxiter": 2000}
    found = minimize(lambda x: -at(x)[1], np.log([1, 2, 1]), method="Nelder-Mead", options=options)
    return tuple(np.exp(found.x)), at(found.x)[0]


def test_the_analysis_of_variance_gives_the_published_figures():
    sds, error = by_variance_analysis(published())
    assert sds == pytest.approx(PUBLISHED_SDS, abs=6e-5)
    assert error == pytest.approx(PUBLISHED_ERROR, abs=6e-5)


def test_prints_features_and_readings_get_the_published_scatters():
    sds, mode = fit(published())
    assert sds == pytest.approx(PUBLISHED_SDS, rel=2e-4)
    assert mode.latent[0] == pytest.approx(PUBLISHED_MEAN, abs=1e-4)
    error = np.sqrt(mode.shared_covariance(1)[0, 0])
    assert error == pytest.approx(PUBLISHED_ERROR, rel=2e-4)
