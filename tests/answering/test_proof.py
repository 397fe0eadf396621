import numpy as np
import pytest
from support.known_profile import FROM_ONE_PRINT, drawn_prints, known_profile

from coupons import PlanError
from coupons.answering.joints.joint_list import read_joints
from coupons.answering.joints.listed import ListedJoint
from coupons.answering.joints.usual import usual_joints
from coupons.answering.next.expected_information import as_if_done
from coupons.answering.offset import answer
from coupons.answering.proof import STEP_MM, plan_proof, proof_of, stated_chances
from coupons.answering.question import Question
from coupons.learning.design import design_of
from coupons.learning.effects import EFFECTS
from coupons.learning.profile import MeasuredRange
from coupons.making.plan import record
from coupons.terms import GRADES, Bed, Direction, Form, Grade, Joint, MovingBody

PROFILE = known_profile(sd_share=FROM_ONE_PRINT)
SLOT_X = Joint(Form.SLOT, Form.TONGUE, 8.0, Direction.X)
SLOT_Z = Joint(Form.SLOT, Form.TONGUE, 8.0, Direction.Z)


def asked(joint, fit=Grade.SLIDE, move=MovingBody.EXTERNAL, name="a"):
    return ListedJoint(2, name, joint, fit, None, move)


def stated(listed):
    proof = plan_proof(PROFILE, [listed])
    coupon = record(proof.plan)
    return proof, coupon, stated_chances(PROFILE, coupon)


@pytest.mark.parametrize("move", [MovingBody.EXTERNAL, MovingBody.INTERNAL])
@pytest.mark.parametrize("fit", [Grade.SLIDE, Grade.PUSH])
def test_what_is_stated_of_a_trial_is_what_an_answer_states(move, fit):
    _, coupon, chances = stated(asked(SLOT_X, fit, move))
    lapse = PROFILE.prior_table.lapse
    for trial, of_trial in zip(coupon.trials, chances, strict=True):
        found = answer(PROFILE, Question(SLOT_X, fit, move, drawn_gap_mm=trial.gap_mm))
        without_lapses = (of_trial - lapse / 5) / (1 - lapse)
        # Not every trial's two sizes are as in the question: one of them is the nominal one there.
        assert without_lapses == pytest.approx(list(found.grade_chances.values()), abs=2e-3)


def test_across_layers_the_body_on_the_bed_is_the_coupons():
    _, coupon, chances = stated(asked(SLOT_Z, move=MovingBody.INTERNAL))
    wide = max(range(len(coupon.trials)), key=lambda n: coupon.trials[n].gap_mm)
    question = Question(
        SLOT_Z,
        Grade.SLIDE,
        MovingBody.INTERNAL,
        drawn_gap_mm=coupon.trials[wide].gap_mm,
        bed=Bed.EXTERNAL,
    )
    found = list(answer(PROFILE, question).grade_chances.values())
    assert (chances[wide] - 0.004) / 0.98 == pytest.approx(found, abs=2e-3)


def test_each_joint_is_drawn_by_its_answer_and_a_step_to_either_side():
    proof, coupon, _ = stated(asked(SLOT_X))
    gap_mm = answer(PROFILE, Question(SLOT_X, Grade.SLIDE)).gap_mm
    gaps = sorted({trial.gap_mm for trial in coupon.trials})
    assert gaps == pytest.approx([gap_mm - STEP_MM, gap_mm, gap_mm + STEP_MM])
    drawn = {f.size_mm for f in coupon.features if f.form is Form.SLOT}
    assert drawn == {8.0}, "the body that stays is drawn as it is"
    kept = proof_of(PROFILE, proof, coupon)
    assert [t.at_answer for t in kept.trials] == [
        abs(t.gap_mm - gap_mm) < 1e-6 for t in coupon.trials
    ]
    assert {t.wanted for t in kept.trials} == {Grade.SLIDE}
    assert (kept.machine, kept.material) == (PROFILE.machine, PROFILE.material)


def test_the_usual_count_holds_nine_prints_in_ten():
    listed = [asked(SLOT_X), asked(Joint(Form.HOLE, Form.PIN, 8.0, Direction.Z), name="b")]
    proof = plan_proof(PROFILE, listed)
    coupon = record(proof.plan)
    kept, rng, n = proof_of(PROFILE, proof, coupon), np.random.default_rng(5), 20_000
    design = design_of([as_if_done(coupon)])
    terms, own = drawn_prints(PROFILE, rng, n, strata=200)
    terms = terms + own @ PROFILE.print_moves.T
    sizes, trials = design.sizes, design.trials

    def scatter(name):
        spread = PROFILE.scatters[name]
        return spread.median_mm * np.exp(spread.log_sd * rng.normal(size=(n, 1)))

    printed = sizes.drawn + terms[:, : len(EFFECTS)] @ sizes.effects.T
    printed += scatter("tau") * rng.normal(size=printed.shape)
    felt = printed[:, trials.internal] - printed[:, trials.external]
    felt -= terms[:, -trials.losses.shape[1] :] @ trials.losses.T
    felt += scatter("omega") * rng.normal(size=felt.shape)
    thresholds = terms[:, len(EFFECTS) : len(EFFECTS) + 4]
    grades = (felt[:, :, None] >= thresholds[:, None, :]).sum(axis=2)
    at_answer = np.array([t.at_answer for t in kept.trials])
    hits = (grades == GRADES.index(Grade.SLIDE))[:, at_answer].sum(axis=1)
    low, high = kept.usual_hits
    assert ((low <= hits) & (hits <= high)).mean() > 0.89
    expected = sum(t.chances[GRADES.index(t.wanted)] for t in kept.trials if t.at_answer)
    # The draws know no lapses, and come in 200 strata.
    assert hits.mean() == pytest.approx(expected, abs=0.02 * at_answer.sum() + 0.05)


@pytest.mark.parametrize(("joint", "other"), [(SLOT_X, "tau_z"), (SLOT_Z, "tau")])
def test_scatter_of_the_other_way_changes_nothing(joint, other):
    """On a printer that is known well every answer fits, however rough it is the other way."""
    rough = {"tau": 0.002, "tau_z": 0.002, "omega": 0.002} | {other: 0.5}
    prints = ("rho", "rho_scale", "rho_scale_z", "rho_bed", "rho_roof")
    changes = {"contact_mm": (20.0, 20.0, 20.0), "layer_height_mm": 0.08}
    profile = known_profile(sd_share=1e-3, scatters=rough | dict.fromkeys(prints, 1e-6), **changes)
    proof = plan_proof(profile, [asked(joint)])
    kept = proof_of(profile, proof, record(proof.plan))
    tried = [trial for trial in kept.trials if trial.at_answer]
    assert kept.usual_hits == (len(tried), len(tried))
    assert all(trial.chances[GRADES.index(Grade.SLIDE)] > 0.98 for trial in tried)


def test_a_list_is_proved_as_far_as_it_can_be(tmp_path):
    path = tmp_path / "joints.csv"
    path.write_text(
        "name,internal,external,size_mm,across,fit,hardware\n"
        "a,slot,tongue,8,x,slide,\nagain,slot,tongue,8,x,slide,\ngap,slot,tongue,8,x,gap 0.2,\n"
        "screw,,,,z,,screw M3 medium\ndowel,,,,z,push,pin 8 m6\nhuge,slot,tongue,400,x,slide,\n",
        encoding="utf-8",
    )
    proof = plan_proof(PROFILE, read_joints(path).joints)
    assert [row.listed.name for row in proof.rows] == ["a", "dowel"]
    assert [name for name, _ in proof.left_out] == ["again", "gap", "screw", "huge"]
    assert all(why for _, why in proof.left_out)


def test_nothing_to_prove_is_refused():
    blank = known_profile(measured=())
    assert usual_joints(blank) == ()
    with pytest.raises(PlanError, match="can be proved"):
        plan_proof(blank, [])


def test_the_usual_joints_are_those_that_were_tried():
    measured = tuple(
        MeasuredRange(form=form, direction=Direction.Y, low_mm=4, high_mm=5, tried_mm=(4, 5))
        for form in (Form.SLOT, Form.TONGUE, Form.HOLE)
    )
    (one,) = usual_joints(known_profile(measured=measured))
    assert (one.joint.internal, one.joint.direction, one.joint.size_mm) == ("slot", "y", 5.0)
