"""Integration over the scatters: what it finds, what it leaves alone, and whether it is honest."""

from dataclasses import fields, replace

import numpy as np
import pytest
from support.prior_printer import draw_printer, observe, print_sizes
from support.synthetic import coupon_design, done_coupons, plain_design

from coupons.learning.design import design_of
from coupons.learning.effects import TERMS
from coupons.learning.fit import fit_design
from coupons.learning.posterior.integrate import active_scatters, integrate
from coupons.learning.posterior.latent import N_TERMS, latent_model
from coupons.learning.posterior.lattice import ScatterPosterior
from coupons.learning.prior_table import EXTRUSION


def observed(seed, rows="ABCDE", n_runs=1):
    rng = np.random.default_rng(seed)
    design = coupon_design(n_runs, rows)
    printer = draw_printer(rng)
    return printer, observe(printer, design, print_sizes(printer, design, rng), rng)


def active(design):
    return active_scatters(latent_model(design, EXTRUSION))


BOTH = ("tau", "tau_z", "sigma", "omega", "rho", "rho_scale", "rho_scale_z")
ACTIVE = [
    ("ABCD", 1, ("tau", "sigma", "omega")),
    ("ABCDE", 1, ("tau", "tau_z", "sigma", "omega")),
    ("AB", 2, ("tau", "sigma", "omega", "rho", "rho_scale")),
    ("E", 2, (*BOTH, "rho_roof")),  # nothing in it stands on the bed
]


@pytest.mark.parametrize(("rows", "runs", "expected"), ACTIVE)
def test_only_scatters_with_evidence_are_learned(rows, runs, expected):
    assert active(coupon_design(runs, rows)) == expected


def test_prints_differ_along_z_only_where_two_of_them_have_sizes_there():
    design = design_of(done_coupons("first", "upright"))
    assert active(design) == ("tau", "tau_z", "sigma", "omega", "rho", "rho_scale")
    twice = design_of(done_coupons("upright", "upright"))
    assert active(twice) == (*BOTH, "rho_bed", "rho_roof")


def test_what_has_no_evidence_stays_at_its_prior():
    _, design = observed(1, "ABCD")
    mixture = integrate(latent_model(design, EXTRUSION))
    for name in ("tau_z", "rho", "rho_scale_z", "rho_bed"):
        prior = EXTRUSION.scatters[name]
        assert mixture.log_sd_moments(name) == pytest.approx((np.log(prior.median), prior.log_sd))
        assert mixture.mean_square(name) == pytest.approx(prior.mean_square)


@pytest.mark.slow
def test_weights_are_a_mixture():
    _, design = observed(2)
    mixture = integrate(latent_model(design, EXTRUSION))
    assert mixture.weights.sum() == pytest.approx(1.0)
    assert (mixture.weights > 0).all()
    assert len(mixture.weights) == len(mixture.modes) == len(mixture.means)


@pytest.mark.slow
def test_scatters_agree_with_a_fine_grid():
    """Two scatters only, so that a grid of 33 × 33 integrates their posterior outright."""
    rng = np.random.default_rng(3)
    group = np.repeat(np.arange(12), 4)
    value = (0.05 * rng.normal(size=12))[group] + 0.02 * rng.normal(size=48)
    design = plain_design(np.zeros((48, 1)), value=value, group=group)
    model = latent_model(design, EXTRUSION)
    mixture = integrate(model)
    z = np.linspace(-4, 4, 33)
    evidence = ScatterPosterior(model, ("tau", "sigma"))
    log_posterior = np.array([[evidence.at(np.array([a, b])).log_posterior for b in z] for a in z])
    weights = np.exp(log_posterior - log_posterior.max())
    for axis, name in ((1, "tau"), (0, "sigma")):
        marginal = weights.sum(axis=axis) / weights.sum()
        prior = EXTRUSION.scatters[name]
        logs = np.log(prior.median) + prior.log_sd * z
        mean = marginal @ logs
        sd = np.sqrt(marginal @ (logs - mean) ** 2)
        got = mixture.log_sd_moments(name)
        assert got[0] == pytest.approx(mean, abs=0.05 * sd)
        assert got[1] == pytest.approx(sd, rel=0.10)


@pytest.mark.slow
def test_row_order_changes_nothing():
    _, design = observed(4)
    turned = fit_design(_permuted(design, np.random.default_rng(0)))
    straight = fit_design(design)
    sd = np.sqrt(np.diag(straight.covariance))
    assert (np.abs(turned.mean - straight.mean) < 1e-4 * sd + 1e-9).all()
    assert turned.covariance == pytest.approx(straight.covariance, abs=1e-4 * sd.max() ** 2)


def _permuted(design, rng):
    def shuffled(part):
        order = rng.permutation(len(part.row))
        return replace(part, **{f.name: getattr(part, f.name)[order] for f in fields(part)})

    return replace(design, readings=shuffled(design.readings), trials=shuffled(design.trials))


@pytest.mark.slow
def test_a_mirrored_coupon_only_swaps_the_axes():
    """Swap x and y in every feature: scales change places, what is x less y turns around."""
    _, design = observed(5, "ABCD")
    swap = [
        TERMS.index("scale_y"),
        TERMS.index("scale_x"),
        *range(2, design.sizes.effects.shape[1]),
    ]
    sign = np.array([-1 if "xy" in name or name == "lost_motion" else 1 for name in TERMS])
    effects = design.sizes.effects[:, swap] * sign[: len(swap)]
    sizes = replace(design.sizes, effects=effects)
    straight, mirrored = fit_design(design), fit_design(replace(design, sizes=sizes))
    order = [*swap, *range(len(swap), N_TERMS)]
    assert mirrored.mean == pytest.approx(sign * straight.mean[order], abs=1e-6)


@pytest.mark.slow
def test_two_runs_teach_how_far_prints_differ():
    """With six runs the print-to-print scatter is known better than before any."""
    rng = np.random.default_rng(7)
    design = coupon_design(6, "B")
    inside = 0
    for _ in range(8):
        printer = draw_printer(rng)
        seen = observe(printer, design, print_sizes(printer, design, rng), rng)
        mean, sd = fit_design(seen).mixture.log_sd_moments("rho")
        assert sd < 0.9 * EXTRUSION.scatters["rho"].log_sd
        inside += abs(mean - np.log(printer.scatters.rho)) < 1.645 * sd
    assert inside >= 5  # 90 % of 8 expected; fewer than 5 has a chance of 0.5 %


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.slow
def test_no_scatter_is_known_better_than_so_few_observations_can_tell(seed):
    """Even n exact values of a normal leave its log-sd uncertain by 1/√(2n)."""
    _, design = observed(seed, "ABD")
    mixture = integrate(latent_model(design, EXTRUSION))
    counts = {
        "tau": len(design.sizes.drawn),
        "sigma": len(design.readings.value),
        "omega": len(design.trials.internal),
    }
    for name, count in counts.items():
        assert mixture.log_sd_moments(name)[1] > 0.8 / np.sqrt(2 * count)
    assert 1 / np.sum(mixture.weights**2) > 2


@pytest.mark.slow
def test_of_two_explanations_the_likelier_one_is_found():
    """Grades at random are a hand without judgement, not a steady hand that lapses each time."""
    design = coupon_design(1, "ABC")
    rng = np.random.default_rng(2)
    grade = rng.integers(0, 5, len(design.trials.internal))
    trials = replace(design.trials, tightest=grade, loosest=grade)
    mixture = integrate(latent_model(replace(design, trials=trials), EXTRUSION))
    mean, sd = mixture.log_sd_moments("omega")
    assert np.exp(mean) > 0.25
    assert sd > 0.1
