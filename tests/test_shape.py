from dataclasses import replace

import numpy as np
from small_coupon import small_coupon

from coupons.answering.foresight import as_if_done
from coupons.learning.bordered import Bordered
from coupons.learning.design import design_of
from coupons.learning.effects import EXTRUSION
from coupons.learning.latent import Scatters, latent_model
from coupons.learning.shape import evidence_beyond_normal


def test_a_reading_far_from_normal_is_held_to_its_bound_without_overflow():
    # A caliper taken for far better than a size is known: where a reading's own likelihood falls
    # off like a logarithm, the normal one beside it falls off by millions.
    design = design_of([as_if_done(small_coupon())])
    scatters = Scatters(tau=3, tau_z=3, sigma=0.001, omega=0.04, rho=0.02, rho_z=0.1)
    model = latent_model(design, EXTRUSION)
    latent = model.prior_center
    value = model.predicted(latent) + 0.001
    readings = replace(design.readings, value=value, resolution=np.full(len(value), 1e-4))
    model = latent_model(replace(design, readings=readings), EXTRUSION)
    variance = model.prior_variance(scatters)
    factor = Bordered(
        model.core,
        model.alone,
        np.diag(1 / variance[model.core]),
        np.zeros((len(model.core), len(model.alone))),
        1 / variance[model.alone],
    ).factorised()
    lacking = evidence_beyond_normal(model, scatters, latent, factor)
    assert np.isfinite(lacking)
    assert abs(lacking) <= 0.3 * len(value) + 1e-9
