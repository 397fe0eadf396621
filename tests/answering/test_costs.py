import json
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner
from support.known_profile import FROM_ONE_PRINT, known_profile

from coupons import AnswerError, load_profile
from coupons.answering.choices import answer_with_choices
from coupons.answering.joints.joint_list import read_joints
from coupons.answering.joints.whole_part import answer_part
from coupons.answering.offset import answer
from coupons.answering.question import Question
from coupons.answering.words.joints import warnings
from coupons.cli import main
from coupons.learning.profile_file import write_profile
from coupons.terms import Direction, Form, Grade, Joint

PROFILE = known_profile(sd_share=FROM_ONE_PRINT)
JOINTS = [
    Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X),
    Joint(Form.HOLE, Form.PIN, 8.0, Direction.Z),
    Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.Z),
]


@pytest.mark.parametrize("joint", JOINTS[:2])
@pytest.mark.parametrize("cost", [0.2, 3.0, 20.0])
@pytest.mark.parametrize("fit", [Grade.SLIDE, Grade.PUSH])
def test_no_other_gap_costs_less(joint, cost, fit):
    found = answer(PROFILE, Question(joint, fit, loose_costs=cost))
    costs = []
    for gap_mm in found.gap_mm + 0.02 * np.arange(-6, 7):
        at = answer(PROFILE, Question(joint, fit, drawn_gap_mm=round(float(gap_mm), 2)))
        costs.append(at.too_tight + cost * at.too_loose)
    # Rounded to what is drawn, which may be half a step from the best.
    assert costs[6] == pytest.approx(found.expected_cost, rel=1e-9)
    assert costs[6] <= min(costs) + 0.002 * max(cost, 1)


@pytest.mark.parametrize("joint", JOINTS)
@pytest.mark.parametrize("fit", [Grade.SLIDE, Grade.PUSH])
def test_equal_costs_are_the_answer_of_today_to_the_last_bit(joint, fit):
    assert answer(PROFILE, Question(joint, fit, loose_costs=1.0)) == answer(
        PROFILE, Question(joint, fit)
    )


def test_the_dearer_too_loose_is_the_tighter_is_drawn():
    found = [answer(PROFILE, Question(JOINTS[0], Grade.SLIDE, loose_costs=c)) for c in (0.2, 1, 5)]
    assert np.all(np.diff([one.best_gap_mm for one in found]) < 0)
    assert np.all(np.diff([one.too_loose for one in found]) < 0)
    assert found[2].at_equal_costs == found[1]
    assert found[1].at_equal_costs is None


def test_pieces_to_choose_from_are_drawn_tighter_too():
    question = Question(JOINTS[0], Grade.SLIDE, choices=3)
    even = answer_with_choices(PROFILE, question).choices
    dear = answer_with_choices(PROFILE, replace(question, loose_costs=8.0)).choices
    assert dear.all_too_loose < even.all_too_loose
    assert dear.chance <= even.chance + 3 * even.error
    cost = [1 - one.chance + 7 * one.all_too_loose for one in (even, dear)]
    assert cost[1] < cost[0]


ODD = [
    ({"loose_costs": -1.0}, "0.01 to 100"),
    ({"loose_costs": 0.0}, "0.01 to 100"),
    ({"loose_costs": float("nan")}, "0.01 to 100"),
    ({"loose_costs": float("inf")}, "0.01 to 100"),
    ({"loose_costs": 1e6}, "0.01 to 100"),
    ({"loose_costs": 3.0, "at_least": 0.9}, "Costs choose the gap"),
    ({"loose_costs": 3.0, "printed_gap_mm": 0.2}, "Costs choose the gap"),
    ({"loose_costs": 3.0, "fit": Grade.LOOSE}, "Nothing is too loose"),
]


@pytest.mark.parametrize(("changes", "words"), ODD)
def test_odd_costs_are_refused_in_words(changes, words):
    with pytest.raises(AnswerError, match=words):
        answer(PROFILE, Question(**({"joint": JOINTS[0], "fit": Grade.SLIDE} | changes)))


HEAD = "name,internal,external,size_mm,across,fit,hardware,at_least,loose_costs\n"


def listed(tmp_path, rows):
    path = tmp_path / "joints.csv"
    path.write_text(HEAD + rows, encoding="utf-8")
    return read_joints(path).joints


def test_a_list_says_what_each_joint_costs(tmp_path):
    rows = (
        "a,slot,tongue,12,x,slide,,,3\nb,slot,tongue,12,x,slide,,,\nc,slot,tongue,12,x,slide,,,1\n"
    )
    dear, plain, one = answer_part(PROFILE, listed(tmp_path, rows)).joints
    asked = Question(JOINTS[0], Grade.SLIDE, loose_costs=3.0)
    assert dear.found == answer(PROFILE, asked)
    assert plain.found == one.found
    assert any("counts 3 times" in line for line in warnings(dear))
    assert not any("counts" in line for line in warnings(plain))


def test_every_contradiction_of_a_list_is_told_at_once(tmp_path):
    rows = (
        "a,slot,tongue,12,x,slide,,0.9,3\nb,slot,tongue,12,x,gap 0.2,,,3\n"
        "c,slot,tongue,12,x,loose,,,3\nd,slot,tongue,12,x,slide,,,-3\n"
        "e,slot,tongue,12,x,slide,,,much\nf,,,,z,,screw M3 medium,,2\n"
    )
    with pytest.raises(AnswerError) as told:
        listed(tmp_path, rows)
    assert [p.where.split()[-1] for p in told.value.problems] == ["2", "3", "4", "5", "6", "7"]


def test_terminal_and_python_say_both_chances(tmp_path):
    path = tmp_path / "profile.json"
    write_profile(PROFILE, path)
    asked = ["offset", str(path), "--joint", "slot/tongue", "--size", "12", "--across", "x"]
    told = CliRunner().invoke(main, [*asked, "--loose-costs", "3"])
    assert told.exit_code == 0, told.output
    assert "Too loose counts 3 times" in told.output
    assert told.output.count("too tight") >= 2
    data = json.loads(CliRunner().invoke(main, [*asked, "--loose-costs", "3", "--json"]).output)
    assert data["expected_cost"] == pytest.approx(data["too_tight"] + 3 * data["too_loose"])
    found = load_profile(path).offset("slot/tongue", size_mm=12, across="x", loose_costs=3)
    assert found.at_equal_costs.gap_mm == data["at_equal_costs"]["gap_mm"]
    refused = CliRunner().invoke(main, [*asked, "--loose-costs", "-3"])
    assert refused.exit_code == 1
