import pytest
from support.known_profile import known_profile

from coupons.answering.ask import Printer
from coupons.answering.where_measured import advice, coupons_with
from coupons.errors import NotMeasuredError
from coupons.terms import Direction, Form


def test_a_refusal_names_the_coupon_to_print():
    printer = Printer(known_profile(sd_share={"growth_int_z": 1, "growth_ext_z": 1, "scale_z": 1}))
    with pytest.raises(NotMeasuredError, match="Print the coupon upright, which has them"):
        printer.offset("slot/tongue", size_mm=12, across="z")
    with pytest.raises(NotMeasuredError, match="Print the coupon upright"):
        printer.size("tongue", prints_mm=12, across="z")


def test_the_loose_mates_of_a_row_count_as_well():
    assert "first" in coupons_with(Form.HOLE, Direction.Z)
    assert coupons_with(Form.PIN, Direction.Z) == coupons_with(Form.HOLE, Direction.Z)


def test_what_no_shipped_coupon_has_takes_a_spec():
    assert "write a spec" in advice(Form.PIN, Direction.XY_MINUS)
