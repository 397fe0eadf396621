"""How well a machine is known, were the shifts of its prints smaller or larger than believed."""

from dataclasses import replace

import numpy as np
import pytest
from bench.calibration import profile_of_fit
from support.known_profile import FROM_ONE_PRINT, covariance_at, known_profile
from support.prior_printer import draw_printer, observe, print_sizes
from support.synthetic import done_coupons

from coupons.answering.chances.clearance import Clearance
from coupons.learning.design import design_of
from coupons.learning.effects import TERMS
from coupons.learning.fit import fit_design
from coupons.learning.prior_table import EXTRUSION, LogNormal
from coupons.terms import Bed, Direction, Form, Grade, Joint, MovingBody


def variance_at(profile, row, **squares):
    """Variance of one row of the terms, in mm², for mean squares of scatters between prints."""
    taught = profile.taught_shift
    by_print = row @ taught.slope
    believed = {name: spread.mean_square for name, spread in profile.scatters.items()} | squares
    of_effects = [e.share**2 * believed[e.scatter] for e in profile.prior_table.prints]
    moved = by_print @ taught.covariance(np.array(of_effects)) @ by_print
    return float(np.sum((row @ taught.root) ** 2) + moved)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("coupon", "direction", "bed", "scatter"),
    [
        ("upright", "z", Bed.NONE, "rho_roof"),
        ("upright", "z", Bed.EXTERNAL, "rho_roof"),
        ("first", "x", Bed.NONE, "rho"),
    ],
)
def test_it_is_what_a_fit_to_prints_that_differ_otherwise_finds(coupon, direction, bed, scatter):
    design = design_of(done_coupons(coupon))
    rng = np.random.default_rng(3)
    printer = draw_printer(rng)
    observed = observe(printer, design, print_sizes(printer, design, rng), rng)
    profile = profile_of_fit(fit_design(observed))
    joint = Joint(Form.SLOT, Form.TONGUE, 8.0, Direction(direction))
    clearance = Clearance(profile, joint, MovingBody.EXTERNAL, np.array([0.3]), bed=bed)
    row = clearance.margin_row(Grade.SLIDE)[0]
    found, expected = [], []
    for times in (0.4, 1.0, 2.5):
        sd_mm = times * EXTRUSION.scatters[scatter].median
        pinned = {**EXTRUSION.scatters, scatter: LogNormal(sd_mm, 1e-9)}
        refit = fit_design(observed, replace(EXTRUSION, scatters=pinned))
        found.append(variance_at(profile, row, **{scatter: sd_mm**2}))
        expected.append(float(row @ refit.covariance @ row))
    assert found == pytest.approx(expected, rel=0.01)
    assert expected[2] > 1.25 * expected[0], "a case that can tell"


def test_it_is_what_adding_up_information_finds():
    profile = correlated()
    rows = np.random.default_rng(1).normal(size=(4, len(TERMS)))
    for squares in [
        {"rho": 1e-4, "rho_bed": 1e-2},
        {"rho": 4e-4, "rho_roof": 4e-3},
        {"rho": 1e-6, "rho_scale_z": 4e-6},
    ]:
        covariance = covariance_at(profile, **squares)
        for row in rows:
            expected = row @ covariance @ row
            assert variance_at(profile, row, **squares) == pytest.approx(expected, rel=1e-6)


def correlated():
    """A profile of one print, with terms that are known only together."""
    profile = known_profile(sd_share=FROM_ONE_PRINT)
    sds = np.sqrt(np.diag(profile.covariance_matrix))
    root = np.eye(len(TERMS)) + 0.05 * np.random.default_rng(2).normal(size=(len(TERMS),) * 2)
    ratios = root @ root.T
    scale = sds / np.sqrt(np.diag(ratios))
    matrix = ratios * np.outer(scale, scale)
    lower = tuple(map(float, matrix[np.tril_indices(len(matrix))]))
    return profile.model_validate(profile.model_dump() | {"covariance": lower})


@pytest.mark.parametrize("runs", [2, 5])
def test_over_what_shifts_may_be_several_prints_are_known_as_their_fit_says(runs):
    profile = known_profile(sd_share=FROM_ONE_PRINT, runs=runs)
    rule, weights = profile.scatters["rho"].variance_rule()
    for name in ("growth_ext", "growth_int"):
        row = np.zeros(len(TERMS))
        row[TERMS.index(name)] = 1
        averaged = weights @ [variance_at(profile, row, rho=square) for square in rule]
        stated = row @ profile.covariance_matrix @ row
        assert averaged == pytest.approx(stated, rel=1e-3)


@pytest.mark.parametrize("sd_share", [0.0, 1e-6, 0.1, 1.0, 1.3])
def test_a_covariance_written_by_hand_is_taken_at_its_word(sd_share):
    """No fit leaves so little open after one print, or more than before it."""
    profile = known_profile(sd_share=sd_share)
    for row in np.eye(len(TERMS)):
        stated = row @ profile.covariance_matrix @ row
        assert variance_at(profile, row) == pytest.approx(stated, rel=0.02, abs=1e-15)
        for square in (1e-10, 1.0):
            squares = {effect.scatter: square for effect in profile.prior_table.prints}
            assert 0 <= variance_at(profile, row, **squares) < np.inf
