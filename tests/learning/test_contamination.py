"""Entries as people make them: some grades noted without looking, some numbers mistyped."""

from dataclasses import replace

import numpy as np
import pytest
from support.prior_printer import draw_printer, observe, print_sizes
from support.synthetic import coupon_design, mistyped, with_reports, with_slips

from coupons.learning.effects import EFFECTS, THRESHOLDS, effect_row, print_moves
from coupons.learning.fit import fit_design
from coupons.learning.posterior.latent import N_TERMS
from coupons.learning.prior_table import EXTRUSION
from coupons.terms import Direction, Feature, Form, Grade

PRINTERS = 24
LAPSES, MISTYPED = 0.02, 0.03
SLIDE = len(EFFECTS) + THRESHOLDS.index(Grade.SLIDE)


def slide_gap(terms, own):
    """Gap at which a slot and a tongue of 6 mm across x begin to slide on this print."""
    opens = effect_row(Feature(Form.SLOT, 6.0, Direction.X))
    opens = opens - effect_row(Feature(Form.TONGUE, 6.0, Direction.X))
    return terms[SLIDE] - opens @ (terms[: len(EFFECTS)] + print_moves(EXTRUSION) @ own)


def found_gap(design):
    mixture = fit_design(design).mixture
    latent = mixture.moments[0]
    return slide_gap(latent[:N_TERMS], latent[N_TERMS : N_TERMS + len(EXTRUSION.prints)])


def spoiled(design, rng):
    """Let hands lapse and fingers slip."""
    said = design.trials.tightest
    lapsed = rng.random(len(said)) < LAPSES
    grade = np.where(lapsed, rng.integers(0, 5, len(lapsed)), said)
    return with_slips(with_reports(design, tightest=grade), MISTYPED, rng)


@pytest.mark.slow
def test_lapses_and_mistyped_readings_cost_a_tenth_at_most():
    """24 printers, each with sound and with spoiled entries (of 150 the ratio was 1.02 ± 0.013;
    of 24 its standard error is 0.033)."""
    blank = coupon_design(1, "ABCD")
    off = []
    for seed in range(PRINTERS):
        rng = np.random.default_rng(seed)
        printer = replace(draw_printer(rng), table=replace(EXTRUSION, lapse=0.0))
        printed = print_sizes(printer, blank, rng)
        sound = observe(printer, blank, printed, rng)
        truth = slide_gap(printer.terms, printed.own[0])
        off.append([found_gap(sound) - truth, found_gap(spoiled(sound, rng)) - truth])
    rmse_sound, rmse_spoiled = np.sqrt(np.mean(np.square(off), axis=0))
    assert rmse_sound <= 0.045
    assert rmse_spoiled <= 1.10 * rmse_sound  # a quarter is what the project allows itself


def test_the_gap_needed_follows_from_growth_and_what_the_print_has_of_its_own():
    terms, own = np.zeros(N_TERMS), np.zeros(len(EXTRUSION.prints))
    terms[EFFECTS.index("growth_int")], terms[EFFECTS.index("growth_ext")] = 0.05, 0.03
    terms[SLIDE] = 0.1
    own[0] = 0.01  # half of it grows every outer face, half every inner one
    assert slide_gap(terms, own) == pytest.approx(0.1 + 2 * 0.05 + 2 * 0.03 + 0.02)


def test_a_mistyped_number_differs_in_one_digit_or_two():
    rng = np.random.default_rng(1)
    typed = [mistyped(12.34, rng) for _ in range(200)]
    pairs = [zip(f"{t:05.2f}", "12.34", strict=True) for t in typed]
    assert max(sum(a != b for a, b in pair) for pair in pairs) == 2
    assert len(set(typed)) > 5
