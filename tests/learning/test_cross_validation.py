"""Coverage and error of features left out."""

import numpy as np
import pytest
from support.prior_printer import draw_printer, observe, print_sizes
from support.synthetic import coupon_design, with_reports

from coupons.learning.checking.cross_validation import hold_out, likeliest_sets
from coupons.learning.checking.downdate import Fold, without
from coupons.learning.fit import fit_design


def observed(seed):
    rng = np.random.default_rng(seed)
    design, printer = coupon_design(1, "ABD"), draw_printer(rng)
    return observe(printer, design, print_sizes(printer, design, rng), rng)


@pytest.mark.slow
def test_ninety_percent_intervals_hold_ninety_percent():
    """16 printers, 608 readings and 768 trials; one sd of such a share is about 1.2 %."""
    found = [hold_out(fit_design(observed(seed)).mixture) for seed in range(16)]
    inside = np.mean([one.readings.inside for one in found])
    assert 0.86 <= inside <= 0.94
    trials = np.mean([one.trials.inside for one in found])
    expected = np.mean([one.trials.expected_inside for one in found])
    assert trials == pytest.approx(expected, abs=0.03)


@pytest.mark.slow
def test_a_wild_reading_shows_in_the_rms_and_not_in_the_median():
    sound = observed(3)
    value = sound.readings.value.copy()
    value[4] += 1.0
    before = hold_out(fit_design(sound).mixture).readings
    after = hold_out(fit_design(with_reports(sound, value=value)).mixture).readings
    assert after.rmse_mm > before.rmse_mm + 0.1
    assert after.median_error_mm == pytest.approx(before.median_error_mm, abs=0.01)


@pytest.mark.slow
def test_what_was_not_observed_is_none():
    sound = observed(3)
    readings, trials = (np.arange(n) for n in (len(sound.readings.size), len(sound.trials.row)))
    none = np.zeros(0, int)
    only_read = hold_out(fit_design(without(sound, Fold(none, trials, trials))).mixture)
    assert only_read.trials is None
    assert only_read.readings.count == len(readings)
    only_tried = hold_out(fit_design(without(sound, Fold(readings, none, none))).mixture)
    assert only_tried.readings is None
    assert only_tried.trials.count == len(trials)


def test_likeliest_sets_are_the_smallest_that_hold_enough():
    rng = np.random.default_rng(1)
    chances = rng.dirichlet(np.ones(5), 200)
    chosen = likeliest_sets(chances, 0.8)
    content = (chances * chosen).sum(axis=1)
    assert (content >= 0.8).all()
    smallest = np.where(chosen, chances, np.inf).min(axis=1)
    assert (content - smallest < 0.8).all()
    assert (smallest >= np.where(chosen, 0, chances).max(axis=1)).all()


def test_the_share_inside_leaves_out_both_tails():
    from types import SimpleNamespace

    from coupons.learning.checking.cross_validation import _score_readings

    below = np.array([0.01, 0.04, 0.06, 0.5, 0.94, 0.96, 0.99])
    predicted = SimpleNamespace(expected_mm=np.zeros(7), chance_below=lambda _: below)
    found = _score_readings(predicted, np.full(7, 0.1))
    assert 3 / 7 in vars(found).values(), "0.06, 0.5 and 0.94 are within 90 %"
