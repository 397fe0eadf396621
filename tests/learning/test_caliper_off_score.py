"""Slope and curvature by a stretch's offset, against the formulas of jointly normal readings."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from support.plain_mixture import mixture_at, read_spans, seen_before_any
from support.synthetic import TYPICAL

from coupons.learning.checking.caliper_off import _score
from coupons.learning.prior_table import EXTRUSION


@pytest.mark.parametrize("dof", [4.0, 1e9])
def test_an_offset_is_scored_as_of_readings_that_are_jointly_normal(dof):
    """Their covariance is that of the prior's predictions and of noise, wider for a wild reading.

    Given its residual e at the mode, a Student-t reading of scale s is a normal one of variance
    (ν·s² + e²)/(ν + 1). With an offset a of the readings marked by m, the log density is
    −½ (r − a·m)ᵀ K⁻¹ (r − a·m): its slope at 0 is mᵀK⁻¹r, its curvature mᵀK⁻¹m.
    """
    design = read_spans(np.random.default_rng(8))
    mixture = mixture_at(design, replace(EXTRUSION, reading_dof=dof))
    model, mode = mixture.model, mixture.modes[0]
    order, ends = np.array([5, 0, 2, 4, 6]), np.array([0, 2, 3, 5])
    slope, curvature = _score(mixture, order, ends)
    expected, covariance = seen_before_any(model, TYPICAL)
    square_mm2 = 0.015**2 + 0.01**2 / 12
    residual = design.readings.value - model.predicted(mode.latent)
    wider = (dof * square_mm2 + residual**2) / (dof + 1) - square_mm2
    inverse = np.linalg.inv(covariance + np.diag(wider))
    apart = design.readings.value - expected
    for first, last in combinations(range(4), 2):
        marked = np.zeros(len(apart))
        marked[order[ends[first] : ends[last]]] = 1.0
        assert slope[first, last] == pytest.approx(marked @ inverse @ apart, rel=1e-3, abs=1e-3)
        assert curvature[first, last] == pytest.approx(marked @ inverse @ marked, rel=1e-3)
