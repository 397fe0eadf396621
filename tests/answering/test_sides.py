"""Joints whose two bodies lie unlike, come from two prints, or from two printers."""

import math

import numpy as np
import pytest
from support.known_profile import FROM_ONE_PRINT, drawn_prints, known_profile

from coupons.answering.ask import Printer
from coupons.answering.chances.clearance import Clearance
from coupons.answering.chances.prints import made_by
from coupons.answering.chances.shared import shared_of
from coupons.answering.chances.together import chance_together
from coupons.answering.joints.joint_list import read_joints
from coupons.answering.joints.whole_part import answer_part, fit_demand
from coupons.answering.offset import answer, clearances, printed_gap_mm
from coupons.answering.question import Question
from coupons.answering.words.answer_data import as_data
from coupons.answering.words.answers import sentences
from coupons.errors import AnswerError
from coupons.learning.effects import EFFECTS, LOSSES, TERMS, effect_row
from coupons.learning.profile import MeasuredRange
from coupons.learning.profile_file import write_profile
from coupons.measuring.virtual.machine import random_machine
from coupons.measuring.virtual.printer import clearance_mm, mean_sizes, shapes_of_drawn
from coupons.terms import Bed, Direction, Feature, Form, Grade, Joint, MovingBody

SLOT, TONGUE, HOLE, PIN = Form.SLOT, Form.TONGUE, Form.HOLE, Form.PIN
X, Y, Z = Direction.X, Direction.Y, Direction.Z
UNLIKE = Joint(SLOT, TONGUE, 12.0, Z, X)
ALIKE = Joint(SLOT, TONGUE, 12.0, X)
KNOWN = dict.fromkeys(TERMS, 1e-4)


def exact(**changes):
    """A printer of which all but the scatters is known, and these as well as exactly."""
    profile = known_profile(sd_share=KNOWN, **changes)
    scatters = {
        name: spread.model_copy(update={"log_sd": 1e-6})
        for name, spread in profile.scatters.items()
    }
    return profile.model_copy(update={"scatters": scatters})


def test_each_body_has_the_effects_of_its_own_direction():
    profile = known_profile()
    gap = Clearance(profile, UNLIKE, MovingBody.EXTERNAL, np.array([0.3]))
    beta = profile.mean_vector[: len(EFFECTS)]
    slot = effect_row(Feature(SLOT, 12.0, Z)) @ beta
    tongue = effect_row(Feature(TONGUE, 11.7, X)) @ beta
    assert gap.printed_rows[0] @ profile.mean_vector == pytest.approx(slot - tongue, abs=1e-12)
    assert gap.own.counts == (1, 1, 0)


def test_a_lying_pin_in_a_standing_hole_loses_what_lying_pairs_do_not_quite_surely():
    profile = known_profile()
    losses, doubts = {}, {}
    for lies in ((Z, Z), (X, X), (Z, X), (X, Z)):
        pair = Clearance(profile, Joint(HOLE, PIN, 8.0, *lies), MovingBody.EXTERNAL, np.zeros(1))
        doubts[lies] = pair.feel_doubt
        losses[lies] = dict(zip(LOSSES, -pair.rows[0, -len(LOSSES) :], strict=True))
    assert losses[Z, X] == pytest.approx(
        {"round_loss": 0, "lying_loss": 1, "seam_loss": 0, "contact_loss": 0}
    )
    assert doubts[Z, X] - doubts[X, X] == pytest.approx(0.065**2)
    assert doubts[Z, Z] == doubts[X, X]
    assert losses[X, Z]["seam_loss"] == losses[Z, Z]["seam_loss"] == 1
    assert losses[X, X]["lying_loss"] == 1


@pytest.mark.slow
def test_virtual_machines_lose_so_where_one_round_body_stands_and_the_other_lies():
    # The machines know nothing of the model: what a pair's form takes up of its clearance.
    more = []
    for seed in range(60):
        machine = random_machine(np.random.default_rng(seed))
        lost = {}
        for lies in ((X, X), (Z, X)):
            sizes = mean_sizes(
                machine,
                shapes_of_drawn(
                    [Feature(HOLE, 8.3, lies[0]), Feature(PIN, 8.0, lies[1])], [9.0, 9.0]
                ),
                on_layers=False,
            )
            inner, outer = (sizes.of(np.array([at])) for at in (0, 1))
            gap = sizes.mean_mm[0] - sizes.mean_mm[1]
            lost[lies] = float(gap - clearance_mm(inner, outer)[0])
        more.append(lost[Z, X] - lost[X, X])
    assert np.mean(more) == pytest.approx(0.0, abs=2.5 * 0.065 / math.sqrt(60))
    assert np.std(more) == pytest.approx(0.065, rel=0.25)


def test_in_one_print_its_shift_comes_twice_and_in_two_prints_from_two_draws():
    # δ of a print moves each face by δ/2, so each size by δ and the gap of one print by 2 δ; the
    # second shift, half as large, moves outer faces against inner ones and cancels in one print.
    # The scale of a print cancels in a gap of one print and not of two.
    profile = exact()
    rho, scale = (profile.scatters[name].median_mm for name in ("rho", "rho_scale"))
    tau = profile.scatters["tau"].median_mm
    one = printed_gap_mm(profile, Question(ALIKE, Grade.SLIDE), 0.0)[1]
    two = printed_gap_mm(profile, Question(ALIKE, Grade.SLIDE, two_prints=True), 0.0)[1]
    assert one**2 == pytest.approx(4 * rho**2 + 2 * tau**2, rel=1e-3)
    expected = 2 * rho**2 + 2 * (rho / 2) ** 2 + 2 * (12 * scale) ** 2 + 2 * tau**2
    assert two**2 == pytest.approx(expected, rel=1e-3)


def test_what_is_not_known_of_two_printers_adds_up_and_does_not_cancel():
    # The scale of one printer cancels in a gap of that printer, those of two do not.
    shares = KNOWN | {"scale_x": 1.0}
    first, second = (known_profile(sd_share=shares, means={"scale_x": s}) for s in (-0.003, 0.001))
    gap = printed_gap_mm(first, Question(ALIKE, Grade.SLIDE, external_profile=second), 0.0)
    alone = printed_gap_mm(first, Question(ALIKE, Grade.SLIDE, two_prints=True), 0.0)
    assert gap[0] - alone[0] == pytest.approx(-12 * 0.004, abs=1e-3)
    unknown = 2 * (12 * 0.005) ** 2
    assert gap[1] ** 2 - alone[1] ** 2 == pytest.approx(unknown, rel=0.02)


def test_the_same_profile_twice_is_one_printer():
    profile, copy = known_profile(), known_profile()
    made = made_by(profile, external=copy)
    assert (len(made.prints.profiles), made.prints.of) == (1, (0,))
    assert made_by(profile, copy, two_prints=True).prints.of == (0, 0)


@pytest.mark.parametrize(
    "question",
    [
        Question(UNLIKE, Grade.SLIDE, bed=Bed.NONE),
        Question(UNLIKE, Grade.PUSH, two_prints=True),
        Question(Joint(HOLE, PIN, 8.0, Z, X), Grade.SLIDE, bed=Bed.EXTERNAL),
        Question(ALIKE, Grade.SLIDE, external_profile=known_profile(runs=3, sd_share=0.4)),
        Question(ALIKE, Grade.SLIDE, internal_profile=known_profile(runs=3, sd_share=0.4)),
    ],
)
def test_one_joint_has_the_chance_that_its_answer_states(question):
    profile = known_profile(sd_share=FROM_ONE_PRINT)
    stated = answer(profile, question)
    drawn_mm = stated.gap_mm
    together = chance_together(
        [fit_demand(profile, question, drawn_mm)], shared_of(question.made(profile).prints)
    )
    assert together.chance == pytest.approx(stated.chance, abs=4 * together.error + 1e-3)


def felt(profiles, joint, gap_mm, rng, n):
    """Clearance less the threshold of sliding of ``n`` makings, terms drawn one by one."""
    own = {k: math.sqrt(s.mean_square) for k, s in profiles[0].scatters.items()}
    drawn = [drawn_prints(profile, rng, n) for profile in profiles]
    gap = np.full(n, gap_mm) + own["omega"] * rng.normal(size=n)
    sides = zip(joint.forms, (12.0, 12.0 - gap_mm), joint.directions, (1, -1), drawn, strict=True)
    for form, size_mm, lies, sign, (terms, shifts) in sides:
        row = effect_row(Feature(form, size_mm, lies))
        moves = profiles[0].print_moves[: len(EFFECTS)]
        tau = own["tau_z" if lies is Z else "tau"]
        gap += sign * (terms[:, : len(EFFECTS)] @ row + shifts @ (row @ moves))
        gap += sign * tau * rng.normal(size=n)
    return gap - drawn[0][0][:, TERMS.index("from_slide")], drawn[0][0]


@pytest.mark.slow
def test_two_printers_slide_as_often_as_drawn_ones_do():
    profiles = [known_profile(sd_share=FROM_ONE_PRINT), known_profile(sd_share=0.4)]
    question = Question(UNLIKE, Grade.SLIDE, external_profile=profiles[1], drawn_gap_mm=0.35)
    stated = answer(profiles[0], question)
    n = 40_000
    margin, terms = felt(profiles, UNLIKE, 0.35, np.random.default_rng(8), n)
    wide = terms[:, TERMS.index("from_loose")] - terms[:, TERMS.index("from_slide")]
    slides = np.mean((margin > 0) & (margin < wide))
    # Drawn scatters are at their mean squares, which an even mean over them is near.
    assert stated.chance == pytest.approx(slides, abs=3 * 0.5 / math.sqrt(n) + 0.015)


def test_a_body_in_layers_is_drawn_in_layers_and_the_other_in_hundredths():
    profile = known_profile()
    for move in MovingBody:
        found = answer(profile, Question(Joint(SLOT, TONGUE, 12.1, Z, X), Grade.SLIDE, move))
        drawn = {each.form: each for each in found.moves}
        assert drawn[SLOT].drawn_mm / 0.2 == pytest.approx(round(drawn[SLOT].drawn_mm / 0.2))
        tongue_mm = drawn[TONGUE].drawn_mm if TONGUE in drawn else 12.1
        assert found.gap_mm == pytest.approx(drawn[SLOT].drawn_mm - tongue_mm)
        assert abs(found.gap_mm - found.best_gap_mm) <= (0.1 if move == "internal" else 0.011)
        assert "layers of 0.2 mm" in " ".join(sentences(found))


def test_bodies_of_printers_with_unlike_layers_are_each_drawn_in_their_own():
    other = known_profile(machine="bench-2", layer_height_mm=0.25)
    joint = Joint(SLOT, TONGUE, 12.1, Z)
    found = answer(known_profile(), Question(joint, Grade.SLIDE, external_profile=other))
    drawn = {each.form: each.drawn_mm for each in found.moves}
    assert drawn[SLOT] == pytest.approx(12.0)
    assert drawn[TONGUE] / 0.25 == pytest.approx(round(drawn[TONGUE] / 0.25))
    assert abs(found.gap_mm - found.best_gap_mm) <= 0.125 + 1e-6


def test_a_drawn_gap_between_layers_prints_as_either_of_the_layered_body():
    question = Question(UNLIKE, Grade.SLIDE, MovingBody.INTERNAL, drawn_gap_mm=0.30)
    found = answer(known_profile(), question)
    assert [gap for gap, _ in found.prints_as] == pytest.approx([0.2, 0.4])
    assert found.chance == pytest.approx(np.mean([chance for _, chance in found.prints_as]))


def test_the_answer_says_what_is_unlike():
    other = Printer(known_profile(machine="bench-2", sd_share=0.3))
    printer = Printer(known_profile())
    found = printer.offset("hole/pin", size_mm=8, across="z/x", other=other)
    told = str(found)
    assert "the hole axis along z and the pin axis along x" in told
    assert "The pin comes from another printer" in told
    assert "The pin: For bench-2, grey" in told
    data = as_data(found)
    assert data["question"]["across"] == "z/x"
    assert [maker["machine"] for maker in data["makers"]] == ["bench-2"]
    two = printer.offset("slot/tongue", size_mm=8, across="x", two_prints=True)
    assert "two prints" in str(two)


def test_evidence_and_warnings_are_of_each_body():
    ranges = (
        MeasuredRange(form=SLOT, direction=Z, low_mm=4, high_mm=20),
        MeasuredRange(form=TONGUE, direction=Z, low_mm=4, high_mm=20),
    )
    profile = known_profile(measured=ranges)
    found = answer(profile, Question(UNLIKE, Grade.SLIDE))
    assert [each.direction for each in found.measured] == [Z]
    assert "no tongues across x were measured" in " ".join(sentences(found))


WRONG = [
    ({"across": "q/x"}, "'q'"),
    ({"across": "x/y/z"}, "internal/external, such as z/x"),
    ({"across": "xy"}, "Expected a direction"),
    ({"across": "x", "other_makes": "internal"}, "which other printer makes the internal body"),
    ({"across": "z/x", "joint": "slot/tongue", "bed": "external"}, "No face of the tongue looks"),
    ({"across": "z/x", "joint": None, "size_mm": None, "hardware": "pin 8 m6"}, "one direction"),
    (
        {"across": "z", "joint": None, "size_mm": None, "hardware": "pin 8 m6", "two_prints": True},
        "it comes from one print",
    ),
    ({"across": "x", "other": "bench-2"}, "expected a printer from load_profile"),
]


@pytest.mark.parametrize(("asked", "said"), WRONG)
def test_wrong_sides_are_refused(asked, said):
    with pytest.raises(AnswerError, match=said):
        Printer(known_profile()).offset(**({"joint": "slot/tongue", "size_mm": 8.0} | asked))


def test_profiles_of_two_materials_are_refused():
    other = Printer(known_profile(machine="bench-2", material="white"))
    with pytest.raises(AnswerError, match=r"external body is of white \(bench-2\).*in grey"):
        Printer(known_profile()).offset("slot/tongue", size_mm=8, across="x", other=other)


HEAD = "name,internal,external,size_mm,across,fit,internal_profile,external_profile,"
HEAD += "internal_print,external_print\n"


def sided(tmp_path, rows):
    write_profile(known_profile(machine="bench-2", sd_share=0.3), tmp_path / "bench-2.json")
    path = tmp_path / "joints.csv"
    path.write_text(HEAD + rows, encoding="utf-8")
    return read_joints(path).joints


@pytest.mark.slow
def test_blank_columns_change_nothing(tmp_path):
    profile = known_profile(sd_share=FROM_ONE_PRINT)
    rows = "a,slot,tongue,12,x,slide{0}\nb,slot,tongue,8,z,push{0}\nc,hole,pin,5,z,push{0}\n"
    old, new = tmp_path / "old.csv", tmp_path / "new.csv"
    old.write_text("name,internal,external,size_mm,across,fit\n" + rows.format(""))
    new.write_text(HEAD + rows.format(",,,,"))
    first, second = (answer_part(profile, read_joints(path).joints) for path in (old, new))
    assert first == second


@pytest.mark.slow
def test_bodies_of_one_print_share_its_shift_wherever_they_are_listed(tmp_path):
    # Nothing is unknown but what prints have of their own: joints of one print hold together more
    # often than those of prints of their own, which are independent.
    profile = exact(scatters={"tau": 1e-4, "omega": 1e-4, "rho": 0.06, "rho_scale": 1e-7})
    rows = "a,slot,tongue,12,x,slide,,,{0},{0}\nb,slot,tongue,8,y,slide,,,{1},{1}\n"
    alike, apart = (
        answer_part(profile, sided(tmp_path, rows.format(*words)))
        for words in (("left", "left"), ("left", "right"))
    )
    assert (alike.prints, apart.prints) == (1, 2)
    product = math.prod(joint.chance for joint in apart.joints)
    assert apart.together.chance == pytest.approx(product, abs=0.005)
    assert alike.together.chance > product + 0.05
    assert "on the 2 prints together" in str(apart)


@pytest.mark.slow
def test_a_list_takes_bodies_of_another_printer(tmp_path):
    profile = known_profile(sd_share=FROM_ONE_PRINT)
    joints = sided(
        tmp_path,
        "a,slot,tongue,12,z/x,slide,,bench-2.json,,\n"
        "b,hole,pin,8,z,push,bench-2.json,bench-2.json,,\n"
        "c,slot,tongue,8,x,slide,,,,\n",
    )
    part = answer_part(profile, joints)
    assert part.prints == 2
    assert [origin.machine for origin in part.makers] == ["bench-2"]
    for joint in part.joints:
        assert joint.found is not None
    other = joints[0].external_profile
    question = Question(UNLIKE, Grade.SLIDE, external_profile=other)
    assert part.joints[0].chance == answer(profile, question).chance
    assert part.together.chance < min(joint.chance for joint in part.joints)
    assert "Made by others: external body from bench-2" in str(part)


def test_all_wrong_sides_of_a_list_are_told_at_once(tmp_path):
    rows = (
        "a,slot,tongue,12,q/x,slide,,,,\n"
        "b,slot,tongue,12,x,slide,nowhere.json,,,\n"
        "c,slot,tongue,12,x,slide,,bench-2.json,left,left\n"
        f"d,slot,tongue,12,x,slide,,,{'w' * 50},\n"
    )
    with pytest.raises(AnswerError) as caught:
        sided(tmp_path, rows)
    told = caught.value.message
    for said in ("row 2", "'q/x'", "row 3 internal_profile", "row 5", "external_print"[9:]):
        assert said in told
    with pytest.raises(AnswerError, match="a print of one printer"):
        sided(tmp_path, "c,slot,tongue,12,x,slide,,bench-2.json,left,left\n")


def test_a_path_with_odd_signs_is_refused(tmp_path):
    with pytest.raises(AnswerError, match="a path of plain signs"):
        sided(tmp_path, "a,slot,tongue,12,x,slide,bench\x002.json,,,\n")


def test_hardware_has_no_printer(tmp_path):
    path = tmp_path / "joints.csv"
    path.write_text("name,across,fit,hardware,external_print\nhinge,z,push,pin 8 m6,left\n")
    with pytest.raises(AnswerError, match="nothing in external_print with hardware"):
        read_joints(path)


def test_cases_of_what_stands_on_the_bed_are_those_of_the_bodies_that_have_a_lower_face():
    profile = known_profile()
    assert len(clearances(profile, Question(UNLIKE, Grade.SLIDE), np.zeros(1))) == 1
    turned = Question(Joint(SLOT, TONGUE, 12.0, X, Z), Grade.SLIDE)
    assert [one.bed for one in clearances(profile, turned, np.zeros(1))] == [
        Bed.NONE,
        Bed.EXTERNAL,
    ]


@pytest.mark.slow
def test_limits_are_met_by_bodies_that_lie_unlike():
    printer = Printer(known_profile())
    found = printer.limits("12 H13/d13", joint="slot/tongue", across="x/y", two_prints=True)
    assert [side.question.direction for side in (found.hole, found.shaft)] == [X, Y]
    assert "a pair from two prints" in str(found)
    assert found.both.chance <= min(found.hole.chance, found.shaft.chance)
