"""What a proof states of a printer that is known outright, and why a joint has no row."""

import json

import numpy as np
import pytest
from scipy.special import ndtr
from support.known_profile import EVERYTHING, known_profile

from coupons import PlanError
from coupons.answering.joints.joint_list import read_joints
from coupons.answering.proof import plan_proof, proof_of, stated_chances
from coupons.learning.profile import LogSpread
from coupons.making.plan import record
from coupons.making.record import CouponReading
from coupons.terms import GRADES, Direction, Form, Grade, Jaws

TRIED = tuple(one.model_copy(update={"tried_mm": (3.0, 80.0)}) for one in EVERYTHING)
MEANS = dict.fromkeys(("scale_x", "scale_y", "scale_z", "scale_int"), 0.0)
MEANS |= {"growth_ext_z": 0.0, "growth_int_z": 0.0}
SCATTERS = {"tau": 0.03, "tau_z": 0.05, "omega": 0.04, "rho": 0.02, "rho_roof": 0.06}
QUIET = {"rho_scale": 1e-9, "rho_scale_z": 1e-9, "rho_bed": 1e-9, "sigma": 0.01}


def outright(**more):
    scatters = SCATTERS | QUIET | more
    exact = {name: LogSpread(median_mm=mm, log_sd=0.0) for name, mm in scatters.items()}
    profile = known_profile(MEANS, 1e-6, measured=TRIED, contact_mm=(3.0, 10.0, 30.0))
    return profile.model_copy(update={"scatters": exact})


COLUMNS = ("name", "internal", "external", "size_mm", "across", "fit", "hardware", "move")


def listed(tmp_path, *rows, columns=COLUMNS):
    path = tmp_path / "joints.csv"
    path.write_text("\n".join([",".join(columns), *rows, ""]), encoding="utf-8")
    return read_joints(path).joints


def proof_for(tmp_path, *rows, profile=None, **more):
    return plan_proof(profile or outright(), listed(tmp_path, *rows), **more)


def test_every_trial_is_stated_with_its_lapses(tmp_path):
    proof = proof_for(tmp_path, "lid,slot,tongue,8,x,slide,,")
    coupon = record(proof.plan)
    # Both faces close the gap by 0.20 mm; one pair varies by own deviations, judgement and print.
    sd = (2 * 0.03**2 + 0.04**2 + (2 * 0.02) ** 2) ** 0.5
    found = stated_chances(outright(), coupon)
    assert len(found) == 6, "two gauges in three slots"
    for trial, chances in zip(coupon.trials, found, strict=True):
        beyond = ndtr((trial.gap_mm - 0.20 - np.array([-0.08, 0.0, 0.10, 0.30])) / sd)
        alone = -np.diff([1.0, *beyond, 0.0])
        # Two in a hundred are written down at random, alike over the five grades.
        assert chances == pytest.approx(0.98 * alone + 0.004, abs=1e-5)
    assert sorted({trial.gap_mm for trial in coupon.trials}) == pytest.approx([0.32, 0.40, 0.48])


def test_across_layers_roofs_and_deviations_are_others_and_the_step_is_a_layer(tmp_path):
    # Without growths of upper faces a slot's roof is where it is drawn; the tongue on its bed too.
    profile = outright()
    profile = profile.model_copy(update={"means": profile.means | {"bed_height": 0.0}})
    proof = plan_proof(profile, listed(tmp_path, "lid,slot,tongue,8,z,slide,,"))
    coupon = record(proof.plan)
    assert sorted({trial.gap_mm for trial in coupon.trials}) == pytest.approx([0.0, 0.2, 0.4])
    sd = (2 * 0.05**2 + 0.04**2 + 0.06**2) ** 0.5
    for trial, chances in zip(coupon.trials, stated_chances(profile, coupon), strict=True):
        beyond = ndtr((trial.gap_mm - np.array([-0.08, 0.0, 0.10, 0.30])) / sd)
        alone = -np.diff([1.0, *beyond, 0.0])
        assert chances == pytest.approx(0.98 * alone + 0.004, abs=2e-3)


def test_a_dowel_varies_as_its_tolerance_says(tmp_path):
    proof = proof_for(tmp_path, "dowel,,,,z,push,pin 8 m6,")
    coupon = record(proof.plan)
    (row,) = proof.plan.spec.rows
    assert (row.kind, row.form, row.read_every) == ("hardware", Form.HOLE, 1)
    assert row.limits_mm == pytest.approx((0.006, 0.015))  # ISO 286: 8 m6
    assert row.nominal_mm == 8
    middle = next(
        n for n, t in enumerate(coupon.trials) if t.gap_mm == pytest.approx(row.gaps()[1])
    )
    wanted = GRADES.index(Grade.PUSH)
    chances = stated_chances(outright(), coupon)
    # Of what may happen at the answer's gap the wanted fit is likeliest.
    assert chances[middle].argmax() == wanted


def test_a_row_has_the_sizes_of_the_joint_as_it_is_drawn(tmp_path):
    rows = {
        "external": ("tongue", 8.0),  # the tongue is graded, its gauges are slots of 8 mm
        "internal": ("slot", 8.0),
        "both": ("slot", 7.8),  # half of the 0.40 mm is taken from the tongue
    }
    for move, (form, size_mm) in rows.items():
        (row,) = proof_for(tmp_path, f"lid,slot,tongue,8,x,slide,,{move}").plan.spec.rows
        assert (row.form, row.size_mm) == (form, pytest.approx(size_mm))
        assert (row.gauges, row.read_every, row.direction) == (2, 1, Direction.X)
        assert row.gaps() == pytest.approx((0.32, 0.40, 0.48))


def test_across_layers_the_body_that_stays_is_drawn_in_layers(tmp_path):
    # 8.1 mm is no whole number of layers of 0.2 mm: the body that stays is rounded to 8.2 mm.
    for move, form in (("external", "tongue"), ("internal", "slot")):
        (row,) = proof_for(tmp_path, f"lid,slot,tongue,8.1,z,slide,,{move}").plan.spec.rows
        assert (row.form, row.size_mm) == (form, pytest.approx(8.2))


@pytest.mark.slow
def test_what_has_no_row_is_left_out_with_its_reason(tmp_path):
    rows = (
        "lid,slot,tongue,8,x,slide,,",
        "again,slot,tongue,8,x,slide,,",
        "gap,slot,tongue,8,x,gap 0.2,,",
        "cover,,,,z,,screw M3 medium,",
        "cell,pocket,plate,40x25,xy,slide,,",
        "huge,slot,tongue,400,x,slide,,",
    )
    proof = proof_for(tmp_path, *rows)
    assert [row.listed.name for row in proof.rows] == ["lid"]
    why = dict(proof.left_out)
    assert why["again"] == "the same as a joint before it"
    assert why["gap"] == why["cover"] == "no fit was asked for"
    assert why["cell"] == "it has several pairs of faces, and a proof tries single pairs"
    assert why["huge"]


def test_a_piece_that_goes_over_what_is_printed_has_no_row(tmp_path):
    proof = proof_for(tmp_path, "lid,slot,tongue,8,x,slide,,", "ring,,,,z,push,bearing bore 8,")
    assert proof.left_out == (("ring", "a bearing bore 8 goes over what is printed"),)


def test_a_joint_without_an_answer_is_left_out(tmp_path):
    flat = tuple(one for one in TRIED if one.direction is not Direction.Z)
    shares = {"growth_int_z": 1.0, "growth_ext_z": 1.0, "scale_z": 1.0}
    vague = known_profile(sd_share=shares, measured=flat)
    rows = ("lid,slot,tongue,8,x,slide,,", "shelf,slot,tongue,8,z,slide,,")
    assert plan_proof(vague, listed(tmp_path, *rows)).left_out == (("shelf", "no answer"),)
    with pytest.raises(PlanError) as refused:
        plan_proof(vague, listed(tmp_path, *rows[1:]))
    (problem,) = refused.value.problems
    assert (problem.where, problem.got) == ("proof", "shelf: no answer")
    with pytest.raises(PlanError) as refused:
        plan_proof(vague, [])
    assert refused.value.problems[0].got == "no joint"


def test_a_proof_is_of_the_machine_its_layers_and_its_bed(tmp_path):
    row = "lid,slot,tongue,8,x,slide,,"
    spec = proof_for(tmp_path, row, bed_mm=(120.0, 110.0)).plan.spec
    assert spec.assumed.bed_mm == (120.0, 110.0)
    assert (spec.assumed.layer_height_mm, spec.assumed.nozzle_mm) == (0.2, 0.4)
    assert (spec.name, len(spec.digest)) == ("proof", 16)
    same = proof_for(tmp_path, row, bed_mm=(120.0, 110.0)).plan.spec
    assert same.digest == spec.digest
    assert proof_for(tmp_path, row).plan.spec.digest != spec.digest


def test_what_is_kept_of_a_proof_says_which_trials_are_the_answers(tmp_path):
    rows = ("lid,slot,tongue,8,x,slide,,", "pin,hole,pin,8,z,push,,")
    profile = outright()
    proof = proof_for(tmp_path, *rows)
    coupon = record(proof.plan)
    kept = proof_of(profile, proof, coupon)
    assert len(kept.trials) == len(coupon.trials) == 12
    assert [t.joint for t in kept.trials[:6]] == ["lid"] * 6
    assert {(t.joint, t.wanted) for t in kept.trials} == {("lid", "slide"), ("pin", "push")}
    assert sum(t.at_answer for t in kept.trials) == 4
    stated = stated_chances(profile, coupon)
    assert [t.chances for t in kept.trials] == [tuple(np.round(row, 5)) for row in stated.tolist()]
    assert (kept.entries_sha256, kept.rehearsed) == (profile.entries_sha256, False)
    again = proof_of(profile, proof, coupon)
    assert json.loads(again.model_dump_json()) == json.loads(kept.model_dump_json())


@pytest.mark.slow
@pytest.mark.parametrize(
    ("noise", "low", "high"),
    [
        # Where next to nothing varies all four trials at the answers are as wanted.
        (1e-3, 4, 4),
        # A judgement of 1 mm lets one of fourteen slide, and one of 25 be pushed: of four trials
        # the 90 % range is none to one.
        (1.0, 0, 1),
    ],
)
def test_the_usual_count_is_a_range_over_prints(tmp_path, noise, low, high):
    rows = ("lid,slot,tongue,8,x,slide,,", "pin,hole,pin,8,z,push,,")
    proof = proof_for(tmp_path, *rows, profile=outright())
    small = dict.fromkeys(("tau", "tau_z", "rho", "rho_roof"), 1e-4)
    profile = outright(omega=noise, **small)
    coupon = record(proof.plan)
    assert proof_of(profile, proof, coupon).usual_hits == (low, high)


def test_a_proof_is_read_on_every_feature(tmp_path):
    coupon = record(proof_for(tmp_path, "lid,slot,tongue,8,x,slide,,").plan)
    assert CouponReading(feature="A1", jaws=Jaws.OUTSIDE) in coupon.readings
    graded = {trial.feature for trial in coupon.trials}
    assert graded <= {reading.feature for reading in coupon.readings}


def test_a_hand_that_is_seldom_off_finds_both_trials_as_wanted(tmp_path):
    # The window is 0.1 mm to either side, and a judgement of 0.04 mm misses one trial in 80: of
    # both trials at the answer 39 pairs of 40 are as wanted.
    proof = proof_for(tmp_path, "lid,slot,tongue,8,x,slide,,")
    small = dict.fromkeys(("tau", "tau_z", "rho", "rho_roof"), 1e-4)
    coupon = record(proof.plan)
    for scatters in ({"omega": 0.04}, {"omega": 1e-4, "tau": 0.028}, {"omega": 1e-4, "rho": 0.02}):
        profile = outright(**(small | scatters))
        assert proof_of(profile, proof, coupon).usual_hits == (2, 2)
    # A print that shifts the gap by 0.2 mm lets both slide or none, in two of three cases none.
    loose = outright(**(small | {"omega": 1e-4, "rho": 0.1}))
    assert proof_of(loose, proof, coupon).usual_hits == (0, 2)


@pytest.mark.slow
def test_what_cannot_be_printed_is_left_out_with_what_to_do_or_what_is_wrong(tmp_path):
    lid = "lid,slot,tongue,8,x,slide,,"
    rows = (lid, "huge,slot,tongue,400,x,slide,,", "bar,hole,pin,60,x,slide,,")
    why = dict(proof_for(tmp_path, *rows).left_out)
    assert why["huge"] == "its size or gap is beyond what a coupon can hold"
    assert "expected at most 12 mm, the longest roof that prints without support" in why["bar"]
    wide = (lid, "shelf,slot,tongue,80,x,slide,,")
    assert proof_for(tmp_path, *wide).left_out == ()
    todo = "Use fewer gaps or sizes in that row, or a larger bed"
    assert proof_for(tmp_path, *wide, bed_mm=(100.0, 100.0)).left_out == (("shelf", todo),)
