"""Corrections to a normal approximation, against integrals taken outright."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import integrate, stats
from support.small_coupon import small_coupon
from support.synthetic import TYPICAL, Builder, done_coupons, observed, plain_design, small_scatters

from coupons.answering.next.expected_information import as_if_done
from coupons.learning.design import design_of
from coupons.learning.posterior.corrections import around_mode, best_mode
from coupons.learning.posterior.laplace import find_mode
from coupons.learning.posterior.latent import latent_model
from coupons.learning.prior_table import EXTRUSION
from coupons.terms import Direction, Feature, Form


def test_own_deviations_are_integrated_outright():
    """One slot read twice, once wrongly, and tried with a tongue: by adaptive quadrature."""
    build = Builder()
    slot = build.size(0, "S", Feature(Form.SLOT, 6.2, Direction.X))
    tongue = build.size(0, "T", Feature(Form.TONGUE, 6.0, Direction.X))
    build.trials = [(slot, tongue)] * 2
    build.readings = [slot] * 2
    design = build.design()
    readings = replace(design.readings, value=np.array([6.05, 6.25]))
    trials = replace(design.trials, tightest=np.array([2, 3]), loosest=np.array([2, 3]))
    model = latent_model(replace(design, readings=readings, trials=trials), EXTRUSION)
    scatters = replace(TYPICAL, tau=0.1)
    mode = find_mode(model, scatters)
    assert len(model.alone) == 1
    at = int(model.alone[0])
    scale = float(np.hypot(0.015, 0.01 / np.sqrt(12)))
    rest = mode.latent.copy()
    rest[at] = 0.0
    # Which of the two sizes is alone is the layout's choice; both deviate by the same prior.
    side = 1.0 if at == model.n_shared + slot else -1.0
    lower, upper = (x * 0.04 for x in model.distances(rest, scatters))
    shown = model.predicted(rest)
    lapse = EXTRUSION.lapse

    def density(own):
        moved = shown + (own if side > 0 else 0.0)
        read = stats.t.pdf(readings.value, 4, moved, scale).prod()
        hit = stats.norm.cdf((lower + side * own) / 0.04) - stats.norm.cdf(
            (upper + side * own) / 0.04
        )
        tried = ((1 - lapse) * hit + lapse / 5).prod()
        return stats.norm.pdf(own, 0, 0.1) * read * tried

    exact, _ = integrate.quad(density, -0.5, 0.5, points=[mode.latent[at]], limit=400)
    curvature = float(mode.factor.diagonal[0])
    normal = density(mode.latent[at]) * np.sqrt(2 * np.pi / curvature)
    lacking = around_mode(model, scatters, mode).beyond_normal
    assert abs(np.log(exact / normal)) > 0.02  # else there is nothing to correct
    assert lacking == pytest.approx(np.log(exact / normal), abs=2e-3)


def test_nothing_lacks_where_all_is_normal():
    rng = np.random.default_rng(6)
    design = plain_design(rng.normal(size=(12, 2)), value=0.1 * rng.normal(size=12))
    table = replace(EXTRUSION, reading_dof=1e12)
    model = latent_model(design, table)
    mode = find_mode(model, TYPICAL)
    assert around_mode(model, TYPICAL, mode).beyond_normal == pytest.approx(0, abs=1e-4)


def test_a_wild_reading_does_not_overflow():
    # A caliper taken for far better than a size is known: where a reading's own likelihood falls
    # off like a logarithm, the normal one beside it falls off by millions.
    design = design_of([as_if_done(small_coupon())])
    scatters = replace(TYPICAL, tau=3.0, tau_z=3.0, sigma=0.001)
    value = design.readings.value + 0.001
    readings = replace(design.readings, value=value, resolution=np.full(len(value), 1e-4))
    model = latent_model(replace(design, readings=readings), EXTRUSION)
    mode = find_mode(model, scatters)
    assert np.isfinite(around_mode(model, scatters, mode).beyond_normal)


def test_own_deviations_end_on_the_highest_hill_within_reach():
    """Where heights differ by 0.3 mm, a grade and a reading can each be taken for wild."""
    design = observed(design_of(done_coupons("first", "upright", "round")), 100_014)
    scatters = small_scatters(
        tau=0.0247,
        tau_z=0.284,
        sigma=0.0226,
        omega=0.0522,
        rho=0.0238,
        rho_scale_z=8e-4,
        rho_bed=0.1,
        rho_roof=0.1,
    )
    model = latent_model(design, EXTRUSION)
    plain = find_mode(model, scatters)
    best, log_evidence = best_mode(model, scatters)
    assert best.log_laplace > plain.log_laplace + 3
    lacking = around_mode(model, scatters, best).beyond_normal
    assert log_evidence == pytest.approx(best.log_laplace + lacking, abs=1e-9)
    assert lacking < around_mode(model, scatters, plain).beyond_normal
