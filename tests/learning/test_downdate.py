"""Leaving entries out by a downdate, held against fitting without them."""

from dataclasses import replace

import numpy as np
import pytest
from support.prior_printer import draw_printer, observe, print_sizes
from support.synthetic import coupon_design
from support.work import lines_run, most_bytes

from coupons.learning.checking.downdate import (
    Fold,
    each_alone,
    each_feature,
    predict_left_out,
    without,
)
from coupons.learning.fit import fit_design
from coupons.learning.posterior.laplace import find_mode
from coupons.learning.posterior.latent import latent_model


def fitted(seed, rows="ABE"):
    rng = np.random.default_rng(seed)
    design, printer = coupon_design(1, rows), draw_printer(rng)
    return fit_design(observe(printer, design, print_sizes(printer, design, rng), rng))


def fitted_without(mixture, group):
    """Mean and variance of a group's first reading at each design point, by fitting anew."""
    design = mixture.model.design
    model = latent_model(without(design, group), mixture.model.table)
    at = design.readings.size[group.readings[0]]
    row = np.zeros(len(mixture.modes[0].latent))
    row[: model.n_shared] = mixture.model.reading_shared[group.readings[0]]
    row[model.n_shared + at] = 1.0
    modes = [find_mode(model, scatters) for scatters in mixture.scatters]
    skew = np.array(mixture.means) - np.array([mode.latent for mode in mixture.modes])
    off_mode = skew[:, : model.n_shared] @ row[: model.n_shared]
    means = [design.sizes.drawn[at] + row @ mode.latent for mode in modes] + off_mode
    return np.array(means), np.array([row @ mode.covariance @ row for mode in modes])


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1, 2])
def test_a_feature_left_out_is_predicted_as_if_it_had_never_been_entered(seed):
    mixture = fitted(seed).mixture.heaviest(9)
    groups = [group for group in each_feature(mixture.model.design) if len(group.readings)][::6]
    told, _ = predict_left_out(mixture, each_feature(mixture.model.design))
    for group in groups:
        mean, variance = fitted_without(mixture, group)
        at = group.readings[0]
        off = abs(told.mean[:, at] - mean) / np.sqrt(variance)
        ratio = told.variance[:, at] / variance
        assert np.median(off) <= 0.05
        assert off.max() <= 0.25
        assert abs(np.median(ratio) - 1) <= 0.1
        assert abs(np.log(ratio)).max() <= 0.4


@pytest.mark.slow
@pytest.mark.parametrize("split", [each_feature, each_alone])
def test_the_quick_way_agrees_with_the_slow_one(split):
    mixture = fitted(3).mixture
    groups = split(mixture.model.design)
    quick, quick_trials = predict_left_out(mixture, groups)
    slow, slow_trials = predict_left_out(mixture, groups, trusted=-1.0)
    off = abs(quick.expected_mm - slow.expected_mm) / slow.sd_mm
    assert np.median(off) <= 0.01
    # A reading that fights its feature's trials leaves two modes behind, either of which may be
    # found: one reading in twenty may differ.
    assert (off <= 0.15).mean() >= 0.95
    assert np.median(abs(quick.sd_mm / slow.sd_mm - 1)) <= 0.01
    chance_off = abs(quick_trials.chances - slow_trials.chances).max(axis=1)
    assert np.median(chance_off) <= 0.005
    assert (chance_off <= 0.05).mean() >= 0.95


def with_repeats(design, times):
    """The design with its first reading, a hundredth off at most, and trial made so often more."""

    def again(rows):
        at = np.r_[np.arange(len(rows.row)), np.zeros(times, np.intp)]
        return replace(rows, **{name: column[at] for name, column in vars(rows).items()})

    readings, trials = again(design.readings), again(design.trials)
    readings.value[-times:] += np.random.default_rng(times).choice([-0.01, 0.0, 0.01], times)
    return replace(design, readings=readings, trials=trials)


@pytest.mark.slow
@pytest.mark.parametrize("split", [each_feature, each_alone])
def test_repeats_are_left_out_as_if_each_had_been_taken_by_itself(split):
    design = with_repeats(fitted(5, "A").design, 30)
    mixture = fit_design(design).mixture
    quick, quick_trials = predict_left_out(mixture, split(design))
    slow, slow_trials = predict_left_out(mixture, split(design), trusted=-1.0)
    off = abs(quick.expected_mm - slow.expected_mm) / slow.sd_mm
    assert (off <= 0.15).mean() >= 0.95
    assert np.median(abs(quick.sd_mm / slow.sd_mm - 1)) <= 0.01
    chance_off = abs(quick_trials.chances - slow_trials.chances).max(axis=1)
    assert (chance_off <= 0.05).mean() >= 0.95


def work_with_repeats(times):
    design = with_repeats(fitted(5, "A").design, times)
    mixture = fit_design(design).mixture

    def leave_out():
        return [predict_left_out(mixture, split(design)) for split in (each_feature, each_alone)]

    return np.array([lines_run(leave_out)[1], most_bytes(leave_out)[1]])


@pytest.mark.slow
def test_ten_times_the_repeats_take_at_most_about_ten_times_the_work():
    few, many = (work_with_repeats(times) for times in (40, 400))
    assert (many < 15 * few).all()


@pytest.mark.slow
def test_every_observation_is_told_once():
    design = fitted(4).design
    for split in (each_feature, each_alone):
        groups = split(design)
        readings = np.concatenate([group.readings for group in groups])
        trials = np.concatenate([group.scored_trials for group in groups])
        assert sorted(readings) == list(range(len(design.readings.size)))
        assert sorted(trials) == list(range(len(design.trials.internal)))


@pytest.mark.slow
def test_a_loose_piece_left_out_takes_all_its_trials_with_it_and_tells_none():
    design = fitted(4).design
    mate = design.trials.external[0]  # row A: holes tried with a pin
    groups = {g.readings[0]: g for g in each_feature(design) if len(g.readings)}
    group = groups[np.flatnonzero(design.readings.size == mate)[0]]
    assert len(group.trials) == (design.trials.external == mate).sum() > 1
    assert len(group.scored_trials) == 0


@pytest.mark.slow
def test_without_removes_the_observations_and_keeps_the_sizes():
    design = fitted(4).design
    less = without(design, Fold(np.array([0, 2]), np.array([1]), np.array([1])))
    assert len(less.readings.value) == len(design.readings.value) - 2
    assert len(less.trials.internal) == len(design.trials.internal) - 1
    assert less.readings.row[0] == design.readings.row[1]
    assert less.sizes is design.sizes
