"""The model beside the library's regressors on readings alone."""

import numpy as np
import pytest
from support.prior_printer import draw_printer, observe, print_sizes
from support.synthetic import coupon_design, with_reports

from coupons.learning.checking.downdate import Fold, without
from coupons.learning.checking.regressors import effect_table, measure_against


def observed(seed, rows="ABD"):
    rng = np.random.default_rng(seed)
    design, printer = coupon_design(1, rows), draw_printer(rng)
    return observe(printer, design, print_sizes(printer, design, rng), rng)


@pytest.mark.slow
def test_on_readings_alone_the_model_is_as_good_as_the_best_of_the_library():
    """Six printers; the library's regressors know neither priors nor tails."""
    ratios = []
    for seed in range(6):
        ours, robust, bayesian, drawn = measure_against(observed(seed))
        assert ours.rmse_mm < drawn.rmse_mm
        best = min(robust.median_error_mm, bayesian.median_error_mm)
        ratios.append(ours.median_error_mm / best)
    assert np.median(ratios) <= 1.1


@pytest.mark.slow
def test_a_wild_reading_moves_the_bayesian_regression_and_not_the_model():
    sound = observed(1)
    value = sound.readings.value.copy()
    value[2] += 2.0
    ours, _, bayesian, _ = measure_against(with_reports(sound, value=value))
    before, _, bayesian_before, _ = measure_against(sound)
    assert ours.median_error_mm <= 1.3 * before.median_error_mm
    assert bayesian.median_error_mm > 1.3 * bayesian_before.median_error_mm


def test_the_table_holds_errors_and_only_effects_that_act():
    design = observed(2)
    X, error_mm, groups = effect_table(design)
    assert X.any(axis=0).all()
    assert error_mm + design.sizes.drawn[groups] == pytest.approx(design.readings.value)


def test_too_few_features_make_no_yardstick():
    design = coupon_design(1, "")
    few = np.flatnonzero(design.readings.size < 5)
    none = np.zeros(0, int)
    rest = np.setdiff1d(np.arange(len(design.readings.size)), few)
    assert measure_against(without(design, Fold(rest, none, none))) == ()
