import pytest
from support.known_profile import EVERYTHING, known_profile

from coupons.answering.ask import Printer
from coupons.answering.where_measured import advice, coupons_with
from coupons.errors import NotMeasuredError
from coupons.terms import Direction, Form


def test_a_refusal_names_the_coupon_to_print():
    printer = Printer(known_profile(sd_share={"growth_int_z": 1, "growth_ext_z": 1, "scale_z": 1}))
    with pytest.raises(NotMeasuredError, match="Print the coupon “upright”, which has them"):
        printer.offset("slot/tongue", size_mm=12, across="z")
    with pytest.raises(NotMeasuredError, match="Print the coupon “upright”"):
        printer.size("tongue", prints_mm=12, across="z")


def test_the_loose_mates_of_a_row_count_as_well():
    assert "first" in coupons_with(Form.HOLE, Direction.Z)
    assert coupons_with(Form.PIN, Direction.Z) == coupons_with(Form.HOLE, Direction.Z)


def test_what_no_shipped_coupon_has_takes_a_spec():
    assert "write a spec" in advice(Form.PIN, Direction.XY_MINUS)


def test_a_joint_of_unlike_bodies_names_the_coupon_of_the_untried_one():
    unknown = {"growth_int_z": 1, "growth_ext_z": 1, "scale_z": 1}
    flat = tuple(
        m.model_copy(update={"tried_mm": (m.low_mm, m.high_mm)})
        for m in EVERYTHING
        if m.direction is not Direction.Z
    )
    printer = Printer(known_profile(sd_share=unknown, measured=flat))
    with pytest.raises(NotMeasuredError) as refused:
        printer.offset("slot/tongue", size_mm=12, across="z/x")
    assert str(refused.value).count("rint the coupon") == 1
    assert "starter" not in str(refused.value)


def test_two_untried_ways_are_told_apart():
    told = advice(Form.SLOT, Direction.Z, Direction.X)
    assert told.startswith("For z, print the coupon “upright”; for x, print the coupon “")
    assert told.count("coupons fit") == 1
