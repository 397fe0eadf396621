import numpy as np
import pytest
from support.small_coupon import feature, small_coupon
from support.truth import mean_clearance_mm, threshold_gap_mm

from coupons.making.record import CouponTrial
from coupons.measuring.virtual.machine import load_machine, random_machine, shipped_machines
from coupons.measuring.virtual.rehearsal import try_out, work_list
from coupons.terms import GRADES, Direction, Form, Grade, Joint

JOINTS = [
    Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X),
    Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.Y),
    Joint(Form.SLOT, Form.TONGUE, 6.0, Direction.Z),
    Joint(Form.HOLE, Form.PIN, 6.0, Direction.Z),
    Joint(Form.HOLE, Form.PIN, 6.0, Direction.X),
]


@pytest.mark.parametrize("joint", JOINTS)
@pytest.mark.parametrize("name", shipped_machines())
def test_the_gap_gives_the_clearance_that_the_grade_begins_with(name, joint):
    machine = load_machine(name)
    for grade, threshold_mm in zip(GRADES[1:], machine.person.thresholds_mm, strict=True):
        gap_mm = threshold_gap_mm(machine, joint, grade)
        assert mean_clearance_mm(machine, joint, gap_mm) == pytest.approx(threshold_mm, abs=1e-8)


@pytest.mark.slow
def test_it_is_found_for_any_machine_and_grades_stay_in_order():
    rng = np.random.default_rng(8)
    for _ in range(100):
        machine = random_machine(rng)
        for joint in JOINTS:
            gaps = [threshold_gap_mm(machine, joint, grade) for grade in GRADES[1:]]
            assert gaps == sorted(gaps)
            assert -0.6 < gaps[0] < gaps[-1] < 1.6


@pytest.mark.parametrize("joint", [JOINTS[0], JOINTS[3]])
def test_half_of_the_prints_of_that_gap_slide(joint):
    """The truth against trials on 300 printed coupons of 8 pairs, standard error below 0.02."""
    machine = load_machine("bench-1")
    quiet = machine.scatter.model_copy(update={"blob_chance": 0.0})
    person = machine.person.model_copy(update={"lapse_chance": 0.0})
    machine = machine.model_copy(update={"scatter": quiet, "person": person})
    gap_mm = threshold_gap_mm(machine, joint, Grade.SLIDE)
    wide = [
        feature(f"A{i}", joint.internal, joint.direction, joint.size_mm + gap_mm)
        for i in "12345678"
    ]
    thin = [feature(f"B{i}", joint.external, joint.direction, joint.size_mm) for i in "12345678"]
    trials = tuple(
        CouponTrial(feature=one.id, mate=other.id, gap_mm=gap_mm)
        for one, other in zip(wide, thin, strict=True)
    )
    coupon = small_coupon(features=(*wide, *thin), trials=trials, readings=(), hardware=())
    work, rng = work_list(coupon), np.random.default_rng(9)
    grades = np.array([try_out(machine, work, rng).grades for _ in range(300)])
    assert np.mean(grades >= GRADES.index(Grade.SLIDE)) == pytest.approx(0.5, abs=0.06)
