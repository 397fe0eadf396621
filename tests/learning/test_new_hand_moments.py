"""Moments of another hand against a conditional normal, and proposed trials by hand."""

from types import SimpleNamespace

import numpy as np
import pytest
from support.known_profile import known_profile
from support.small_coupon import small_coupon

from coupons.learning.effects import TERMS, THRESHOLDS
from coupons.learning.new_hand import (
    FEWEST_TRIALS,
    PROPOSED_TRIALS,
    _clearance_mm,
    moments_for_hand,
    trials_to_make,
    with_thresholds,
)
from coupons.learning.profile import Hand
from coupons.making.record import CouponTrial

N = len(TERMS)
AT = [TERMS.index(f"from_{grade}") for grade in THRESHOLDS]
PLASTIC = np.setdiff1d(np.arange(N), AT)
# Of a fit of two hands: all terms, three values that only the fit has, one deviation a person.
N_SHARED = N + 3 + 2


def spread(n, seed, scale=0.05):
    root = np.random.default_rng(seed).normal(size=(n, n)) * scale
    return root @ root.T + 1e-4 * np.eye(n)


@pytest.fixture(scope="module")
def fitted():
    mean, covariance = np.random.default_rng(2).normal(size=N_SHARED) * 0.1, spread(N_SHARED, 3)

    def shared_moments(count):
        return mean[:count], covariance[:count, :count]

    return SimpleNamespace(
        mixture=SimpleNamespace(
            model=SimpleNamespace(n_shared=N_SHARED), shared_moments=shared_moments
        ),
        design=SimpleNamespace(hands=("Ada", "Bo")),
    )


@pytest.mark.parametrize("hand", [0, 1])
def test_a_hand_is_what_the_fit_says_of_it_given_the_plastic_of_the_profile(fitted, hand):
    profile = SimpleNamespace(
        mean_vector=np.random.default_rng(5).normal(size=N) * 0.1, covariance_matrix=spread(N, 6)
    )
    mean, covariance = moments_for_hand(profile, fitted, hand)
    assert (mean[PLASTIC] == profile.mean_vector[PLASTIC]).all()
    kept = np.ix_(PLASTIC, PLASTIC)
    assert (covariance[kept] == profile.covariance_matrix[kept]).all()
    # In the fit: a person's threshold is that of people at large and his own deviation.
    of_fit, spread_of_fit = fitted.mixture.shared_moments(N_SHARED)
    rows = np.zeros((4 + len(PLASTIC), N_SHARED))
    rows[np.arange(4), AT] = rows[:4, N + 3 + hand] = 1
    rows[np.arange(4, len(rows)), PLASTIC] = 1
    of_fit, spread_of_fit = rows @ of_fit, rows @ spread_of_fit @ rows.T
    # κ given β, from the joint normal's precision, and then β of the profile.
    precision = np.linalg.inv(spread_of_fit)
    rest = np.linalg.inv(precision[:4, :4])
    slope = -rest @ precision[:4, 4:]
    expected = of_fit[:4] + slope @ (profile.mean_vector[PLASTIC] - of_fit[4:])
    assert mean[AT] == pytest.approx(expected)
    known = profile.covariance_matrix[kept]
    assert covariance[np.ix_(AT, AT)] == pytest.approx(rest + slope @ known @ slope.T)
    assert covariance[np.ix_(AT, PLASTIC)] == pytest.approx(slope @ known)
    assert covariance == pytest.approx(covariance.T)


def test_thresholds_are_rounded_as_in_the_file_and_all_else_is_as_it_was():
    profile = known_profile()
    mean, covariance = profile.mean_vector.copy(), profile.covariance_matrix.copy()
    mean[AT] = [-0.0912345678, 0.0123456789, 0.1234567891, 0.3456789123]
    covariance[np.ix_(AT, AT)] = np.diag([0.00123456, 0.00234567, 0.00345678, 0.00456789])
    mean[0] = 99.0  # of no threshold: not looked at
    found = with_thresholds(profile, mean, covariance, Hand(by="Bo", trials=8))
    assert [found.means[TERMS[at]] for at in AT] == [-0.091235, 0.012346, 0.12346, 0.34568]
    variances = np.diag(found.covariance_matrix)[AT]
    assert variances.tolist() == [0.001235, 0.002346, 0.003457, 0.004568]
    assert found.hand == Hand(by="Bo", trials=8)
    same = [name for name in TERMS if not name.startswith("from_")]
    assert all(found.means[name] == profile.means[name] for name in same)
    kept = np.ix_(PLASTIC, PLASTIC)
    assert (found.covariance_matrix[kept] == profile.covariance_matrix[kept]).all()


def test_variances_grow_by_no_more_than_rounding_asks_for():
    """Thresholds that go with one another wholly: rounded, one would know more than everything."""
    profile = known_profile()
    covariance = profile.covariance_matrix.copy()
    sds = np.array([0.031234, 0.041235, 0.051237, 0.061239])
    covariance[np.ix_(AT, AT)] = np.outer(sds, sds)
    found = with_thresholds(profile, profile.mean_vector, covariance, Hand(by="Bo"))
    matrix = found.covariance_matrix[np.ix_(AT, AT)]
    assert np.linalg.eigvalsh(matrix / np.outer(sds, sds))[0] >= -1e-12
    assert np.diag(matrix) / sds**2 == pytest.approx(np.ones(4), abs=2e-3)


def plain_profile():
    """No effects, no losses: the clearance is the gap. Slide from 0.1, loose from 0.3, push 0."""
    means = dict.fromkeys(TERMS, 0.0)
    means |= {"from_force": -0.1, "from_slide": 0.1, "from_loose": 0.3}
    return known_profile(means)


def pairs(chosen):
    return [(trial.feature, trial.mate) for trial in chosen]


def test_fits_are_asked_for_in_turn_and_pieces_used_already_count_as_farther_away():
    """Gaps of A are −0.2, 0, 0.2 and 0.4 with each gauge, those of B −0.1, 0.1 and 0.3."""
    chosen = {n: pairs(trials_to_make(plain_profile(), small_coupon(), n)) for n in range(1, 6)}
    # Slide (0.1): B2 with H1 or the dowel; the first of the coupon's.
    assert chosen[1] == [("B2", "H1")]
    # Loose (0.3): B3 with H1 is at 0.3 but H1 was used: 0.02, still the nearest.
    assert chosen[2] == [("B2", "H1"), ("B3", "H1")]
    # Push (0): A2 with G1 or G2 at 0.
    assert chosen[3] == [("A2", "G1"), ("B2", "H1"), ("B3", "H1")]
    # Slide: B2 with the dowel at 0.1, B2 used once.
    assert chosen[4] == [("A2", "G1"), ("B2", "H1"), ("B3", "H1"), ("B2", "dowel")]
    # Loose: A3 and A4 are 0.1 off; with G1, used already, by 0.02 more than with G2.
    (last,) = set(chosen[5]) - set(chosen[4])
    assert last in {("A3", "G2"), ("A4", "G2")}


@pytest.mark.parametrize(("loose_mm", "second"), [(0.335, ("B3", "H1")), (0.345, ("A4", "G1"))])
def test_a_piece_used_once_counts_as_two_hundredths_farther_away(loose_mm, second):
    """B3 with H1, used for slide, is x + 0.02 from loose at 0.3 + x, A4 with G1 is 0.1 − x."""
    profile = plain_profile()
    profile = profile.model_copy(update={"means": profile.means | {"from_loose": loose_mm}})
    assert set(pairs(trials_to_make(profile, small_coupon(), 2))) == {("B2", "H1"), second}


def test_the_clearance_of_a_pair_counts_effects_and_losses_of_both():
    """The nearest to slide at 0.1 of a few pairs, on printers that shift them."""

    def clearance_mm(trial, **means):
        whole = dict.fromkeys(TERMS, 0.0) | {"from_loose": 0.3} | means
        return _clearance_mm(known_profile(whole), coupon, trial)

    coupon = small_coupon()
    flat = CouponTrial(feature="A3", mate="G1", gap_mm=0.2)
    assert clearance_mm(flat) == pytest.approx(0.2)
    # A slot closes by twice the growth, a tongue grows by it.
    assert clearance_mm(flat, growth_int=0.03) == pytest.approx(0.2 - 0.06)
    assert clearance_mm(flat, growth_ext=0.03) == pytest.approx(0.2 - 0.06)
    assert clearance_mm(flat, scale_x=0.01) == pytest.approx(0.2 + 0.01 * 0.2)
    assert clearance_mm(flat, round_loss=0.05) == pytest.approx(0.2)
    bore = CouponTrial(feature="B2", mate="H1", gap_mm=0.1)
    assert clearance_mm(bore, round_loss=0.05) == pytest.approx(0.1 - 0.05)
    bought = CouponTrial(feature="B2", mate="dowel", gap_mm=0.1)
    assert clearance_mm(bought, growth_ext=0.03, growth_int=0.02) == pytest.approx(0.1 - 0.04)
    # Tried the other way round, a pin stands fixed and the hole is the mate.
    turned = CouponTrial(feature="H1", mate="B2", gap_mm=0.1)
    assert clearance_mm(turned, growth_int=0.02) == pytest.approx(0.1 - 0.04)


def test_no_more_trials_are_proposed_than_there_are():
    assert (FEWEST_TRIALS, PROPOSED_TRIALS) == (6, 8)
    coupon = small_coupon()
    assert len(trials_to_make(plain_profile(), coupon)) == 8
    every = trials_to_make(plain_profile(), coupon, 99)
    assert pairs(every) == pairs(coupon.trials), "each once, in the order of the coupon"
