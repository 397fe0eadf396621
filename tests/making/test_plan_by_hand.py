"""Where bodies and features come to lie on a plate, and what is said where they cannot."""

import math

import pytest

from coupons.errors import PlanError, Problem
from coupons.making import plan as plan_module
from coupons.making.bodies.built_bodies import Bar, BuiltBody, Sized
from coupons.making.bodies.shapes import Part, Prism, rectangle
from coupons.making.bodies.stiffness import BarSection
from coupons.making.plan import PlacedBody, Plan, plan_coupon, record
from coupons.making.spec.coupon_spec import Assumed, parse_spec
from coupons.terms import Direction, Form

HALF = math.sqrt(0.5)


def near(*values):
    return pytest.approx(values, abs=1e-9)


def spec_of(*rows, name="t"):
    return parse_spec(('title = "T"\n' + "".join(rows)).encode(), name, f"{name}.toml")


HOLES = (
    '[[row]]\nkind = "sizes"\nform = "hole"\ndirection = "z"\nsizes_mm = {}\n'
    "wall_mm = 10\ndepth_mm = 20\n"
)
GAUGE = (
    '[[row]]\nkind = "fit"\nform = "{}"\ndirection = "{}"\nsize_mm = {}\ngaps_mm = {}\ngauges = 1\n'
)


def body_of(turn=0, loose=False, high=5.0, bar=None, features=(), name="A", far=(31.0, 12.0)):
    box = Part(Prism("z", rectangle((1.0, 2.0), far), 0.0, high))
    return BuiltBody(name, name[0], loose, turn, (box,), tuple(features), bar=bar)


@pytest.mark.parametrize(
    ("turn", "point", "low", "high"),
    [
        (0, (107.0, 208.0, 12.0), (101, 202), (131, 212)),
        (90, (92.0, 207.0, 12.0), (88, 201), (98, 231)),
        # (7, 8) turned by 45°: (−1, 15)/√2; its corners from (1 − 12)/√2 to 29/√2, 3/√2 to 43/√2.
        (
            45,
            (round(100 - HALF, 6), round(200 + 15 * HALF, 6), 12.0),
            (100 - 11 * HALF, 200 + 3 * HALF),
            (100 + 29 * HALF, 200 + 43 * HALF),
        ),
    ],
)
def test_a_body_is_turned_about_its_own_origin_and_then_moved(turn, point, low, high):
    item = PlacedBody(body_of(turn), 1, (100.0, 200.0, 3.0))
    assert item.on_plate((7.0, 8.0, 9.0)) == near(*point)
    assert item.cover() == (near(*low), near(*high))


def test_places_on_a_plate_are_kept_to_a_millionth():
    item = PlacedBody(body_of(), 1, (0.1234564, 0.1234566, 0.0000004))
    assert item.on_plate((0.0, 0.0, 0.0)) == (0.123456, 0.123457, 0.0)


def sized(id_, centre, **more):
    given = (Form.SLOT, Direction.X, 4.0, "fit", "A", centre, "x")
    return Sized(id_, *given, **more)


SECTION = BarSection(24.123456, (2.5, 3.0), (32.12345, 72.98765, -0.12345))


def test_a_record_tells_what_lies_where():
    bar = Bar(SECTION, BarSection(60.0, (5.0, 4.0), (1.0, 2.0, 3.0)))
    feature = sized(
        "A1",
        (2.00014, 3.00016, 1.00016),
        readings=(("inside", None), ("outside", "x")),
        at_bed=True,
        on_bed=True,
        seam="shown",
    )
    items = (
        PlacedBody(body_of(90, bar=bar, features=[feature]), 1, (50.0, 60.0, 0.0)),
        PlacedBody(
            body_of(loose=True, high=4.56789, name="AG", far=(31.00014, 12.00016)),
            2,
            (5.00014, 6.00016, 0.0),
        ),
    )
    made = Plan(spec_of(HOLES.format("[8]")), Assumed(bed_mm=(200.0, 100.0)), (), items)
    assert made.plates == 2
    assert [item.body.id for item in made.on(1)] == ["A"]
    assert [item.body.id for item in made.on(2)] == ["AG"]
    coupon = record(made)
    assert coupon.assumed.bed_mm == (200, 100)
    first, second = coupon.bodies
    # Turned by a quarter: from −12 to −2 along x and 1 to 31 along y.
    assert (first.id, first.plate, first.origin_mm, first.extent_mm) == (
        "A",
        1,
        (38, 61, 0),
        (10, 30, 5),
    )
    assert (second.plate, second.origin_mm) == (2, (6.0001, 8.0002, 0.0))
    assert second.extent_mm == (30.0001, 10.0002, 4.5679)
    (one,) = coupon.features
    # (2.00014, 3.00016) turned is (−3.00016, 2.00014).
    assert one.place_mm == (46.9998, 62.0001, 1.0002)
    assert (one.id, one.body, one.plate, one.at_bed, one.on_bed, one.seam) == (
        "A1",
        "A",
        1,
        True,
        True,
        "shown",
    )
    assert [(r.feature, str(r.jaws), r.along) for r in coupon.readings] == [
        ("A1", "inside", None),
        ("A1", "outside", "x"),
    ]
    (rule,) = coupon.bars
    assert (rule.body, rule.direction) == ("A", "y")
    # Its middle, at (0, 2.5, 3), is turned to (−2.5, 0, 3).
    assert rule.at_notch.middle_mm == (47.5, 60.0, 3.0)
    assert rule.at_block.middle_mm == (45.0, 60.0, 4.0)
    assert rule.at_notch.area_mm2 == 24.1235
    assert rule.at_notch.second_mm4 == (32.123, 72.988, -0.123)


def test_the_middle_of_a_bar_is_kept_to_a_tenth_of_a_micrometre():
    section = BarSection(9.0, (0.10014, 0.20016), (1.0, 1.0, 0.0))
    items = (PlacedBody(body_of(bar=Bar(section, section)), 1, (0.30014, 0.0, 0.0)),)
    made = Plan(spec_of(HOLES.format("[8]")), Assumed(), (), items)
    assert record(made).bars[0].at_notch.middle_mm == (0.3001, 0.1001, 0.2002)


def test_each_plate_is_centred_by_itself():
    # Two plates: the first is filled by the larger body.
    spec = spec_of(HOLES.format("[20]"), HOLES.format("[8]"))
    made = plan_coupon(spec, bed_mm=(60.0, 70.0))
    assert [item.plate for item in made.placed] == [1, 2]
    for plate in (1, 2):
        ((low, high),) = [item.cover() for item in made.on(plate)]
        assert low[0] == pytest.approx(60 - high[0], abs=2e-3)
        assert low[1] == pytest.approx(70 - high[1], abs=2e-3)
        assert all(item.shift_mm[2] == 0 for item in made.on(plate))
        for item in made.on(plate):
            assert item.shift_mm == tuple(round(value, 3) for value in item.shift_mm)


def test_bodies_of_one_plate_stand_four_millimetres_apart_and_loose_ones_last():
    spec = spec_of(GAUGE.format("hole", "z", 5, "[0.0]"), HOLES.format("[30]"))
    made = plan_coupon(spec, bed_mm=(300.0, 300.0))
    assert [item.body.id for item in made.placed] == ["A", "AG", "B"]
    covers = {item.body.id: item.cover() for item in made.placed}
    # The higher of the two fixed ones first, then the other, then the loose one, 4 mm apart.
    assert covers["A"][0][0] - covers["B"][1][0] == pytest.approx(4, abs=2e-3)
    assert covers["AG"][0][0] - covers["A"][1][0] == pytest.approx(4, abs=2e-3)
    lows = [covers[name][0][1] for name in "AB"]
    assert lows[0] == pytest.approx(lows[1], abs=2e-3)


def test_turned_bodies_are_packed_by_what_they_cover():
    # Turned by a quarter 10 by 30 mm from (−12, 1) on, straight 30 by 10 mm from (1, 2) on: the
    # taller one to the left, 4 mm apart, 44 by 30 mm in the middle of 200 by 100.
    bodies = [body_of(0), body_of(90, name="B")]
    straight, upright = plan_module._place(bodies, (200.0, 100.0))
    assert upright.cover() == (near(78, 35), near(88, 65))
    assert straight.cover() == (near(92, 35), near(122, 45))
    assert (upright.shift_mm, straight.shift_mm) == ((90, 34, 0), (91, 33, 0))
    # Slanted by 45°, 40/√2 mm wide either way.
    slanted = plan_module._place([body_of(-45), body_of(45, name="B")], (200.0, 100.0))
    (_, first), (second, _) = (item.cover() for item in slanted)
    assert second[0] - first[0] == pytest.approx(4, abs=2e-3)


def test_bodies_stand_on_whole_thousandths():
    # (200 − 30.0011)/2 − 1 = 83.99945 and (100 − 10.0027)/2 − 2 = 42.99865.
    (item,) = plan_module._place([body_of(far=(31.0011, 12.0027))], (200.0, 100.0))
    assert item.shift_mm == (83.999, 42.999, 0.0)


def sizes_of(made):
    (item,) = made.placed
    (x0, y0), (x1, y1) = item.cover()
    return x1 - x0, y1 - y0


def test_a_body_may_fill_its_bed_but_for_the_margin():
    spec = spec_of(HOLES.format("[30]"))
    wide, deep = sizes_of(plan_coupon(spec, bed_mm=(300.0, 300.0)))
    exact = (round(wide + 10, 6), round(deep + 10, 6))
    assert plan_coupon(spec, bed_mm=(exact[0] + 1e-5, exact[1] + 1e-5)).plates == 1
    with pytest.raises(PlanError) as caught:
        plan_coupon(spec, bed_mm=(exact[0] - 2, exact[1] + 1))
    room = f"{exact[0] - 12:g} × {exact[1] - 9:g}"
    assert [str(each) for each in caught.value.problems] == [
        f"body A: expected at most {room} mm (the bed less 5 mm all round), got {wide:.1f} × "
        f"{deep:.1f} mm: 2.0 mm too long along x. Use fewer gaps or sizes in that row, or a larger "
        "bed."
    ]
    with pytest.raises(PlanError) as caught:
        plan_coupon(spec, bed_mm=(exact[0] - 2, exact[1] - 3))
    assert "2.0 mm too long along x, 3.0 mm too long along y." in str(caught.value.problems[0])


def test_every_body_that_is_too_large_is_told():
    spec = spec_of(HOLES.format("[60]"), HOLES.format("[8]"), HOLES.format("[70]"))
    with pytest.raises(PlanError) as caught:
        plan_coupon(spec, bed_mm=(75.0, 200.0))
    assert [each.where for each in caught.value.problems] == ["body A", "body C"]


@pytest.mark.parametrize(("most", "told"), [(5, None), (4, "at most 4 features")])
def test_a_coupon_may_have_as_many_features_as_can_be_built(monkeypatch, most, told):
    # Two holes and two outer sizes, and the pin.
    monkeypatch.setattr(plan_module, "MOST_FEATURES", most)
    spec = spec_of(GAUGE.format("hole", "z", 5, "[0.0, 0.2]"), name="many")
    if told is None:
        assert len(record(plan_coupon(spec)).features) == 5
        return
    with pytest.raises(PlanError) as caught:
        plan_coupon(spec)
    assert caught.value.problems == (
        Problem("many", told, "more", "Leave out rows or gaps, or make several coupons"),
    )


@pytest.mark.slow
def test_a_large_count_is_told_with_its_comma():
    gaps = "{ start = 0.0, stop = 0.29, step = 0.001 }"
    rows = [GAUGE.format("hole", "z", 5, gaps)] * 9  # 291 holes, their gauge, outer sizes
    with pytest.raises(PlanError, match="at most 2,500 features, got more"):
        plan_coupon(spec_of(*rows), bed_mm=(2000.0, 2000.0))


def test_rows_are_named_by_their_number_and_letter():
    thin = HOLES.format("[8]").replace("wall_mm = 10", "wall_mm = 2")
    spec = spec_of(HOLES.format("[8]"), thin, name="plain")
    with pytest.raises(PlanError) as caught:
        plan_coupon(spec)
    assert caught.value.problems[0].where == "plain row 2 (B) wall_mm"


def test_the_first_job_is_planned_where_none_is_named():
    rows = (HOLES.format("[8]") + "jobs = [1]\n", HOLES.format("[9]") + "jobs = [2]\n")
    spec = spec_of(*rows)
    sizes = [
        [f.size_mm for f in record(plan_coupon(spec, **job)).features if f.form == "hole"]
        for job in ({}, {"job": 1}, {"job": 2}, {"job": 3})
    ]
    assert sizes == [[8], [8], [9], [8]]


def test_a_machine_given_beats_the_spec_s_own_value_by_value():
    spec = spec_of("[assumed]\nbed_mm = [150, 160]\nnozzle_mm = 0.6\n", HOLES.format("[8]"))
    assert plan_coupon(spec).assumed == Assumed(bed_mm=(150.0, 160.0), nozzle_mm=0.6)
    given = plan_coupon(spec, layer_height_mm=0.3, bed_mm=(120.0, 130.0)).assumed
    assert given == Assumed(bed_mm=(120.0, 130.0), nozzle_mm=0.6, layer_height_mm=0.3)
    assert plan_coupon(spec, nozzle_mm=0.4).assumed.nozzle_mm == 0.4


@pytest.mark.parametrize(
    ("row", "is_rounded"),
    [
        (GAUGE.format("slot", "z", 4, "[0.0, 0.2]"), False),
        (GAUGE.format("slot", "z", 4.1, "[0.0, 0.2]"), True),
        (GAUGE.format("slot", "z", 4, "[0.0, 0.3]"), True),
        (GAUGE.format("slot", "x", 4.1, "[0.0, 0.3]"), False),
        (GAUGE.format("hole", "z", 4.1, "[0.0, 0.3]"), False),
        (HOLES.format("[4.1]"), False),
        (HOLES.format("[4.1]").replace("hole", "slot"), True),
        (HOLES.format("[4.2]").replace("hole", "slot"), False),
    ],
)
def test_rows_that_were_moved_to_whole_layers_are_told(row, is_rounded):
    made = plan_coupon(spec_of(HOLES.format("[8]"), row))
    assert made.rounded_rows() == (("B",) if is_rounded else ())
