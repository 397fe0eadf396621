import re

import pytest
from support.known_profile import known_profile

from coupons.answering.offset import answer
from coupons.answering.question import Question
from coupons.learning.profile import MeasuredRange
from coupons.showing.pages.wall_card import SIZES_MM, card_joints, write_wall_card
from coupons.terms import Direction, Form, Grade, Joint, MovingBody


def ranges(low_mm, high_mm, *kinds):
    return tuple(
        MeasuredRange(form=form, direction=direction, low_mm=low_mm, high_mm=high_mm)
        for form, direction in kinds
    )


FLAT_X = ((Form.SLOT, Direction.X), (Form.TONGUE, Direction.X))


@pytest.mark.slow
def test_only_what_was_measured_is_on_the_card():
    (joint,) = card_joints(known_profile(measured=ranges(4.0, 13.0, *FLAT_X)))
    assert (joint.name, joint.way) == ("Tongue in slot", "across x")
    assert joint.rows[0].low_mm == 5.0
    assert joint.rows[-1].high_mm == 12.0


@pytest.mark.slow
def test_directions_that_agree_share_their_rows():
    flat = [joint for joint in card_joints(known_profile()) if joint.internal is Form.SLOT]
    assert [joint.way for joint in flat] == ["across x or y", "across z"]
    apart = card_joints(known_profile(means={"scale_y": -0.003, "scale_x": 0.02}))
    assert apart[0].way == "across x"


@pytest.mark.slow
def test_small_holes_have_rows_of_their_own_and_a_merged_row_holds_at_both_ends():
    profile = known_profile()
    holes = next(
        j for j in card_joints(profile) if j.directions == (Direction.Z,) and "hole" in j.name
    )
    assert holes.rows[0].sizes == "3 mm"
    slots = card_joints(profile)[0]
    row = slots.rows[0]
    for size_mm in (size for size in SIZES_MM if row.low_mm <= size <= row.high_mm):
        joint = Joint(Form.SLOT, Form.TONGUE, size_mm, Direction.X)
        found = answer(profile, Question(joint, Grade.SLIDE, MovingBody.EXTERNAL))
        assert found.gap_mm == row.answers[Grade.SLIDE].gap_mm


@pytest.mark.slow
@pytest.mark.parametrize("rehearsed", [True, False])
def test_a_rehearsed_card_says_so(tmp_path, rehearsed):
    path = write_wall_card(tmp_path / "card.html", known_profile(rehearsed=rehearsed))
    assert ("REHEARSED" in path.read_text(encoding="utf-8")) == rehearsed


@pytest.mark.slow
def test_names_are_escaped_and_bytes_are_the_same(tmp_path):
    profile = known_profile(machine="</style><script>alert(1)</script>", material="<b>x</b>")
    one = write_wall_card(tmp_path / "a.html", profile).read_bytes()
    assert one == write_wall_card(tmp_path / "b.html", profile).read_bytes()
    assert not re.search(rb"<script|<b>x", one)


@pytest.mark.slow
def test_nothing_measured_is_said_in_words(tmp_path):
    path = write_wall_card(tmp_path / "card.html", known_profile(measured=()))
    assert "No joint was measured" in path.read_text(encoding="utf-8")
