"""Answers outside the sizes that were measured and tried are less sure, by one rule."""

import math

import numpy as np
import pytest
from support.known_profile import EVERYTHING, known_profile

from coupons.answering.ask import Printer
from coupons.answering.joints.whole_part import demand_of
from coupons.answering.words.answers import sentences
from coupons.learning.profile import MeasuredRange
from coupons.terms import Direction, Form

# As the first coupon has it: slots of 3.88 to 25 mm, tongues of 3 to 82 mm, fits tried at 4 mm.
ENDS = {
    Form.SLOT: {"low_mm": 3.88, "high_mm": 25.0, "tried_mm": (3.88, 4.6), "read_mm": (3.88, 25.0)},
    Form.TONGUE: {"low_mm": 3.0, "high_mm": 82.0, "tried_mm": (4.0, 4.0), "read_mm": (3.0, 82.0)},
}
MEASURED = tuple(m.model_copy(update=ENDS[m.form]) for m in EVERYTHING if m.form in ENDS)
PRINTER = Printer(known_profile(measured=MEASURED))


def slide(size_mm, printer=PRINTER, **wish):
    return printer.offset("slot/tongue", size_mm=size_mm, across="x", **wish)


@pytest.mark.parametrize("size_mm", [1.2, 200.0])
def test_far_outside_the_chance_is_not_that_of_the_middle(size_mm):
    inside, outside = slide(12.0), slide(size_mm)
    assert outside.extrapolated
    assert outside.chance < 0.6 * inside.chance
    assert outside.high_mm - outside.low_mm > 1.5 * (inside.high_mm - inside.low_mm)
    assert sum(outside.grade_chances.values()) == pytest.approx(1)


def test_chances_fall_the_further_out_and_do_not_jump_at_the_ends():
    for sizes in ([24.9, 25.0, 25.1], [3.9, 3.88, 3.86]):
        near = [slide(size_mm).chance for size_mm in sizes]
        assert near == pytest.approx([near[0]] * 3, abs=0.002)
    outwards = [slide(size_mm).chance for size_mm in (25, 40, 60, 100, 200, 400)]
    assert outwards == sorted(outwards, reverse=True)
    inwards = [slide(size_mm).chance for size_mm in (3.9, 3, 2, 1.2, 0.8)]
    assert inwards == sorted(inwards, reverse=True)


@pytest.mark.slow
def test_what_is_added_is_the_stated_rule():
    # 0.2 % of 175 mm beyond the slots and of 118 mm beyond the tongues; 0.015 mm for each factor e
    # above 4.6 mm. The chance is that of one normal more, thrown on top of the same pair.
    plain = Printer(known_profile()).offset(
        "slot/tongue", size_mm=60, across="x", drawn_gap_mm=slide(200.0).gap_mm
    )
    added = math.hypot(0.002 * 175, 0.002 * 118, 0.015 * math.log(200 / 4.6))
    rng = np.random.default_rng(3)
    shifts = added * rng.normal(size=4000)
    at = [
        Printer(known_profile())
        .offset("slot/tongue", size_mm=60, across="x", drawn_gap_mm=plain.gap_mm + shift)
        .chance
        for shift in np.quantile(shifts, np.linspace(0.0025, 0.9975, 200))
    ]
    # 60 mm in place of 200 mm: the profile's own scale error moves the middle by less than 0.02.
    assert slide(200.0).chance == pytest.approx(np.mean(at), abs=0.03)


def test_joints_of_a_part_count_it_too(tmp_path):
    path = tmp_path / "joints.csv"
    head = "name,internal,external,size_mm,across,fit\n"
    path.write_text(head + "near,slot,tongue,12,x,slide\nfar,slot,tongue,200,x,slide\n")
    part = PRINTER.part(path)
    near, far = part.joints
    assert far.chance < 0.6 * near.chance
    own = [demand_of(PRINTER.profile, joint).own_sd_mm for joint in part.joints]
    assert own[1] > own[0] + 0.2
    assert part.together.chance <= far.chance + 0.02


def test_a_single_size_far_outside_is_less_sure():
    inside, outside = (PRINTER.size("slot", prints_mm=mm, across="x") for mm in (20, 220))
    assert outside.extrapolated
    assert outside.sd_mm > inside.sd_mm + 0.2


def test_both_the_sizes_tried_and_the_sizes_read_are_said():
    said = " ".join(sentences(slide(20.0)))
    assert (
        "Slots across x: tried by hand at 3.88 to 4.6 mm, measured by caliper at 3.88 to 25 mm."
        in said
    )
    assert "Tongues across x: tried by hand at 4 mm, measured by caliper at 3 to 82 mm." in said
    untried = tuple(m.model_copy(update={"tried_mm": None}) for m in MEASURED)
    said = " ".join(sentences(slide(20.0, Printer(known_profile(measured=untried)))))
    assert "Slots across x: not tried by hand, measured by caliper at" in said


def test_a_direction_without_any_such_size_goes_by_all_that_was_measured():
    along_x = tuple(m for m in MEASURED if m.direction is Direction.X)
    printer = Printer(known_profile(measured=along_x))
    near, far = (printer.offset("slot/tongue", size_mm=mm, across="y") for mm in (12, 300))
    assert near.extrapolated
    assert far.chance < 0.6 * near.chance
    nothing = Printer(known_profile(measured=()))
    assert nothing.offset("slot/tongue", size_mm=12, across="y").extrapolated


def test_a_joint_is_measured_where_its_two_bodies_are():
    # As the starter has it: a tongue of 4 mm in slots of 4.1 to 4.55 mm is a joint of 4 mm.
    ends = {Form.SLOT: (4.1, 4.55), Form.TONGUE: (4.0, 39.4)}
    measured = tuple(
        MeasuredRange(form=m.form, direction=m.direction, low_mm=low_mm, high_mm=high_mm)
        for m in MEASURED
        for low_mm, high_mm in [ends[m.form]]
    )
    printer = Printer(known_profile(measured=measured))
    assert not slide(4.0, printer).extrapolated
    assert slide(3.0, printer).extrapolated
    assert slide(6.0, printer).extrapolated
