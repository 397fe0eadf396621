"""Fits at given scatters, and readings of which every distribution is normal."""

from dataclasses import replace

import numpy as np
from support.synthetic import TYPICAL, Builder

from coupons.learning.effects import THRESHOLDS
from coupons.learning.posterior.integrate import Mixture
from coupons.learning.posterior.laplace import find_mode
from coupons.learning.posterior.latent import latent_model
from coupons.learning.prior_table import EXTRUSION
from coupons.terms import Direction, Feature, Form

# Readings as good as normal: of so many degrees of freedom a Student-t is one.
NORMAL = replace(EXTRUSION, reading_dof=1e9)
WIDER = replace(TYPICAL, tau=0.05, sigma=0.03, rho=0.04)
SPANS = (
    (Form.TONGUE, 10.0, Direction.X),
    (Form.TONGUE, 40.0, Direction.X),
    (Form.SLOT, 12.0, Direction.Y),
    (Form.SLOT, 20.0, Direction.X),
    (Form.TONGUE, 30.0, Direction.Y),
    (Form.SLOT, 8.0, Direction.Y),
)


def read_spans(rng):
    """Six spans and slots, the first of them read twice, one reading far off."""
    build = Builder()
    sizes = [build.size(0, f"S{size:g}", Feature(*span)) for span in SPANS for size in span[1:2]]
    build.readings = [sizes[0], *sizes]
    design = build.design()
    value = design.readings.value + rng.normal(0, 0.03, 7)
    value[4] += 0.2
    return replace(design, readings=replace(design.readings, value=value))


def mixture_at(design, table, scatters=(TYPICAL,), weights=(1.0,)):
    """A mixture over given scatters, its means the modes."""
    model = latent_model(design, table)
    modes = tuple(find_mode(model, each) for each in scatters)
    return Mixture(
        model,
        (),
        tuple(scatters),
        modes,
        tuple(mode.latent for mode in modes),
        (np.ones(len(THRESHOLDS)),) * len(modes),
        np.array(weights),
        {},
    )


def seen_before_any(model, scatters):
    """Mean and covariance of all readings before any is known, straight from the prior."""
    own = np.eye(len(model.design.sizes.drawn))[model.design.readings.size]
    rows = np.concatenate([model.reading_shared, own], axis=1)
    scale = scatters.sigma**2 + model.design.readings.resolution**2 / 12
    covariance = rows @ np.diag(model.prior_variance(scatters)) @ rows.T + np.diag(scale)
    return model.predicted(model.prior_center), covariance
