"""Marginals of thresholds, against posteriors that can be had another way."""

import numpy as np
import pytest
from support.synthetic import TYPICAL, plain_design

from coupons.learning.posterior.laplace import find_mode
from coupons.learning.posterior.latent import AT_THRESHOLDS, latent_model
from coupons.learning.posterior.threshold_marginals import threshold_columns, threshold_marginals
from coupons.learning.prior_table import EXTRUSION


@pytest.fixture(scope="module")
def untried():
    """A fit to readings alone: of the thresholds nothing is known but their prior and order."""
    rng = np.random.default_rng(1)
    design = plain_design(rng.normal(size=(8, 1)), value=0.02 * rng.normal(size=8))
    model = latent_model(design, EXTRUSION)
    return model, find_mode(model, TYPICAL)


def test_thresholds_that_keep_out_of_each_other_s_way(untried):
    """The prior with its barrier, by weighting 400,000 draws of the plain normals."""
    model, mode = untried
    rng = np.random.default_rng(2)
    priors = list(EXTRUSION.thresholds.values())
    drawn = rng.normal([p.mean for p in priors], [p.sd for p in priors], (400_000, len(priors)))
    drawn = drawn[(np.diff(drawn) > 0).all(axis=1)]
    weights = np.diff(drawn).prod(axis=1) ** EXTRUSION.order_weight
    weights /= weights.sum()
    mean = weights @ drawn
    sd = np.sqrt(weights @ (drawn - mean) ** 2)
    found = threshold_marginals(model, TYPICAL, mode)
    normal_sd = np.sqrt(np.diag(threshold_columns(mode)[AT_THRESHOLDS]))
    got = mode.latent[AT_THRESHOLDS] + found.shift * normal_sd
    assert abs(got - mean) / sd == pytest.approx(0, abs=0.1)
    assert found.stretch * normal_sd == pytest.approx(sd, rel=0.1)
    # The normal around the mode is no such thing: else there would be nothing to do.
    assert max(abs(mode.latent[AT_THRESHOLDS] - mean) / sd) > 0.2
    assert max(abs(normal_sd / sd - 1)) > 0.1


def test_columns_are_those_of_the_covariance(untried):
    _, mode = untried
    assert threshold_columns(mode) == pytest.approx(mode.covariance[:, AT_THRESHOLDS], abs=1e-12)
