"""Bought mates and whole layers in the answer to one joint."""

import pytest
from support.known_profile import known_profile

from coupons.answering.offset import answer
from coupons.answering.question import Question
from coupons.answering.standards.hardware import hardware
from coupons.errors import AnswerError
from coupons.terms import Direction, Form, Grade, Joint, MovingBody

SURE = {"tau": 0.001, "tau_z": 0.001, "omega": 0.03, "rho": 0.001, "rho_scale": 1e-5} | {
    "rho_scale_z": 1e-5,
    "rho_bed": 0.001,
    "rho_roof": 0.001,
}
NO_ERROR = dict.fromkeys(
    "scale_x scale_y scale_z growth_ext growth_int round_ext round_int curl_int curl_bend "
    "growth_ext_z growth_int_z round_loss".split(),
    0.0,
) | {"from_force": -0.1, "from_push": 0.0, "from_slide": 0.1, "from_loose": 0.3}


def sure(**changes):
    return known_profile(NO_ERROR, 0.01, SURE, **changes)


def ask(profile, piece, internal, external, along="z", **more):
    bought = hardware(piece)
    joint = Joint(Form(internal), Form(external), bought.nominal_mm, Direction(along))
    moving = MovingBody.INTERNAL if bought.form in (Form.PIN, Form.TONGUE) else MovingBody.EXTERNAL
    return answer(profile, Question(joint, Grade.SLIDE, moving, hardware=bought, **more))


def test_a_perfect_printer_draws_the_middle_of_the_window_around_the_pin_as_it_is():
    # Slide is the window from 0.1 to 0.3 mm of clearance; the middle of m6 is 8.0105 mm.
    found = ask(sure(), "pin 8 m6", "hole", "pin")
    assert found.best_gap_mm == pytest.approx(0.2105, abs=0.002)
    (move,) = found.moves
    assert (move.form, move.drawn_mm) == (Form.HOLE, pytest.approx(8.22))
    assert move.offset_mm == pytest.approx(-0.11)
    assert found.low_mm < 0.2105 < found.high_mm


def test_a_screw_is_thinner_than_its_name():
    # Class 6g, M3: 2.874 to 2.98 mm, so that a hole of 3.127 mm leaves 0.2 mm.
    found = ask(sure(), "screw M3", "hole", "pin")
    assert found.moves[0].drawn_mm == pytest.approx(3.12, abs=0.011)


def test_a_pin_printed_for_a_bearing_gives_way_inwards():
    found = ask(sure(), "bearing bore 8", "hole", "pin")
    (move,) = found.moves
    # The ring is 7.996 mm, 0.2 mm of clearance are wanted, and the pin's seam eats 0.017: 7.779.
    assert (move.form, move.drawn_mm) == (Form.PIN, pytest.approx(7.78, abs=0.011))
    assert move.offset_mm < 0, "material comes off"


def test_a_wide_tolerance_of_the_mate_costs_chance():
    tight, wide = (ask(sure(), piece, "slot", "tongue", "x") for piece in ("nut M4", "nut M3"))
    assert hardware("nut M4").sd_mm > hardware("nut M3").sd_mm
    assert tight.chance < wide.chance < 0.97


@pytest.mark.parametrize(
    ("form", "layers", "gap_mm"), [(("slot", "tongue"), 1, 0.2), (("hole", "pin"), None, 0.22)]
)
def test_only_what_stands_across_layers_is_rounded_to_them(form, layers, gap_mm):
    # A hole with a vertical axis lies in the layer plane, and the seam of its pin eats 0.017 mm.
    joint = Joint(Form(form[0]), Form(form[1]), 8.0, Direction.Z)
    found = answer(sure(), Question(joint, Grade.SLIDE))
    assert found.layers == layers
    assert found.gap_mm == pytest.approx(gap_mm)


def test_a_gap_that_is_drawn_already_is_not_rounded():
    joint = Joint(Form.SLOT, Form.TONGUE, 8.0, Direction.Z)
    found = answer(sure(), Question(joint, Grade.SLIDE, drawn_gap_mm=0.31))
    assert (found.gap_mm, found.layers) == (0.31, None)
    assert found.chance < 0.9 < answer(sure(), Question(joint, Grade.SLIDE)).chance


@pytest.mark.parametrize("wanted_mm", [-0.1, 0.0, 0.2, 3.0])
def test_a_printed_gap_is_hit_whatever_fit_it_makes(wanted_mm):
    # The tongue grows by 0.05 and the slot closes by 0.03 a face: 0.16 mm more must be drawn.
    profile = known_profile(NO_ERROR | {"growth_ext": 0.05, "growth_int": 0.03}, 0.01, SURE)
    joint = Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X)
    found = answer(profile, Question(joint, Grade.SLIDE, printed_gap_mm=wanted_mm))
    assert found.best_gap_mm == pytest.approx(wanted_mm + 0.16, abs=0.001)
    assert found.low_mm < wanted_mm + 0.16 < found.high_mm
    assert found.high_mm - found.low_mm < 0.03


def test_a_printed_gap_of_a_round_pair_does_not_count_what_the_hand_feels():
    profile = known_profile(NO_ERROR | {"round_loss": 0.04}, 0.01, SURE)
    joint = Joint(Form.HOLE, Form.PIN, 8.0, Direction.Z)
    assert answer(
        profile, Question(joint, Grade.SLIDE, printed_gap_mm=0.2)
    ).best_gap_mm == pytest.approx(0.2, abs=0.001)
    assert answer(profile, Question(joint, Grade.SLIDE)).best_gap_mm == pytest.approx(
        0.24 + 0.017,
        abs=0.002,  # the seam of a printed pin, beside form
    )


@pytest.mark.parametrize("wish", ["drawn_gap_mm", "printed_gap_mm"])
@pytest.mark.parametrize("gap_mm", [6.0, -6.0, 1e6, float("nan")])
def test_gaps_that_no_joint_has(wish, gap_mm):
    joint = Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X)
    with pytest.raises(AnswerError, match="under half"):
        answer(sure(), Question(joint, Grade.SLIDE, **{wish: gap_mm}))
