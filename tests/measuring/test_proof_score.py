import math
from dataclasses import replace
from pathlib import Path

import pytest

from coupons.answering.next.expected_information import as_if_done
from coupons.making.plan import plan_coupon, record
from coupons.making.record import CouponProof, ProofTrial, read_coupon, write_coupon
from coupons.making.spec.coupon_spec import load_spec
from coupons.measuring.checks.proof_score import all_proofs, proof_score
from coupons.measuring.run.entries import FitEntry
from coupons.showing.words.proof import proof_sentences
from coupons.terms import Grade

CHANCES = (0.05, 0.1, 0.2, 0.6, 0.05)


@pytest.fixture(scope="module")
def coupon():
    coupon = record(plan_coupon(load_spec("recheck")))
    trials = tuple(
        ProofTrial(
            feature=trial.feature,
            mate=trial.mate,
            joint="drawer",
            wanted=Grade.SLIDE,
            at_answer=n < 2,
            chances=CHANCES,
        )
        for n, trial in enumerate(coupon.trials[:3])
    )
    proof = CouponProof(
        machine="none",
        material="none",
        entries_sha256="0" * 64,
        rehearsed=False,
        trials=trials,
        usual_hits=(1, 2),
    )
    return coupon.model_copy(update={"proof": proof})


def run_with(coupon, *grades):
    fits = tuple(
        FitEntry(n + 2, trial.feature, trial.mate, *each)
        for n, (trial, each) in enumerate(zip(coupon.trials, grades, strict=False))
    )
    return replace(as_if_done(coupon), folder=Path("my-proof"), fits=fits)


SLIDE, PUSH = (Grade.SLIDE, Grade.SLIDE), (Grade.PUSH, Grade.PUSH)
GO = (Grade.PUSH, Grade.LOOSE)


def test_scores_are_those_worked_out_by_hand(coupon):
    score = proof_score(run_with(coupon, SLIDE, PUSH, GO))
    assert (score.trials, score.answers, score.hits, score.told) == (3, 2, 1, 2)
    assert score.expected_hits == pytest.approx(1.2)
    # Chances of what was found: 0.6, 0.2, and 0.2 + 0.6 + 0.05 where push to loose was left open.
    assert score.log_score == pytest.approx(math.log(0.6) + math.log(0.2) + math.log(0.85))
    # Whether the third pair slides was not said.
    assert score.brier == pytest.approx(0.4**2 + 0.6**2)
    assert score.brier_expected == pytest.approx(2 * 0.6 * 0.4)
    entropy = sum(p * math.log(p) for p in CHANCES)
    assert score.log_expected == pytest.approx(3 * entropy)
    assert score.usual_hits == (1, 2)


def test_the_usual_count_is_only_told_of_a_whole_proof(coupon):
    assert proof_score(run_with(coupon, SLIDE)).usual_hits is None
    assert proof_score(run_with(coupon, SLIDE, GO)).usual_hits is None


def test_a_proof_of_another_machine_is_not_scored_and_says_so(coupon):
    run = run_with(coupon, SLIDE, SLIDE)
    moved = replace(run, conditions=run.conditions.model_copy(update={"machine": "attic-1"}))
    score = proof_score(moved)
    assert "attic-1" in score.refused
    assert "not scored" in proof_sentences([score])[0]
    assert all_proofs([score, proof_score(run)]).hits == 2


def test_a_proof_that_is_not_scored_has_no_figures(coupon):
    run = run_with(coupon, SLIDE, SLIDE)
    moved = replace(run, conditions=run.conditions.model_copy(update={"material": "white"}))
    score = proof_score(moved)
    assert score.refused == "it proves the profile of none, none, but is of none, white"
    assert score.name == "my-proof"
    figures = vars(score).items() - {("name", score.name), ("refused", score.refused)}
    assert {value for name, value in figures if name != "usual_hits"} == {0}
    assert score.usual_hits is None
    assert (score.mean_chance, score.mean_chance_expected) == (0.0, 0.0)


def test_the_mean_chance_is_the_geometric_mean_of_what_was_stated(coupon):
    score = proof_score(run_with(coupon, SLIDE, PUSH, GO))
    assert score.mean_chance == pytest.approx((0.6 * 0.2 * 0.85) ** (1 / 3))
    entropy = sum(p * math.log(p) for p in CHANCES)
    assert score.mean_chance_expected == pytest.approx(math.exp(entropy))


def test_what_was_held_impossible_counts_as_one_in_a_billion(coupon):
    sure = tuple(
        trial.model_copy(update={"chances": (0.0, 0.0, 0.0, 1.0, 0.0)})
        for trial in coupon.proof.trials
    )
    proof = coupon.proof.model_copy(update={"trials": sure})
    score = proof_score(run_with(coupon.model_copy(update={"proof": proof}), PUSH, SLIDE))
    assert score.log_score == pytest.approx(math.log(1e-9))
    assert score.log_expected == 0.0


def test_figures_of_several_proofs_are_sums(coupon):
    one, other = (proof_score(run_with(coupon, *grades)) for grades in ((SLIDE, GO), (PUSH,)))
    both = all_proofs([one, other])
    for name in ("trials", "answers", "hits", "told"):
        assert getattr(both, name) == getattr(one, name) + getattr(other, name)
    for name in ("expected_hits", "log_score", "log_expected", "brier", "brier_expected"):
        assert getattr(both, name) == pytest.approx(getattr(one, name) + getattr(other, name))
    assert (both.name, both.refused, both.usual_hits) == ("", "", None)


def test_runs_that_prove_nothing_have_no_score(coupon):
    assert proof_score(run_with(coupon.model_copy(update={"proof": None}), SLIDE)) is None
    assert proof_score(run_with(coupon)) is None


def test_several_proofs_add_up_in_words(coupon):
    one, other = (proof_score(run_with(coupon, first, SLIDE)) for first in (SLIDE, PUSH))
    told = proof_sentences([one, other])
    assert "2 of 2 pairs" in told[0]
    assert "expected 1.2" in told[0]
    assert told[-1].startswith("All 2 proofs: 3 of 4 pairs")
    few = proof_sentences([proof_score(run_with(coupon, PUSH, PUSH))])
    assert "Fewer than the stated chances" in few[0]


def test_the_record_keeps_what_was_stated(coupon, tmp_path):
    write_coupon(coupon, tmp_path / "coupon.json")
    assert read_coupon(tmp_path / "coupon.json").proof == coupon.proof
