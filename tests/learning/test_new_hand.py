"""Another person's hand: thresholds move, plastic stays, and what is no such data is refused."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from support.synthetic import done_coupons, observed

from coupons.errors import FitError
from coupons.job.check import load_run
from coupons.learning.design import design_of
from coupons.learning.effects import TERMS, THRESHOLDS
from coupons.learning.fit import fit_design
from coupons.learning.new_hand import (
    moments_for_hand,
    profile_for_hand,
    trials_to_make,
)
from coupons.learning.profile import Hand
from coupons.learning.profile_file import profile_text, read_profile
from coupons.making.record import CouponRun
from coupons.measuring.run.entries import FitEntry
from coupons.terms import GRADES, Grade

DEMO = Path(__file__).parents[2] / "results" / "filter-drawer"
NAMES = [f"from_{grade}" for grade in THRESHOLDS]
PLASTIC = [at for at, name in enumerate(TERMS) if name not in NAMES]


@pytest.fixture(scope="module")
def known():
    return load_run(DEMO), read_profile(DEMO)


def tried_by(run, profile, by="Bo", count=8, tighter=0):
    """Return the run with more trials, each graded so many grades tighter than before."""
    before = {(fit.feature, fit.mate): fit.tightest for fit in run.fits}
    more = []
    for number, trial in enumerate(trials_to_make(profile, run.coupon, count), start=1000):
        rank = max(0, GRADES.index(before[trial.feature, trial.mate]) - tighter)
        more.append(FitEntry(number, trial.feature, trial.mate, GRADES[rank], GRADES[rank], by))
    return replace(run, fits=(*run.fits, *more))


@pytest.fixture(scope="module")
def moved(known):
    run, profile = known
    return profile_for_hand(profile, tried_by(run, profile, tighter=1), "bo")


def test_all_but_the_thresholds_stays_to_the_last_bit(known, moved):
    _, profile = known
    for at in PLASTIC:
        assert moved.mean_vector[at] == profile.mean_vector[at]
        assert (
            moved.covariance_matrix[at, PLASTIC] == profile.covariance_matrix[at, PLASTIC]
        ).all()
    assert moved.scatters == profile.scatters
    lines = [set(profile_text(one).splitlines()) for one in (profile, moved)]
    names = {line.split('"')[1] for line in lines[0] ^ lines[1] if '"' in line}
    assert names == {"means", "covariance", "hand"}


def test_a_hand_that_finds_all_pairs_tighter_wants_more_clearance(known, moved):
    _, profile = known
    at = [TERMS.index(name) for name in NAMES]
    more_mm = moved.mean_vector[at] - profile.mean_vector[at]
    assert (more_mm > 0.02).all()
    assert (more_mm < 0.15).all()
    assert moved.hand == Hand(by="bo", trials=8)


def test_a_hand_that_finds_the_same_hardly_moves(known):
    run, profile = known
    same = profile_for_hand(profile, tried_by(run, profile), "Bo")
    at = [TERMS.index(name) for name in NAMES]
    assert abs(same.mean_vector[at] - profile.mean_vector[at]).max() < 0.02


def test_with_the_plastic_of_the_same_fit_it_is_what_that_fit_says_of_the_hand():
    """With nothing cut, the thresholds are those of the joint posterior itself."""
    design = design_of(done_coupons("recheck"))
    n = len(design.trials.hand)
    trials = replace(design.trials, hand=np.arange(n) % 2)
    fitted = fit_design(observed(replace(design, trials=trials, hands=("Ada", "Bo")), 5))

    class Same:
        """The fit's own moments, in place of a profile's."""

        mean_vector, covariance_matrix = fitted.mixture.shared_moments(len(TERMS))

    mean, covariance = moments_for_hand(Same, fitted, 1)
    n_shared = fitted.mixture.model.n_shared
    whole_mean, whole = fitted.mixture.shared_moments(n_shared)
    pick = np.zeros((len(TERMS), n_shared))
    pick[:, : len(TERMS)] = np.eye(len(TERMS))
    pick[[TERMS.index(name) for name in NAMES], n_shared - 1] = 1  # Bo is the last
    assert mean == pytest.approx(pick @ whole_mean, abs=1e-9)
    assert covariance == pytest.approx(pick @ whole @ pick.T, abs=1e-9)
    assert abs(covariance - Same.covariance_matrix).max() > 1e-5, "a hand of its own"


def test_proposed_trials_lie_near_where_fits_begin_and_use_many_pieces(known):
    run, profile = known
    chosen = trials_to_make(profile, run.coupon)
    assert len({(trial.feature, trial.mate) for trial in chosen}) == 8
    assert len({trial.mate for trial in chosen}) >= 6
    grades = {(f.feature, f.mate): f.tightest for f in run.fits}
    found = [grades[trial.feature, trial.mate] for trial in chosen]
    assert set(found) <= {Grade.FORCE, Grade.PUSH, Grade.SLIDE, Grade.LOOSE}
    assert found.count(Grade.FORCE) <= 2


def other_machine(run):
    return replace(run, conditions=run.conditions.model_copy(update={"machine": "attic-1"}))


def other_coupon(run):
    spec = run.coupon.spec.model_copy(update={"name": "round"})
    return replace(run, coupon=run.coupon.model_copy(update={"spec": spec}))


def other_print(run):
    made = CouponRun(id="f" * 16)
    return replace(run, coupon=run.coupon.model_copy(update={"run": made}))


def only_bo(run):
    return replace(run, fits=tuple(fit for fit in run.fits if fit.by == "Bo"))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (other_machine, "expected machine 'bench-1' as in the profile, got 'attic-1'."),
        (other_coupon, "expected coupon first as in the profile, got round. Try the print that"),
        (other_print, "expected a print that the profile was fitted to, got another one. Try the"),
        (only_bo, "entries.csv: expected trials by others than Bo too, got none. A hand is told"),
    ],
)
def test_another_machine_coupon_or_print_is_refused(known, change, message):
    run, profile = known
    profile = profile.model_copy(update={"prints": (run.coupon.run.id,)})
    with pytest.raises(FitError) as error:
        profile_for_hand(profile, change(tried_by(run, profile)), "Bo")
    assert message in str(error.value)
    assert len(error.value.problems) == 1


def test_too_few_trials_are_refused_and_those_to_make_are_named(known):
    run, profile = known
    with pytest.raises(FitError) as error:
        profile_for_hand(profile, tried_by(run, profile, count=5), "Bo")
    text = str(error.value)
    assert "expected at least 6 trials by Bo, got 5." in text
    for trial in trials_to_make(profile, run.coupon):
        assert f"{trial.mate} with {trial.feature}" in text


def test_an_older_model_is_refused(known):
    run, profile = known
    kept = read_profile(Path(__file__).parents[1] / "kept_profiles" / "version-2.json")
    with pytest.raises(FitError, match=r"expected version 3, got version 2\. Fit its runs"):
        profile_for_hand(kept, tried_by(run, profile), "Bo")


def test_all_that_is_wrong_is_told_at_once(known):
    run, profile = known
    with pytest.raises(FitError) as error:
        profile_for_hand(profile, other_machine(tried_by(run, profile, count=2)), "Bo")
    assert len(error.value.problems) == 2
