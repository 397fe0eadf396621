import math

import numpy as np
import pytest
from support.drawer_list import DRAWER, part
from support.drawn_part import DrawnPart, drawn_sizes
from support.known_profile import FROM_ONE_PRINT, known_profile

from coupons.answering.offset import Answer
from coupons.answering.single import SizeAnswer
from coupons.terms import Form, Grade

ACROSS = "lid,slot,tongue,4,z,slide,,\nlatch,slot,tongue,6,z,loose,,\n"


def test_every_kind_of_row_is_answered(tmp_path):
    found = part(tmp_path, known_profile())
    drawer, pins, cell, rail, hinge, screw, stop = found.joints
    assert isinstance(drawer.found, Answer)
    assert isinstance(screw.found, SizeAnswer)
    assert drawer.drawn_mm(Form.SLOT) == 12
    assert drawer.drawn_mm(Form.TONGUE) < 12
    assert (pins.drawn_mm(Form.PIN), len(pins.moves)) == (5, 1)
    assert len(cell.moves) == 2
    assert rail.drawn_mm(Form.SLOT) > 20
    assert (hinge.drawn_mm(Form.PIN), hinge.drawn_mm(Form.HOLE) > 8) == (None, True)
    assert screw.drawn_mm(Form.HOLE) > 3.4
    assert stop.chance is None
    assert [joint.listed.name for joint in found.counted][-1] == "cover screw"


@pytest.mark.slow
def test_the_chance_of_all_is_that_of_drawn_prints(tmp_path):
    # One draw is a printer, a print on it, and every joint's own deviations and judgement.
    profile = known_profile(sd_share=FROM_ONE_PRINT)
    found = part(tmp_path, profile, DRAWER + ACROSS)
    n = 100_000
    drawn = DrawnPart(profile, 11, n)
    all_hold, none_tight = np.ones(n, bool), np.ones(n, bool)
    for joint in found.counted:
        not_tight, not_loose = drawn.holds(joint, drawn_sizes(joint))
        holds = not_tight & not_loose
        assert joint.chance == pytest.approx(holds.mean(), abs=0.01), joint.listed.name
        all_hold &= holds
        none_tight &= not_tight
    error = math.hypot(found.together.error, all_hold.std() / math.sqrt(n))
    assert found.together.chance == pytest.approx(all_hold.mean(), abs=4 * error + 0.002)
    error_of_tight = math.hypot(found.not_too_tight.error, none_tight.std() / math.sqrt(n))
    stated = found.not_too_tight.chance
    assert stated == pytest.approx(none_tight.mean(), abs=4 * error_of_tight + 0.002)
    product = math.prod(joint.chance for joint in found.counted)
    assert found.together.chance > product + 10 * error, "shared terms help all joints at once"


def test_one_joint_alone_has_its_own_chance_exactly(tmp_path):
    found = part(tmp_path, known_profile(), DRAWER.splitlines()[0] + "\n")
    assert (found.together.chance, found.together.error) == (found.joints[0].chance, 0)


def test_a_joint_that_was_never_measured_does_not_keep_the_others_from_their_answers(tmp_path):
    profile = known_profile(sd_share={"growth_int_z": 1.0, "growth_ext_z": 1.0, "scale_z": 1.0})
    found = part(tmp_path, profile, DRAWER + "shelf,slot,tongue,12,z,slide,,\n")
    shelf = found.joints[-1]
    assert (shelf.found, shelf.moves, shelf.drawn_mm(Form.SLOT)) == (None, (), None)
    assert "Not measured" in shelf.why
    assert shelf not in found.counted
    assert found.joints[0].found is not None


def test_answers_in_a_list_are_the_answers_one_by_one(tmp_path):
    from coupons.answering.offset import answer
    from coupons.answering.question import Question

    profile = known_profile()
    listed = part(tmp_path, profile).joints[0]
    assert listed.found == answer(profile, Question(listed.listed.joint, Grade.SLIDE))
