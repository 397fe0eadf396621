"""Predictions of a fit for other observations, against the conditional normal of all at once."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import t as student
from support.plain_mixture import NORMAL, WIDER, mixture_at, read_spans, seen_before_any
from support.synthetic import TYPICAL, Builder, coupon_design, observed

from coupons.errors import FitError
from coupons.learning.design import trials_of
from coupons.learning.effects import EFFECTS
from coupons.learning.estimator import (
    ObservationModel,
    OffsetRegressor,
    _effects_design,
    predict_new,
)
from coupons.learning.observation_table import COLUMNS, design_from_table, run_numbers
from coupons.learning.posterior.latent import latent_model
from coupons.learning.prior_table import EXTRUSION
from coupons.terms import Direction, Feature, Form

SCATTERS, WEIGHTS = (TYPICAL, WIDER), (0.3, 0.7)


def asked():
    """A size that was read, one that was not, and one of another print; each once more in it."""
    build = Builder()
    known = build.size(0, "S40", Feature(Form.TONGUE, 40.0, Direction.X))
    new = build.size(0, "new", Feature(Form.SLOT, 25.0, Direction.X))
    other = build.size(1, "S40", Feature(Form.TONGUE, 40.0, Direction.X))
    build.readings = [new, known, other]
    build.trials = [(new, known), (new, other)]
    return build.design(2)


def test_known_sizes_new_ones_and_other_prints_are_predicted_by_one_normal():
    """What was read and what is asked are parts of one design: condition one on the other."""
    read, new = read_spans(np.random.default_rng(8)), asked()
    mixture = mixture_at(read, NORMAL, SCATTERS, WEIGHTS)
    readings, trials = predict_new(mixture, new)
    # Both in one: the sizes of the first, then the two that it does not have.
    sizes = {}
    for name in ("drawn", "effects", "z_share", "run", "fixed_sd"):
        sizes[name] = np.concatenate([getattr(read.sizes, name), getattr(new.sizes, name)[[0, 2]]])
    names = [key for _, key in read.sizes.keys]
    order = [new.sizes.keys.index(key) for key in [(0, "new"), (1, "S40")]]
    for name in sizes:
        sizes[name][-2:] = getattr(new.sizes, name)[order]
    both_sizes = replace(read.sizes, keys=(*read.sizes.keys, (0, "new"), (1, "S40")), **sizes)
    at = np.array([*read.readings.size, 6, names.index("S40"), 7])
    both_readings = {
        name: np.concatenate([getattr(read.readings, name), getattr(new.readings, name)])
        for name in vars(read.readings)
    }
    both = replace(
        read,
        sizes=both_sizes,
        readings=replace(read.readings, **both_readings | {"size": at}),
        trials=trials_of([]),
        n_runs=2,
    )
    model = latent_model(both, NORMAL)
    known, told = np.arange(7), np.arange(7, 10)
    for k, scatters in enumerate(SCATTERS):
        mean, covariance = seen_before_any(model, scatters)
        gain = covariance[np.ix_(told, known)] @ np.linalg.inv(covariance[np.ix_(known, known)])
        expected = mean[told] + gain @ (read.readings.value - mean[known])
        spread = covariance[np.ix_(told, told)] - gain @ covariance[np.ix_(known, told)]
        noise = scatters.sigma**2 + 0.01**2 / 12
        assert readings.mean[k] == pytest.approx(expected, abs=1e-6)
        assert readings.variance[k] == pytest.approx(np.diag(spread) - noise, rel=1e-5)
        assert readings.scale[k] == pytest.approx(np.sqrt(noise))
        assert readings.weights[k] == pytest.approx(WEIGHTS[k])
        assert trials.weights[k] == pytest.approx(WEIGHTS[k])
        assert trials.omega[k] == scatters.omega
    assert (readings.dof, trials.lapse) == (1e9, 0.02)
    assert trials.mean.shape == (2, 2, 4)


def test_a_clearance_less_its_thresholds_is_predicted_with_their_moments():
    """Of a new pair on a printer of which nothing was learned: drawn gap, priors, deviations."""
    read = read_spans(np.random.default_rng(8))
    empty = {name: column[:0] for name, column in vars(read.readings).items()}
    read = replace(read, readings=replace(read.readings, **empty))
    mixture = mixture_at(read, NORMAL)
    _, trials = predict_new(mixture, asked())
    thresholds = mixture.modes[0].latent[len(EFFECTS) : len(EFFECTS) + 4]
    # The pair in one print: a slot of 25 with a tongue of 40, over both −2 · (0.04 + 0.06); the
    # scale of openings alone is 25 · (0, 0.002), that of both −15 · (−0.003, 0.005).
    assert trials.mean[0, 0] == pytest.approx(-15.0 - 0.2 + 0.045 - thresholds, abs=1e-3)
    growths = 4 * 2 * 0.08**2 + 4 * 2 * 0.015**2
    scales = (15 * 0.005) ** 2 + (25 * 0.002) ** 2
    own = 2 * 0.03**2
    # Of one print: shift over both, and its scale on the difference; the second shift cancels.
    prints = (2 * 0.02) ** 2 + (15 * 2e-4) ** 2
    barrier = np.diag(mixture.modes[0].covariance)[len(EFFECTS) : len(EFFECTS) + 4]
    expected = growths + scales + own + prints + barrier
    assert trials.variance[0, 0] == pytest.approx(expected, rel=1e-4)


@pytest.fixture(scope="module")
def fitted():
    """An estimator that was fitted to a few readings and trials: of which the fit is given."""
    design = observed(coupon_design(1, "A"), 1)
    model = ObservationModel()
    model.fitted_ = type("Given", (), {"mixture": mixture_at(design, EXTRUSION)})()
    model.runs_, model.n_features_in_ = (0.0,), len(COLUMNS)
    return model


def table(**columns):
    X = np.zeros((1, len(COLUMNS)))
    base = {"feature": 900, "form": 2, "direction": 2, "drawn_mm": 8.2, "along": -1, "jaws": -1}
    if columns.get("kind"):
        base |= {"mate": 901, "mate_direction": 2, "mate_drawn_mm": 8.0, "mate_sd_mm": -1}
    else:
        base |= {"mate": -1, "mate_sd_mm": -1, "resolution_mm": 0.01}
    for name, value in (base | columns).items():
        X[0, COLUMNS.index(name)] = value
    return X


def test_a_reading_is_scored_by_the_chance_of_the_step_that_was_shown(fitted):
    X = table()
    mean, std = fitted.predict(X, return_std=True)
    readings, _ = predict_new(fitted.fitted_.mixture, _of(X, fitted))
    size_sd, scale = np.sqrt(readings.variance[0, 0]), readings.scale[0, 0]
    assert std[0] == pytest.approx(np.sqrt(size_sd**2 + 2 * scale**2)), "of a t with 4: 2 σ²"
    nodes, weights = np.polynomial.hermite_e.hermegauss(60)
    for step, told in ((0.01, 0.01), (0.05, 0.05), (0.0, 0.01)):  # unsaid it is a hundredth
        X = table(resolution_mm=step)
        scale = predict_new(fitted.fitted_.mixture, _of(X, fitted))[0].scale[0, 0]
        value = np.round(mean[0] + 0.03, 2)
        edges = value + np.array([[-told / 2], [told / 2]]) - mean[0] - size_sd * nodes
        low, high = student.cdf(edges / scale, 4) @ weights / weights.sum()
        assert fitted.score(X, [value]) == pytest.approx(np.log(high - low), abs=2e-3)


def _of(X, fitted):
    return design_from_table(X, np.zeros(len(X)), run_numbers(X, fitted.runs_))


def test_a_trial_is_scored_by_the_chance_of_all_that_was_left_open(fitted):
    chances = fitted.predict_grades(table(kind=1))[0]
    assert chances.sum() == pytest.approx(1)
    for rank, width in ((0, 0), (2, 0), (1, 2), (2, 2), (4, 0), (3, 4)):
        told = chances[rank : rank + width + 1].sum()
        assert fitted.score(table(kind=1, width=width), [rank]) == pytest.approx(np.log(told))
    mean, std = fitted.predict(table(kind=1), return_std=True)
    ranks = np.arange(5)
    assert mean[0] == pytest.approx(chances @ ranks)
    assert std[0] == pytest.approx(np.sqrt(chances @ (ranks - mean[0]) ** 2))
    both = np.concatenate([table(), table(kind=1)])
    grades = fitted.predict_grades(both)
    assert np.isnan(grades[0]).all()
    assert grades[1] == pytest.approx(chances)
    scores = [fitted.score(table(), [8.2]), fitted.score(table(kind=1), [2])]
    assert fitted.score(both, [8.2, 2]) == pytest.approx(np.mean(scores))


def test_what_cannot_be_has_a_score_that_is_finite(fitted):
    assert fitted.score(table(), [900.0]) == pytest.approx(np.log(np.finfo(float).tiny))


def test_each_row_of_effects_is_a_reading_of_a_size_of_its_own():
    X = np.array([[2.0, 40.0], [2.0, 10.0]])
    design = _effects_design(X, np.array([0.1, 0.2]), "new ")
    assert design.sizes.keys == ((0, "new 0"), (0, "new 1"))
    assert design.sizes.effects[:, :2].tolist() == X.tolist()
    assert not design.sizes.effects[:, 2:].any()
    assert design.sizes.is_printed.all()
    for part in (design.sizes.drawn, design.sizes.z_share, design.sizes.run):
        assert not part.any()
    readings = design.readings
    assert readings.value.tolist() == [0.1, 0.2]
    assert readings.size.tolist() == [0, 1]
    assert readings.jaws.tolist() == [-1, -1]
    for part in (readings.effects, readings.resolution, readings.uncertainty, readings.gives):
        assert not part.any()
    assert len(design.trials.row) == 0
    assert design.n_runs == 1


def test_as_many_columns_as_there_are_effects_are_taken_and_no_more():
    most = len(EFFECTS)
    assert _effects_design(np.ones((2, most)), np.ones(2), "").sizes.effects.all()
    with pytest.raises(FitError, match=f"at most {most} columns. Got {most + 1} instead"):
        OffsetRegressor().fit(np.ones((2, most + 1)), np.ones(2))
