from support.page_coupon import make_record

from coupons.making.record import CouponReading, CouponTrial
from coupons.showing.words.next_task import jaw_places, read_how, read_title, try_how, try_title
from coupons.terms import Direction


def test_a_trial_says_which_piece_goes_where():
    coupon = make_record()
    by_id = {feature.id: feature for feature in coupon.features}
    trial = CouponTrial(feature="A1", mate="AG1", gap_mm=-0.1)
    assert try_title(by_id["A1"], trial) == "Try AG1 in A1"
    assert try_how(coupon, by_id["A1"], trial) == "AG1 is the loose tongue. A1 is a slot across x."
    over = CouponTrial(feature="D1", mate="DG1", gap_mm=-0.1)
    assert try_title(by_id["D1"], over) == "Try DG1 over D1"
    bought = CouponTrial(feature="C1", mate="dowel", gap_mm=-0.1)
    assert try_how(coupon, by_id["C1"], bought).startswith("dowel is hardware: 8 mm dowel.")


def test_a_reading_says_which_jaws_go_where():
    by_id = {feature.id: feature for feature in make_record().features}
    reading = CouponReading(feature="C1", jaws="inside", along="y")
    assert read_title(reading) == "Measure C1, along y"
    assert read_how(by_id["C1"], reading).startswith("Inside jaws in the hole, along y; rock")
    at_bed = by_id["A1"].model_copy(update={"at_bed": True})
    assert "first layer" in read_how(at_bed, CouponReading(feature="A1", jaws="inside"))


def test_a_height_is_not_read_half_way_up():
    by_id = {feature.id: feature for feature in make_record().features}
    upright = by_id["A1"].model_copy(update={"direction": Direction.Z})
    assert "Halfway up" not in read_how(upright, CouponReading(feature="A1", jaws="inside"))
    assert "Halfway up" in read_how(by_id["A1"], CouponReading(feature="A1", jaws="inside"))


def test_lengths_are_measured_flat_on_the_table_with_jaws_that_just_touch():
    coupon = make_record()
    slot = next(feature for feature in coupon.features if feature.id == "A1")
    length = slot.model_copy(update={"role": "span"})
    words = "Flat on the table, jaws straight down and just touching"
    assert words in read_how(length, CouponReading(feature="A1", jaws="inside"))
    assert words not in read_how(slot, CouponReading(feature="A1", jaws="inside"))
    upright = length.model_copy(update={"direction": Direction.Z})
    assert words not in read_how(upright, CouponReading(feature="A1", jaws="inside"))
    readings = (CouponReading(feature="A1", jaws="inside"),)
    for features, told in (((slot,), False), ((length,), True)):
        small = coupon.model_copy(update={"features": features, "readings": readings})
        assert any("flat on the table" in line for line in jaw_places(small)) == told
