"""Leaving entries out where all is normal: against the formula of a conditional normal."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import multivariate_normal
from support.plain_mixture import NORMAL, WIDER, mixture_at, read_spans, seen_before_any
from support.synthetic import TYPICAL, coupon_design, observed

from coupons.learning.checking import downdate
from coupons.learning.checking.bayes_factors import BayesFactors
from coupons.learning.checking.downdate import (
    Fold,
    each_alone,
    each_feature,
    predict_left_out,
    without,
)
from coupons.learning.prior_table import EXTRUSION

SCATTERS, WEIGHTS = (TYPICAL, WIDER), (0.3, 0.7)
NOTHING = np.zeros(0, np.intp)


@pytest.fixture(scope="module")
def spans():
    design = read_spans(np.random.default_rng(8))
    # The sixth reading is a repeat of the fifth to the last digit.
    at = np.array([0, 1, 2, 3, 4, 4, 5, 6])
    readings = {name: column[at] for name, column in vars(design.readings).items()}
    return replace(design, readings=replace(design.readings, **readings))


def normals(mixture):
    return [seen_before_any(mixture.model, scatters) for scatters in mixture.scatters]


@pytest.mark.parametrize("split", [each_alone, each_feature])
def test_what_is_left_out_is_predicted_by_the_conditional_normal(spans, split):
    mixture = mixture_at(spans, NORMAL, SCATTERS, WEIGHTS)
    value, groups = spans.readings.value, split(spans)
    told, _ = predict_left_out(mixture, groups)
    for group in groups:
        out = group.readings
        rest = np.setdiff1d(np.arange(len(value)), out)
        heights = []
        for k, (mean, covariance) in enumerate(normals(mixture)):
            gain = covariance[np.ix_(out, rest)] @ np.linalg.inv(covariance[np.ix_(rest, rest)])
            expected = mean[out] + gain @ (value[rest] - mean[rest])
            seen = covariance[np.ix_(out, out)] - gain @ covariance[np.ix_(rest, out)]
            noise = mixture.scatters[k].sigma ** 2 + 0.01**2 / 12
            assert told.mean[k, out] == pytest.approx(expected, abs=1e-6)
            assert told.variance[k, out] == pytest.approx(np.diag(seen) - noise, rel=1e-5)
            whole = multivariate_normal.logpdf(value, mean, covariance)
            least = multivariate_normal.logpdf(
                value[rest], mean[rest], covariance[np.ix_(rest, rest)]
            )
            heights.append(np.log(WEIGHTS[k]) + least - whole)
        weights = np.exp(heights) / np.exp(heights).sum()
        for at in out:
            assert told.weights[:, at] == pytest.approx(weights, rel=1e-4)


def test_the_mean_is_moved_by_the_skewness_of_the_whole_fit_but_for_own_deviations(spans):
    mixture = mixture_at(spans, NORMAL)
    plain, _ = predict_left_out(mixture, each_alone(spans))
    moved = np.full(len(mixture.means[0]), 0.001)
    skewed = replace(mixture, means=(mixture.means[0] + moved,))
    told, _ = predict_left_out(skewed, each_alone(spans))
    expected = 0.001 * mixture.model.reading_shared.sum(axis=1)
    assert told.mean[0] - plain.mean[0] == pytest.approx(expected, abs=1e-9)


def test_where_the_step_is_too_long_to_trust_the_mode_is_found_again():
    design = observed(coupon_design(1, "A"), 1)
    mixture, groups = mixture_at(design, EXTRUSION), each_feature(design)
    usual, usual_trials = predict_left_out(mixture, groups)
    refitted, refitted_trials = predict_left_out(mixture, groups, trusted=-1.0)
    never, _ = predict_left_out(mixture, groups, trusted=np.inf)
    sd = np.sqrt(refitted.variance + refitted.scale**2)
    assert abs(usual.mean - refitted.mean).max() < 0.15 * sd.max()
    assert abs(usual_trials.chances - refitted_trials.chances).max() < 0.05
    trusted = (usual.mean == never.mean).all(axis=0)
    assert 0 < trusted.sum() < len(trusted), "some are trusted, some found again"


def test_each_entry_alone_and_each_feature_with_all_its_trials():
    design = coupon_design(1, "")
    sizes = replace(design.sizes, drawn=np.array([5.0, 5.2, 6.0, 7.0]))
    readings = {name: column[:4] for name, column in vars(design.readings).items()}
    readings = replace(design.readings, **readings | {"size": np.array([0, 0, 1, 2])})
    trials = replace(
        design.trials,
        internal=np.array([0, 1, 1]),
        external=np.array([2, 2, 2]),
        losses=np.zeros((3, 4)),
        tightest=np.zeros(3, int),
        loosest=np.zeros(3, int),
        hand=np.zeros(3, int),
        row=np.arange(3),
    )
    design = replace(design, sizes=sizes, readings=readings, trials=trials)

    def told(groups):
        return [tuple(part.tolist() for part in vars(group).values()) for group in groups]

    assert told(each_alone(design)) == [
        ([0], [], []),
        ([1], [], []),
        ([2], [], []),
        ([3], [], []),
        ([], [0], [0]),
        ([], [1], [1]),
        ([], [2], [2]),
    ]
    # Size 2 was tried three times: it takes all trials with it and is scored on none. Size 3 takes
    # part in nothing.
    assert told(each_feature(design)) == [
        ([0, 1], [0], [0]),
        ([2], [1, 2], [1, 2]),
        ([3], [0, 1, 2], []),
    ]
    less = without(design, Fold(np.array([1]), np.array([0, 2]), NOTHING))
    assert less.readings.size.tolist() == [0, 1, 2]
    assert less.trials.row.tolist() == [1]
    assert less.sizes is design.sizes


def test_readings_are_equal_to_a_micrometre_and_trials_by_all_that_counts():
    design = observed(coupon_design(1, "A"), 1)
    first = np.array([0, 0, 0])
    readings = {name: column[first] for name, column in vars(design.readings).items()}
    value = readings["value"] + np.array([0.0, 0.0001, 0.002])
    trials = {name: column[first] for name, column in vars(design.trials).items()}
    hand = np.array([0, 0, 1])
    design = replace(
        design,
        readings=replace(design.readings, **readings | {"value": np.round(value, 4)}),
        trials=replace(design.trials, **trials | {"hand": hand}),
    )
    kept, twin = downdate._without_twins(design)
    assert len(kept.readings.value) == 2
    assert kept.trials.hand.tolist() == [0, 1]
    # The edges: a reading has one, a trial four.
    assert twin.tolist() == [0, 0, 1, *range(2, 6), *range(2, 6), *range(6, 10)]


def shifted(design, at, by_mm):
    value = design.readings.value.copy()
    value[at] += by_mm
    return replace(design, readings=replace(design.readings, value=value))


@pytest.mark.parametrize(("at", "by_mm"), [([4, 5], -0.2), (0, 0.01), (1, -0.05)])
def test_evidence_compares_densities_averaged_over_the_scatters(spans, at, by_mm):
    """Where all is normal, of the whole sheet as typed and as changed."""
    mixture, changed = mixture_at(spans, NORMAL, SCATTERS, WEIGHTS), shifted(spans, at, by_mm)
    gains = [
        multivariate_normal.logpdf(changed.readings.value, *normal)
        - multivariate_normal.logpdf(spans.readings.value, *normal)
        for normal in normals(mixture)
    ]
    assert gains[1] > -2, "else only the heaviest point is looked at"
    expected = np.log(np.exp(gains) @ WEIGHTS)
    assert BayesFactors(mixture).log_odds(changed) == pytest.approx(expected, abs=1e-3)
    other = shifted(spans, 2, 0.01)
    gains = [
        multivariate_normal.logpdf(changed.readings.value, *normal)
        - multivariate_normal.logpdf(other.readings.value, *normal)
        for normal in normals(mixture)
    ]
    expected = np.log(np.exp(gains) @ WEIGHTS)
    assert BayesFactors(mixture).log_odds(changed, other) == pytest.approx(expected, abs=1e-3)


def test_a_change_that_is_hopeless_at_the_heaviest_point_is_tried_at_no_other(spans):
    mixture, changed = mixture_at(spans, NORMAL, SCATTERS, WEIGHTS), shifted(spans, 4, 0.2)
    mean, covariance = normals(mixture)[1]
    gain = multivariate_normal.logpdf(changed.readings.value, mean, covariance)
    gain -= multivariate_normal.logpdf(spans.readings.value, mean, covariance)
    assert gain < -2
    assert BayesFactors(mixture).log_odds(changed) == pytest.approx(gain, abs=1e-3)


def test_only_the_four_heaviest_points_are_looked_at(spans):
    scatters = (*SCATTERS, *SCATTERS, WIDER)
    evidence = BayesFactors(mixture_at(spans, NORMAL, scatters, (0.1, 0.4, 0.2, 0.05, 0.25)))
    assert evidence.mixture.weights == pytest.approx(np.array([0.1, 0.4, 0.2, 0.25]) / 0.95)
    assert evidence.order.tolist() == [1, 3, 2, 0]
    assert evidence.design is spans
