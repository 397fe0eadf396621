"""What a list asks and demands of each joint, on a printer without errors, by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest
from support.known_profile import FROM_ONE_PRINT, known_profile
from support.written_answers import (
    PIECES,
    SCREW,
    joined,
    screw_hole,
    unanswered,
    written,
    written_part,
)

from coupons.answering.chances.prints import made_by
from coupons.answering.chances.shared import shared_of
from coupons.answering.chances.together import Together
from coupons.answering.choices import answer_with_choices
from coupons.answering.joints import rank as rank_of_machines
from coupons.answering.joints import whole_part as part_of_joints
from coupons.answering.joints.listed import ListedJoint, label_of
from coupons.answering.joints.loosen import Loosening
from coupons.answering.joints.print_plan import plan_prints
from coupons.answering.joints.rank import rank
from coupons.answering.joints.usual import usual_joints
from coupons.answering.joints.whole_part import (
    Lack,
    answer_listed,
    answer_part,
    demand_of,
    fit_demand,
    has_standard_hole,
    question_of,
    questions_of,
)
from coupons.answering.question import Question
from coupons.answering.several.kinds import JointKind, Several
from coupons.answering.single import SizeQuestion, draw_hole, draw_size
from coupons.answering.standards.hardware import hardware
from coupons.errors import AnswerError
from coupons.learning.effects import TERMS
from coupons.learning.profile import MeasuredRange
from coupons.terms import Bed, Direction, Form, Grade, Joint, MovingBody

X, Y, Z = Direction.X, Direction.Y, Direction.Z
NOTHING = {name: 0.0 for name in TERMS if not name.startswith("from_")}
EDGES = {"from_force": -0.1, "from_push": 0.0, "from_slide": 0.1, "from_loose": 0.3}
PERFECT = known_profile(NOTHING | EDGES, sd_share=1e-6)
DRAWER = Joint(Form.SLOT, Form.TONGUE, 12.0, X)
HOLE_M3 = Joint(Form.HOLE, Form.PIN, 3.0, Z)


def listed(joint=DRAWER, fit=Grade.SLIDE, gap_mm=None, move=MovingBody.EXTERNAL, **more):
    fields = {"row": 2, "name": "drawer"} | more
    return ListedJoint(joint=joint, fit=fit, gap_mm=gap_mm, move=move, **fields)


def screw(joint=HOLE_M3, **more):
    return listed(joint, None, move=MovingBody.INTERNAL, hardware=SCREW, **more)


def test_a_row_is_asked_with_all_that_it_says():
    white = known_profile(machine="attic-1")
    said = {
        "at_least": 0.9,
        "bed": Bed.NONE,
        "contact_mm": 20.0,
        "internal_profile": white,
        "external_profile": PERFECT,
        "choices": 3,
        "loose_costs": 2.0,
    }
    asked = question_of(listed(move=MovingBody.INTERNAL, **said))
    assert asked == Question(DRAWER, Grade.SLIDE, MovingBody.INTERNAL, **said)
    gap = question_of(listed(fit=None, gap_mm=0.2))
    assert gap == Question(DRAWER, Grade.SLIDE, printed_gap_mm=0.2)
    assert question_of(listed(fit=Grade.PUSH)).fit is Grade.PUSH


@pytest.mark.parametrize(
    ("internal", "external", "two"), [("", "", False), ("a", "a", False), ("a", "", True)]
)
def test_bodies_of_two_prints_are_asked_so(internal, external, two):
    row = listed(internal_print=internal, external_print=external)
    assert question_of(row).two_prints is two


def test_the_hole_of_a_standard_is_asked_as_the_gap_in_the_middle_of_its_limits():
    # ISO 273 gives M3 a medium hole of 3.4 mm, H13 is +0.18 mm there: 3.49 mm in the middle; ISO
    # 965 gives the screw 2.874 to 2.980 mm: 2.927 mm.
    asked = question_of(screw(internal_print="a"))
    assert asked.printed_gap_mm == pytest.approx(3.49 - 2.927, abs=1e-9)
    assert (asked.hardware.name, asked.hardware.printed) == ("screw M3", None)
    assert not asked.two_prints, "hardware is of no print"
    dowel = listed(replace(HOLE_M3, size_mm=8.0), hardware=hardware("pin 8 m6"))
    assert question_of(dowel).hardware.name == "pin 8 m6"
    assert question_of(dowel).printed_gap_mm is None


@pytest.mark.parametrize(
    ("row", "has"),
    [
        (screw(), True),
        (replace(screw(), fit=Grade.SLIDE), False),
        (replace(screw(), gap_mm=0.2), False),
        (replace(screw(), hardware=hardware("screw M3")), False),
        (replace(screw(), hardware=None), False),
        (listed(), False),
    ],
)
def test_a_screw_without_a_wish_gets_its_standard_hole(row, has):
    assert has_standard_hole(row) is has


def test_pairs_are_asked_about_by_name():
    lid = Several(JointKind.POCKET, (40.0, 25.0), ((X, Y), (X, Y)))
    assert list(questions_of(listed(several=lid))) == ["drawer, across x", "drawer, across y"]
    cover = Several(JointKind.HOLES, (5.0,), ((Z, X), (Z, X)), pitch_mm=60.0)
    assert questions_of(listed(several=cover)) == {"drawer": cover.pairs[0]}
    assert questions_of(listed()) == {"drawer": question_of(listed())}


FAT = known_profile(NOTHING | EDGES | {"growth_int": 0.05}, sd_share=1e-6, machine="attic-1")


def test_a_standard_hole_is_that_of_the_printer_that_makes_it():
    here = answer_listed(PERFECT, screw()).found
    there = answer_listed(PERFECT, screw(internal_profile=FAT)).found
    assert here == draw_hole(PERFECT, SCREW, Z)
    # Each face 0.05 mm fat: the hole is drawn 0.1 mm wider.
    assert there.drawn_mm - here.drawn_mm == pytest.approx(0.1, abs=1e-6)
    lying = answer_listed(PERFECT, screw(bed=Bed.INTERNAL, joint=replace(HOLE_M3, direction=X)))
    assert lying.found.question.bed is Bed.INTERNAL


def constants(demand):
    return [end and end[0] for end in (demand.lower, demand.upper)]


@pytest.mark.parametrize(
    ("changes", "margins"),
    [
        # A gap of 0.4 mm over where the grade begins, and over where the next one does.
        ({}, [0.3, 0.1]),
        ({"fit": Grade.PUSH}, [0.4, 0.3]),
        ({"fit": Grade.LOOSE}, [0.1, None]),
        ({"at_least": 0.9}, [0.3, None]),
    ],
)
def test_a_gap_is_demanded_above_one_edge_and_below_the_next(changes, margins):
    found = fit_demand(PERFECT, replace(Question(DRAWER, Grade.SLIDE), **changes), 0.4)
    assert constants(found) == [
        None if mm is None else pytest.approx(mm, abs=1e-5) for mm in margins
    ]
    assert found.own_sd_mm == pytest.approx(0, abs=1e-6)
    # Two sizes in the plane and one judgement.
    assert found.counts == (2, 0, 1)
    assert found.or_else == ()


def test_the_demand_of_a_fit_covers_both_cases_of_the_bed_and_hardware_s_own_spread():
    upright = Question(replace(DRAWER, direction=Z), Grade.SLIDE)
    found = fit_demand(PERFECT, upright, 0.4)
    assert len(found.or_else) == 1
    assert found.counts == (0, 2, 1)
    dowel = hardware("pin 8 m6")
    bolt = Question(replace(HOLE_M3, size_mm=8.0), Grade.SLIDE, MovingBody.INTERNAL, hardware=dowel)
    found = fit_demand(PERFECT, bolt, 0.4)
    # Limits 0.009 mm apart, taken as even between them: width / √12.
    assert found.own_sd_mm == pytest.approx(0.009 / math.sqrt(12), rel=1e-3)
    assert found.counts == (1, 0, 1)


def test_a_gap_in_mm_and_a_row_without_an_answer_demand_nothing():
    row = listed(fit=None, gap_mm=0.2)
    assert demand_of(PERFECT, answer_listed(PERFECT, row)) is None
    none = replace(joined(written()), found=None)
    assert demand_of(PERFECT, none) is None
    size = draw_size(PERFECT, SizeQuestion(Form.HOLE, 8.0, Z))
    assert demand_of(PERFECT, replace(none, found=size)) is None, "no limits to hold"


def test_a_standard_hole_is_demanded_between_its_limits_of_the_printer_that_makes_it():
    joint = answer_listed(PERFECT, screw())
    found = demand_of(PERFECT, joint)
    at = joint.found.expected_mm
    assert constants(found) == [
        pytest.approx(at - 3.4, abs=1e-6),
        pytest.approx(at - 3.58, abs=1e-6),
    ]
    # The same drawn size by one that makes it 0.1 mm narrower, as internal body of two prints.
    there = demand_of(PERFECT, joint, made_by(PERFECT, FAT, PERFECT))
    assert there.lower[0] == pytest.approx(found.lower[0] - 0.1, abs=1e-6)
    swapped = demand_of(PERFECT, joint, made_by(PERFECT, PERFECT, FAT))
    assert swapped.lower[0] == pytest.approx(found.lower[0], abs=1e-9)


def test_pieces_are_demanded_as_one_of_them():
    profile = known_profile(sd_share=FROM_ONE_PRINT)
    joint = answer_listed(profile, listed(choices=2))
    found = demand_of(profile, joint)
    (pieces,) = found.cases
    gaps = [piece.gap_mm for piece in joint.choices.pieces]
    assert pieces[1].lower[0] - pieces[0].lower[0] == pytest.approx(gaps[1] - gaps[0], abs=1e-3)


@pytest.mark.slow
def test_one_joint_alone_has_its_own_chances_exactly():
    profile = known_profile(sd_share=FROM_ONE_PRINT)
    alone = answer_part(profile, [listed()])
    found = alone.joints[0].found
    assert (alone.together.chance, alone.together.error) == (found.chance, 0.0)
    assert (alone.not_too_tight.chance, alone.not_too_tight.error) == (1 - found.too_tight, 0.0)
    pieces = answer_part(profile, [listed(choices=2)])
    choices = pieces.joints[0].choices
    assert (pieces.together.chance, pieces.together.error) == (choices.chance, choices.error)
    assert pieces.together.error > 0
    hole = answer_part(profile, [screw()])
    assert hole.together.chance == hole.joints[0].found.chance
    # That it is not narrower than 3.4 mm: a sampled chance, of a size with a normal spread.
    size = hole.joints[0].found
    z = (size.expected_mm - 3.4) / size.sd_mm
    assert hole.not_too_tight.chance == pytest.approx(0.5 * math.erfc(-z / math.sqrt(2)), abs=0.02)


def test_rows_that_ask_the_same_are_answered_once(monkeypatch):
    asked = []

    def noted(profile, row):
        asked.append(row.name)
        return answer_listed(profile, row)

    monkeypatch.setattr(part_of_joints, "answer_listed", noted)
    rows = [listed(), listed(row=3, name="rail"), listed(fit=Grade.PUSH, name="lid")]
    part = answer_part(PERFECT, rows)
    assert asked == ["drawer", "lid"]
    assert [joint.listed.name for joint in part.joints] == ["drawer", "rail", "lid"]
    assert part.joints[0].found is part.joints[1].found


def tried_by(monkeypatch, profile, rows):
    """Return what is drawn wider to find the joint to loosen."""
    seen = []

    def noted(demands, tried, _):
        seen.append((demands, tried))

    monkeypatch.setattr(part_of_joints, "most_gained", noted)
    monkeypatch.setattr(part_of_joints, "chance_together", lambda *_: Together(0.5, 0.0))
    part = answer_part(profile, rows)
    return part, seen[0] if seen else None


STEPS = [round(0.02 * n, 2) for n in range(1, 11)]


def test_each_joint_is_tried_wider_step_by_step_up_to_a_fifth_of_a_millimetre(monkeypatch):
    rows = [
        listed(),
        screw(name="screw"),
        listed(move=MovingBody.BOTH, name="both"),
        listed(joint=replace(DRAWER, size_mm=20.0), at_least=0.9, name="asked"),
        listed(joint=replace(DRAWER, size_mm=21.0), loose_costs=2.0, name="dear"),
        listed(joint=replace(DRAWER, size_mm=22.0), choices=2, name="pieces"),
    ]
    part, (demands, tried) = tried_by(monkeypatch, PERFECT, rows)
    assert len(demands) == 6
    of = {at: [one for one in tried if one.at == at] for at in range(6)}
    assert [len(of[at]) for at in range(6)] == [10, 10, 5, 0, 0, 0]
    drawer = part.joints[0].found
    assert [one.wider_mm for one in of[0]] == STEPS
    for one in of[0]:
        (move,) = one.moves
        # The tongue alone gives way: its size by all of it, each face by half.
        assert move.drawn_mm == pytest.approx(12 - drawer.gap_mm - one.wider_mm)
        assert move.offset_mm == pytest.approx(-(drawer.gap_mm + one.wider_mm) / 2)
        assert one.demand.lower[0] == pytest.approx(demands[0].lower[0] + one.wider_mm, abs=1e-5)
    hole = part.joints[1].found
    assert [one.wider_mm for one in of[1]] == STEPS
    for one in of[1]:
        (move,) = one.moves
        assert (move.form, move.faces) == (Form.HOLE, 2)
        assert move.drawn_mm == pytest.approx(hole.drawn_mm + one.wider_mm)
        assert move.offset_mm == pytest.approx(hole.offset_mm - one.wider_mm / 2)
        assert one.demand.lower[0] == pytest.approx(demands[1].lower[0] + one.wider_mm, abs=1e-5)
    assert [one.wider_mm for one in of[2]] == [0.04, 0.08, 0.12, 0.16, 0.2]


@pytest.mark.parametrize(("layer_mm", "wider"), [(0.1, [0.1, 0.2]), (0.15, [0.15]), (0.3, [0.3])])
def test_across_layers_it_is_wider_by_a_layer_at_least(monkeypatch, layer_mm, wider):
    profile = known_profile(NOTHING | EDGES, sd_share=1e-6, layer_height_mm=layer_mm)
    upright = listed(joint=replace(DRAWER, direction=Z))
    _, (_, tried) = tried_by(monkeypatch, profile, [upright, listed(at_least=0.9)])
    assert [one.wider_mm for one in tried] == wider


def test_the_least_sure_are_tried_and_no_more_than_twelve(monkeypatch):
    profile = known_profile(sd_share=FROM_ONE_PRINT)
    # The longer a joint, the less is known of its gap.
    sizes = (70.0, 4.0, 60.0, 50.0, 40.0, 30.0, 20.0, 10.0, 65.0, 55.0, 45.0, 35.0, 25.0, 5.0)
    rows = [
        listed(joint=replace(DRAWER, size_mm=mm), name=f"n{n}", row=n) for n, mm in enumerate(sizes)
    ]
    part, (_, tried) = tried_by(monkeypatch, profile, rows)
    order = list(dict.fromkeys(one.at for one in tried))
    by_chance = sorted(range(14), key=lambda n: part.counted[n].chance)
    assert order == by_chance[:12]
    assert set(range(14)) - set(order) == set(by_chance[12:])


def test_a_single_joint_and_several_pairs_leave_no_choice(monkeypatch):
    assert tried_by(monkeypatch, PERFECT, [listed()])[1] is None
    lid = Several(JointKind.POCKET, (40.0, 25.0), ((X, Y), (X, Y)), drawn_gap_mm=0.2)
    row = listed(joint=lid.pairs[0].joint, several=lid, name="lid")
    _, (_, tried) = tried_by(monkeypatch, PERFECT, [row, listed()])
    assert {one.at for one in tried} == {1}


def test_prints_are_counted_and_their_printers_named():
    white = known_profile(machine="attic-1", rehearsed=True)
    part = answer_part(PERFECT, [listed()])
    assert (part.prints, part.makers, part.rehearsed) == (1, (), False)
    gap = {"fit": None, "gap_mm": 0.2}
    two = [listed(**gap, external_profile=white), listed(**gap, internal_print="b")]
    mixed = answer_part(PERFECT, two)
    assert [maker.machine for maker in mixed.makers] == ["attic-1"]
    assert (mixed.prints, mixed.rehearsed) == (3, True)
    alone = answer_part(PERFECT, [listed(**gap)])
    assert (alone.counted, alone.prints) == ((), 1)


def places(*rows):
    prints, made = plan_prints(PERFECT, rows)
    return prints.of, [(one.internal, one.external) for one in made]


def test_bodies_of_one_word_come_from_one_print():
    assert places(listed()) == ((0,), [(0, 0)])
    assert places(listed(external_print="a"), listed(internal_print="a")) == (
        (0, 0),
        [(0, 1), (1, 0)],
    )
    assert places(listed(internal_print="a", external_print="b"), listed()) == (
        (0, 0, 0),
        [(1, 2), (0, 0)],
    )
    # Another printer's print of the same word is another print.
    white = known_profile(machine="attic-1")
    assert places(listed(external_profile=white), listed(internal_profile=white)) == (
        (0, 1),
        [(0, 1), (1, 0)],
    )


def test_hardware_is_of_the_print_of_its_mate():
    bolt = listed(HOLE_M3, hardware=hardware("pin 3 m6"), internal_print="a")
    assert places(bolt) == ((0, 0), [(1, 1)])
    axle = listed(
        replace(HOLE_M3, size_mm=8.0), hardware=hardware("bearing bore 8"), external_print="a"
    )
    assert places(axle) == ((0, 0), [(1, 1)])
    # Two dowels in two holes are held by the external body, which is of a print.
    cover = Several(
        JointKind.HOLES, (5.0,), ((Z, X), (Z, X)), hardware=hardware("pin 5 m6"), pitch_mm=60.0
    )
    held = listed(HOLE_M3, hardware=cover.hardware, several=cover, external_print="a")
    assert places(held) == ((0, 0), [(0, 1)])


def test_a_job_is_ranked_by_the_chance_that_all_of_it_fits(monkeypatch):
    profile = known_profile(sd_share=0.3)
    rows = [listed(), listed(joint=replace(DRAWER, size_mm=40.0), name="lid")]
    joints = [answer_listed(profile, row) for row in rows]
    asked = []

    def together(demands, shared):
        asked.append((demands, shared))
        return Together(0.42, 0.001)

    monkeypatch.setattr(rank_of_machines, "chance_together", together)
    (found,) = rank([profile], [*rows, listed(fit=None, gap_mm=0.2, name="stop")])
    assert (found.profile, found.chance) == (profile, 0.42)
    assert found.sampling_error == Together(0.42, 0.001).sampling_error
    ((demands, shared),) = asked
    expected = [demand_of(profile, joint) for joint in joints]
    assert [demand.lower[0] for demand in demands] == [one.lower[0] for one in expected]
    assert shared.own == shared_of(profile).own
    weakest = min(joints, key=lambda joint: joint.chance)
    assert (found.weakest, found.missing) == (weakest.listed.name, {})
    alone, other = rank([profile, PERFECT], rows[:1])
    assert (alone.profile, other.profile) == (profile, PERFECT)
    assert alone.chance == joints[0].chance
    assert (alone.sampling_error, alone.weakest) == (0.0, "drawer")


def test_a_machine_that_never_measured_a_joint_has_no_chance():
    blank = known_profile(sd_share={"growth_int_z": 1.0, "growth_ext_z": 1.0, "scale_z": 1.0})
    shelf = listed(joint=replace(DRAWER, direction=Z), name="shelf")
    (found,) = rank([blank], [listed(), shelf])
    assert (found.chance, found.sampling_error) == (None, 0.0)
    assert (found.weakest, found.missing) == ("drawer", {Lack.DATA: ("shelf",)})
    (none,) = rank([blank], [shelf])
    assert (none.chance, none.weakest, none.missing) == (None, "", {Lack.DATA: ("shelf",)})
    with pytest.raises(AnswerError, match="at least one joint a fit"):
        rank([blank], [listed(fit=None, gap_mm=0.2)])


def tried(form, direction, low_mm, high_mm):
    ends = (low_mm, high_mm)
    return MeasuredRange(
        form=form, direction=direction, low_mm=low_mm, high_mm=high_mm, tried_mm=ends
    )


@pytest.mark.parametrize(
    ("slots", "tongues", "size_mm"),
    [
        ((4, 20), (4, 20), 8),
        ((10, 20), (9, 20), 10),
        ((4, 6), (4, 5), 5),
        ((4, 5), (6, 9), 6),
        ((4, 7.4), (4, 20), 7),
    ],
)
def test_the_usual_size_is_8_mm_or_the_nearest_that_both_were_tried_at(slots, tongues, size_mm):
    measured = (tried(Form.SLOT, X, *slots), tried(Form.TONGUE, X, *tongues))
    (found,) = usual_joints(known_profile(measured=measured))
    assert found.joint == Joint(Form.SLOT, Form.TONGUE, size_mm, X)
    assert (found.name, found.fit, found.gap_mm) == ("slot tongue x", Grade.SLIDE, None)
    assert found.move is MovingBody.EXTERNAL


def test_the_usual_joints_are_of_every_pair_and_direction_tried():
    every = tuple(tried(form, lies, 4, 20) for form in Form for lies in (X, Y, Z))
    found = [one.name for one in usual_joints(known_profile(measured=every))]
    assert found == [
        *(f"slot tongue {lies}" for lies in "xyz"),
        *(f"hole pin {lies}" for lies in "xyz"),
    ]
    read_only = every[0].model_copy(update={"tried_mm": None})
    assert len(usual_joints(known_profile(measured=(read_only, *every[1:])))) == 5


@pytest.mark.parametrize(
    ("name", "label"),
    [
        ("Lid pin (2)", "Lid_pin_2"),
        ("2nd lid", "joint_2nd_lid"),
        ("M3 lid", "M3_lid"),
        ("_a_", "a"),
        ("(1)", "joint_1"),
    ],
)
def test_a_label_is_a_name_for_a_model(name, label):
    assert label_of(name) == label


def test_an_answer_with_pieces_holds_the_best_single_one():
    profile = known_profile(sd_share=FROM_ONE_PRINT)
    question = Question(DRAWER, Grade.SLIDE, choices=3)
    found = answer_with_choices(profile, question)
    gaps = np.array([piece.gap_mm for piece in found.choices.pieces])
    assert gaps[0] < found.gap_mm < gaps[-1]


def test_what_a_joint_is_drawn_with_when_it_is_a_row_of_a_list():
    joint = joined(written())
    assert (joint.drawn_mm(Form.SLOT), joint.drawn_mm(Form.TONGUE)) == (12.0, 11.66)
    cover = screw_hole()
    assert (cover.drawn_mm(Form.HOLE), cover.drawn_mm(Form.PIN)) == (3.7, None)
    none = unanswered()
    assert (none.drawn_mm(Form.SLOT), none.moves, none.chance, none.too_tight) == (
        None,
        (),
        None,
        None,
    )
    gap = joined(written(), fit=None, gap_mm=0.2)
    assert (gap.chance, gap.too_tight) == (None, None)
    pieces = joined(written(choices=PIECES), at_least=0.9)
    assert (pieces.chance, pieces.too_tight) == (0.95, 0.03)
    counts, rows = zip(*pieces.pieces(), strict=True)
    assert counts == (1, 2)
    assert [row.found.gap_mm for row in rows] == [0.3, 0.4]
    assert [row.moves[0].drawn_mm for row in rows] == [11.7, 11.6]
    assert list(joint.pieces()) == [(0, joint)]


def test_a_part_is_told_in_one_line():
    part = written_part(joined(written()), joined(written()))
    assert repr(part) == "<PartAnswer to 2 joints: all fit with 72 % chance>"
    left = replace(part, joints=(joined(written()), unanswered()))
    assert repr(left) == ("<PartAnswer to 2 joints, 1 without an answer: all fit with 72 % chance>")


def test_chances_of_a_loosened_part_are_those_of_now_and_what_is_gained():
    part = written_part(joined(written()), joined(written()))
    assert part.loosened == (0.83, 0.72)
    gained = replace(part, loosen=Loosening(1, 0.14, (), 0.09, -0.02))
    assert gained.loosened == (pytest.approx(0.92), pytest.approx(0.7))
    # A chance is never below none.
    lost = replace(part, loosen=Loosening(0, 0.14, (), 0.09, -0.8))
    assert lost.loosened == (pytest.approx(0.92), 0.0)
