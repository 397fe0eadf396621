"""Slope and curvature by a stretch's offset, against the formulas of jointly normal readings."""

from dataclasses import replace
from itertools import combinations
from types import SimpleNamespace

import numpy as np
import pytest
from support.synthetic import TYPICAL, Builder

from coupons.learning.checking.caliper_off import _score
from coupons.learning.effects import EXTRUSION
from coupons.learning.posterior.laplace import find_mode
from coupons.learning.posterior.latent import latent_model
from coupons.terms import Direction, Feature, Form


def read_spans(rng):
    """Six spans and slots, the first of them read twice, one reading far off."""
    build = Builder()
    sizes = [
        build.size(0, f"S{size:g}{form}", Feature(form, size, axis))
        for form, size, axis in (
            (Form.TONGUE, 10.0, Direction.X),
            (Form.TONGUE, 40.0, Direction.X),
            (Form.SLOT, 12.0, Direction.Y),
            (Form.SLOT, 20.0, Direction.X),
            (Form.TONGUE, 30.0, Direction.Y),
            (Form.SLOT, 8.0, Direction.Y),
        )
    ]
    build.readings = [sizes[0], *sizes]
    design = build.design()
    value = design.readings.value + rng.normal(0, 0.03, 7)
    value[4] += 0.2
    return replace(design, readings=replace(design.readings, value=value))


@pytest.mark.parametrize("dof", [4.0, 1e9])
def test_an_offset_is_scored_as_of_readings_that_are_jointly_normal(dof):
    """Their covariance is that of the prior's predictions and of noise, wider for a wild reading.

    Given its residual e at the mode, a Student-t reading of scale s is a normal one of variance
    (ν·s² + e²)/(ν + 1). With an offset a of the readings marked by m, the log density is
    −½ (r − a·m)ᵀ K⁻¹ (r − a·m): its slope at 0 is mᵀK⁻¹r, its curvature mᵀK⁻¹m.
    """
    design = read_spans(np.random.default_rng(8))
    model = latent_model(design, replace(EXTRUSION, reading_dof=dof))
    mode = find_mode(model, TYPICAL)
    heaviest = SimpleNamespace(modes=[mode], model=model, scatters=[TYPICAL])
    order, ends = np.array([5, 0, 2, 4, 6]), np.array([0, 2, 3, 5])
    mixture = SimpleNamespace(heaviest=lambda _: heaviest)
    slope, curvature = _score(mixture, order, ends)
    n, at = 7, design.readings.size
    rows = np.concatenate([model.reading_shared, np.eye(6)[at]], axis=1)
    prior = np.diag(model.prior_variance(TYPICAL))
    square_mm2 = 0.015**2 + 0.01**2 / 12
    residual = design.readings.value - model.predicted(mode.latent)
    noise = (dof * square_mm2 + residual**2) / (dof + 1)
    inverse = np.linalg.inv(rows @ prior @ rows.T + np.diag(noise))
    apart = design.readings.value - model.predicted(model.prior_center)
    for first, last in combinations(range(4), 2):
        marked = np.zeros(n)
        marked[order[ends[first] : ends[last]]] = 1.0
        assert slope[first, last] == pytest.approx(marked @ inverse @ apart, rel=1e-3, abs=1e-3)
        assert curvature[first, last] == pytest.approx(marked @ inverse @ marked, rel=1e-3)
