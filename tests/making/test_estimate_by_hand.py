"""What a plan costs, and the time at the bench, for plans small enough to reckon by hand."""

import pytest
from support.small_coupon import small_coupon

from coupons.making.bench_time import coupon_seconds, seconds_of
from coupons.making.bodies.built_bodies import BuiltBody
from coupons.making.bodies.shapes import Loft, Part, Prism, rectangle
from coupons.making.estimate import body_volume_mm3, estimate, flow_mm3_s, model_words
from coupons.making.plan import PlacedBody, Plan, plan_coupon
from coupons.making.record import CouponReading, CouponTrial
from coupons.making.spec.coupon_spec import Assumed, load_spec, parse_spec

SPEC = parse_spec(
    b'title = "t"\n[[row]]\nkind = "sizes"\nform = "hole"\ndirection = "z"\nsizes_mm = [8]\n',
    "t",
    "t.toml",
)


def slab(x, y, z):
    outline = rectangle((0.0, 0.0), (x, y))
    return Part(Loft("z", ((0.0, outline), (z, outline))))


def body(name, loose, *parts):
    return BuiltBody(name, name[0], loose, 0, parts, ())


def plan_of(*placed, **machine):
    assumed = Assumed(bed_mm=(200.0, 100.0), **machine)
    return Plan(SPEC, assumed, (), placed)


HOLED = (slab(30.0, 41.0, 10.0), Part(Prism("z", rectangle((5.0, 5.0), (15.0, 14.0)), 0, 10), True))


def test_plastic_time_and_bed_of_three_blocks_on_two_plates():
    plan = plan_of(
        PlacedBody(body("A", False, *HOLED), 1, (10.0, 20.0, 0.0)),
        PlacedBody(body("AG", True, slab(20.0, 10.0, 3.1)), 1, (61.0, 30.0, 0.0)),
        PlacedBody(body("AH", True, slab(50.0, 70.0, 0.9)), 2, (5.0, 5.0, 0.0)),
    )
    # 30 · 41 · 10 − 10 · 9 · 10 = 11,400; 20 · 10 · 3.1 = 620; 50 · 70 · 0.9 = 3150 mm³.
    assert body_volume_mm3(HOLED) == pytest.approx(11_400)
    cost = estimate(plan)
    assert cost.plastic_cm3 == 15.2  # 15.17
    assert cost.grams == 18.8  # 1.24 g/cm³: 18.8108
    # Lines of 0.45 by 0.2 mm at 60 mm/s for four fifths of the time lay 4.32 mm³ in a second.
    assert flow_mm3_s(plan.assumed, 60.0) == pytest.approx(4.32)
    # 15,170 / 4.32 s = 3511.57 s; 50 and 5 layers (4.5 are begun five times) of 1.5 s; 2 · 120 s.
    assert cost.minutes == 63.9  # 3834.07 s are 63.901 min
    assert (cost.plates, cost.bodies, cost.loose) == (2, 3, 2)
    assert (cost.features, cost.trials) == (0, 0)
    # The first plate is covered from (10, 20) to (81, 61): 71 · 41 of 20,000 mm². The second:
    # 50 · 70.
    assert cost.bed_share == 0.175
    first = plan_of(*plan.placed[:2])
    assert estimate(first).bed_share == 0.146  # 0.14555
    assert estimate(first).plates == 1


def test_a_faster_print_takes_less_and_a_wider_line_lays_more():
    one = PlacedBody(body("A", False, slab(36.0, 30.0, 10.0)), 1, (0.0, 0.0, 0.0))
    # 10,800 mm³ / 8.64 mm³/s = 1250 s, 50 layers 75 s, 120 s: 1445 s.
    assert estimate(plan_of(one), 120.0).minutes == 24.1
    # A nozzle of 0.8 mm and layers of 0.4 mm: 0.9 · 0.4 · 120 · 0.8 = 34.56 mm³/s; 25 layers.
    wide = plan_of(one, nozzle_mm=0.8, layer_height_mm=0.4)
    assert estimate(wide, 120.0).minutes == 7.8  # 312.5 + 37.5 + 120 s


def test_large_prints_are_weighed_to_the_last_digit():
    large = PlacedBody(body("A", False, slab(150.0, 80.0, 250.0)), 1, (0.0, 0.0, 0.0))
    cost = estimate(plan_of(large))
    # 3,000,000 mm³ of 1.24 g/cm³; at 4.32 mm³/s, with 1250 layers of 1.5 s and 120 s.
    assert (cost.plastic_cm3, cost.grams) == (3000.0, 3720.0)
    assert cost.minutes == round((3_000_000 / 4.32 + 1875 + 120) / 60, 1)
    assert cost.bed_share == 0.6


def test_a_plan_is_counted_as_its_record_lists_it():
    plan = plan_coupon(load_spec("recheck"))
    cost = estimate(plan)
    bodies = [item.body for item in plan.placed]
    assert cost.features == sum(len(each.features) for each in bodies) > 5
    assert cost.trials == sum(len(row.trials) for row in plan.rows) > 5
    assert cost.loose == sum(1 for each in bodies if each.loose) > 0
    assert cost.bodies == len(bodies)


def test_the_model_is_told_in_words():
    assert model_words() == (
        "solid plastic at 60 mm/s, 20 % of the time lost to travel, 1.5 s per layer, "
        "2 min per plate; 1.24 g/cm³"
    )
    assert "at 82.5 mm/s" in model_words(82.5)


def test_a_person_takes_ten_seconds_a_trial_fifteen_a_reading_and_eight_a_change():
    tasks = [
        CouponTrial(feature="A1", mate="AG", gap_mm=0),
        CouponTrial(feature="A2", mate="AG", gap_mm=0),
        CouponTrial(feature="A2", mate="AH", gap_mm=0),
        CouponReading(feature="A1", jaws="inside"),
        CouponReading(feature="A2", jaws="inside"),
    ]
    assert [seconds_of(tasks[:n]) for n in range(6)] == [0, 18, 28, 46, 69, 84]
    # Twelve trials with four pieces, in whichever order they are listed, and ten readings.
    assert coupon_seconds(small_coupon()) == 12 * 10 + 4 * 8 + 10 * 15 + 8
