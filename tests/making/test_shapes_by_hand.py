"""Places, areas and volumes of the simple solids, each reckoned by hand."""

import math

import pytest

from coupons.making.bodies.shapes import (
    Loft,
    Part,
    Prism,
    Text,
    Turned,
    area_mm2,
    box_of,
    boxed,
    circle_sides,
    rectangle,
    to_space,
)

TRIANGLE = ((1.0, 1.0), (5.0, 1.0), (1.0, 4.0))  # half of 4 by 3
ANGLE = ((0.0, 0.0), (6.0, 0.0), (6.0, 2.0), (2.0, 2.0), (2.0, 5.0), (0.0, 5.0))  # 6·2 + 2·3


def test_an_outline_is_drawn_in_the_two_other_coordinates_in_their_order():
    assert to_space("x", 1.0, (2.0, 3.0)) == (1.0, 2.0, 3.0)
    assert to_space("y", 1.0, (2.0, 3.0)) == (2.0, 1.0, 3.0)
    assert to_space("z", 1.0, (2.0, 3.0)) == (2.0, 3.0, 1.0)


@pytest.mark.parametrize(
    ("outline", "area"),
    [(TRIANGLE, 6.0), (ANGLE, 18.0), (rectangle((1.0, 2.0), (4.0, 7.0)), 15.0), ((), 0.0)],
)
def test_an_area_is_that_of_either_way_round(outline, area):
    assert area_mm2(outline) == area
    assert area_mm2(outline[::-1]) == area


def test_a_rectangle_runs_against_the_clock_from_its_low_corner():
    assert rectangle((1, 2), (4, 6)) == ((1, 2), (4, 2), (4, 6), (1, 6))


def test_a_loft_is_the_sum_of_its_frustums():
    wide, narrow = rectangle((0.0, 0.0), (4.0, 4.0)), rectangle((1.0, 1.0), (3.0, 3.0))
    # A frustum of a pyramid: h (A + a + √(A a)) / 3 = 3 (16 + 4 + 8) / 3; a straight part: 2 · 16.
    assert Loft("z", ((1.0, wide), (4.0, narrow))).volume_mm3() == pytest.approx(28)
    both = Loft("y", ((-1.0, wide), (1.0, wide), (4.0, narrow)))
    assert both.volume_mm3() == pytest.approx(32 + 28)
    # From a square to a flat one: a wedge, 6 (9 + 4 · 4.5 + 0) / 6.
    line = ((0.0, 1.5), (3.0, 1.5), (3.0, 1.5), (0.0, 1.5))
    wedge = Loft("x", ((0.0, rectangle((0.0, 0.0), (3.0, 3.0))), (6.0, line)))
    assert wedge.volume_mm3() == pytest.approx(27)
    assert boxed(both) == ((0.0, -1.0, 0.0), (4.0, 4.0, 4.0))
    assert len(both.corners()) == 12


def test_a_prism_is_its_area_times_its_length():
    prism = Prism("y", ANGLE, -1.5, 2.5)
    assert prism.volume_mm3() == pytest.approx(18 * 4)
    assert boxed(prism) == ((0.0, -1.5, 0.0), (6.0, 2.5, 5.0))
    assert len(prism.corners()) == 12


def test_a_turned_solid_is_a_sum_of_cones():
    # A cone frustum from radius 2 to 1, 3 high: π 3 (4 + 2 + 1) / 3.
    profile = ((0.0, 1.0), (2.0, 1.0), (1.0, 4.0), (0.0, 4.0))
    cone = Turned("z", (10.0, 20.0), profile, outside=False)
    assert cone.volume_mm3() == pytest.approx(7 * math.pi)
    assert cone.radius_mm == 2.0
    assert boxed(cone) == ((8.0, 18.0, 1.0), (12.0, 22.0, 4.0))
    # A tube has no more than lies between its radii, whichever way its profile runs.
    tube = ((2.0, 0.0), (3.0, 0.0), (3.0, 5.0), (2.0, 5.0))
    for way in (tube, tube[::-1]):
        assert Turned("y", (0.0, 7.0), way, True).volume_mm3() == pytest.approx(25 * math.pi)
    assert boxed(Turned("y", (0.0, 7.0), tube, True)) == ((-3.0, 0.0, 4.0), (3.0, 5.0, 10.0))
    assert boxed(Turned("x", (1.0, 7.0), tube, True)) == ((0.0, -2.0, 4.0), (5.0, 4.0, 10.0))


@pytest.mark.parametrize("radius_mm", [1.0, 1.3, 2.5, 8.0, 40.0, 150.0])
def test_a_circle_has_the_fewest_sides_that_keep_its_chords(radius_mm):
    sides = circle_sides(radius_mm)

    def off_mm(count):  # the middle of a chord under its circle
        return radius_mm * (1 - math.cos(math.pi / count))

    assert sides % 4 == 0
    assert off_mm(sides) <= 0.0018 < off_mm(sides - 4)
    profile = ((0.0, 0.0), (radius_mm, 0.0), (0.0, 1.0))
    assert Turned("z", (0.0, 0.0), profile, True).sides() == sides


def test_small_circles_have_as_many_sides_as_one_of_a_millimetre():
    assert {circle_sides(radius_mm) for radius_mm in (0.2, 0.5, 0.99)} == {circle_sides(1.0)}


@pytest.mark.parametrize(("scale", "raised_mm"), [(1.0, 0.6), (2.0, 0.8)])
def test_a_line_of_text_is_as_large_as_its_strokes(scale, raised_mm):
    # A dash is one stroke of four steps of 0.46 mm at half height, three steps up; its pen 0.9 mm.
    dash = Text("-", (10.0, 20.0, 3.0), scale, raised_mm)
    assert dash.pen_mm == pytest.approx(0.9 * scale)
    assert dash.width_mm == pytest.approx((4 * 0.46 + 0.9) * scale)
    assert dash.volume_mm3() == pytest.approx(4 * 0.46 * scale * 0.9 * scale * raised_mm)
    low, high = boxed(dash)
    assert low == (10.0, 20.0, 3.0)
    top = 20 + (3 * 0.46 + 0.9) * scale
    assert high == pytest.approx((10 + 2.74 * scale, top, 3 + raised_mm))
    (stroke,) = dash.strokes()
    assert stroke.start == pytest.approx((0.45 * scale, (3 * 0.46 + 0.45) * scale))
    # Twice the dash are two strokes, with 0.7 mm between their inks.
    two = Text("--", (0.0, 0.0, 0.0), scale, raised_mm)
    assert two.width_mm == pytest.approx((2 * 2.74 + 0.7) * scale)
    assert two.volume_mm3() == pytest.approx(2 * dash.volume_mm3())
    assert two.strokes()[1].start[0] - two.strokes()[0].stop[0] == pytest.approx(1.6 * scale)


def test_letters_stand_out_by_as_much_as_for_a_usual_nozzle_where_nothing_is_said():
    assert boxed(Text("-", (0.0, 0.0, 0.0)))[1] == pytest.approx((2.74, 2.28, 0.6))


def test_a_box_is_around_what_is_added_alone():
    added = Prism("z", rectangle((0.0, 0.0), (4.0, 5.0)), 1.0, 2.0)
    beside = Prism("z", rectangle((-2.0, 3.0), (1.0, 7.0)), 1.5, 6.0)
    cutter = Prism("z", rectangle((-9.0, -9.0), (9.0, 9.0)), -9.0, 9.0)
    parts = (Part(added), Part(cutter, cut=True), Part(beside))
    assert box_of(parts) == ((-2.0, 0.0, 1.0), (4.0, 7.0, 6.0))
