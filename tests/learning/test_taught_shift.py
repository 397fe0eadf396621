"""What prints that taught a machine had of their own, against one normal of both, written out."""

import numpy as np
import pytest

from coupons.learning.print_effects import TaughtShift, taught_shift
from coupons.learning.profile import LogSpread

# Four terms, of which two print effects pass for some; the last term is no part of the model.
PRIOR_SD = np.array([0.08, 0.06, 0.12, 0.0])
PASSES = np.array([[0.5, 0.0], [-0.5, 0.0], [0.0, 1.0], [0.0, 0.0]])
SPREADS = (LogSpread(median_mm=0.05, log_sd=0.4), LogSpread(median_mm=0.04, log_sd=0.6))
RUNS = (1, 1)


class Normals:
    """Readings y = W(β + A·s) + noise, of terms β and of the mean effects s of the prints."""

    def __init__(self, noise_mm=0.02):
        weights = np.random.default_rng(4).normal(size=(7, 4)) * (PRIOR_SD > 0)
        self.information = weights.T @ weights / noise_mm**2

    def posterior(self, squares):
        """Covariance of (β, s), for given variances of s."""
        rows = np.hstack([np.eye(4), PASSES])
        prior = np.diag(np.concatenate([PRIOR_SD**2, squares]))
        root = np.sqrt(prior)
        whole = np.eye(6) + root @ rows.T @ self.information @ rows @ root
        return root @ np.linalg.inv(whole) @ root

    def taught(self, squares):
        terms = self.posterior(squares)[:4, :4]
        return taught_shift(terms, PRIOR_SD**2, PASSES, SPREADS, RUNS)


def believed():
    """After one print nothing is learned of how much prints differ: the mean squares."""
    weights = [spread.variance_rule() for spread in SPREADS]
    return np.array([rule @ squares for squares, rule in weights])


@pytest.fixture(scope="module")
def normals():
    return Normals()


def test_the_means_of_print_effects_are_known_as_one_normal_says(normals):
    squares = believed()
    found = normals.taught(squares).covariance(squares)
    assert found == pytest.approx(normals.posterior(squares)[4:, 4:], rel=1e-6)


@pytest.mark.parametrize("times", [0.1, 0.5, 3.0])
def test_had_prints_differed_otherwise_the_machine_would_be_known_as_another_fit_says(
    normals, times
):
    squares = believed()
    taught, other = normals.taught(squares), times * squares
    of_means = taught.covariance(other)
    expected = normals.posterior(other)
    assert of_means == pytest.approx(expected[4:, 4:], rel=1e-6)
    terms = taught.root @ taught.root.T + taught.slope @ of_means @ taught.slope.T
    assert terms == pytest.approx(expected[:4, :4], rel=1e-5, abs=1e-9)
    towards = taught.slope @ of_means
    assert towards == pytest.approx(expected[:4, 4:], rel=1e-5, abs=1e-9)
    assert abs(expected[:4, :4] - normals.posterior(squares)[:4, :4]).max() > 1e-5


def test_given_the_means_the_terms_do_not_depend_on_them(normals):
    squares = believed()
    whole = normals.posterior(squares)
    given = whole[:4, :4] - whole[:4, 4:] @ np.linalg.solve(whole[4:, 4:], whole[4:, :4])
    root = normals.taught(squares).root
    assert root @ root.T == pytest.approx(given, rel=1e-5, abs=1e-9)


def test_several_prints_make_their_mean_less_uncertain_and_none_count_as_one():
    information = np.array([[300.0, 40.0], [40.0, 500.0]])
    taught = TaughtShift(np.eye(4), np.zeros((4, 2)), information, np.array([3, 1]))
    squares = np.array([[0.01, 0.02], [0.04, 0.05]])
    for found, square in zip(taught.covariance(squares), squares, strict=True):
        expected = np.linalg.inv(information + np.diag([3 / square[0], 1 / square[1]]))
        assert found == pytest.approx(expected)
    none = taught_shift(np.diag(PRIOR_SD**2), PRIOR_SD**2, PASSES, SPREADS, (0, 4))
    assert none.runs.tolist() == [1, 4]


def test_where_nothing_was_learned_prints_are_as_before(normals):
    nothing = taught_shift(np.diag(PRIOR_SD**2), PRIOR_SD**2, PASSES, SPREADS, (1, 1))
    assert nothing.information == pytest.approx(np.zeros((2, 2)), abs=1e-9)
    assert nothing.covariance(believed()) == pytest.approx(np.diag(believed()))
    assert normals.taught(believed()).information[0, 0] > 1


def test_several_prints_are_averaged_over_how_much_they_differ():
    """The posterior is the average over the five nodes of the scatter; so is the mean's variance.

    One term that one effect passes for: without other terms all is a division.
    """
    spread, runs, seen = LogSpread(median_mm=0.05, log_sd=0.5), 4, 900.0
    squares, weights = spread.variance_rule()
    prior, passes = np.array([0.08**2]), np.array([[1.0]])

    def posterior_of_term(square):
        return 1 / (1 / prior[0] + 1 / (1 / seen + square / runs))

    variance = weights @ [posterior_of_term(square) for square in squares]
    taught = taught_shift(np.array([[variance]]), prior, passes, (spread,), (runs,))
    averaged = weights @ [
        (taught.root @ taught.root.T)[0, 0]
        + taught.slope[0, 0] ** 2 * taught.covariance(np.array([square]))[0, 0]
        for square in squares
    ]
    assert averaged == pytest.approx(variance, rel=0.01)
    # Taken at the mean square, as one print is, it would say more.
    alone = taught_shift(np.array([[variance]]), prior, passes, (spread,), (1,))
    assert abs(alone.information[0, 0] / taught.information[0, 0] - 1) > 0.1


def test_a_covariance_smaller_than_any_fit_leaves_keeps_a_hundredth_of_the_mean_open():
    """Of the mean's variance at least 1 % stays: its information is 99 times that of its prior."""
    tiny = taught_shift(np.diag([1e-12, 1, 1, 0.0]), PRIOR_SD**2 + 1e-3, PASSES, SPREADS, RUNS)
    assert np.isfinite(tiny.root).all()
    prior, passes = np.array([1e-4]), np.array([[1.0]])
    spread = LogSpread(median_mm=0.1, log_sd=1e-9)
    found = taught_shift(np.array([[1e-12]]), prior, passes, (spread,), (1,))
    assert found.information[0, 0] == pytest.approx(99 / 0.01, rel=1e-3)
