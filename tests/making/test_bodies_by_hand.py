"""Corners of bodies that other tests do not reckon: where they begin, how they spread, how thick.

As elsewhere: a label of two characters is 6.18 mm wide, labels of neighbours stand 1.3 mm apart.
"""

import math

import pytest
from support.one_series import USUAL, series

from coupons.making.bodies.built_bodies import BuiltBody, own_direction, plate, turn_for, turned
from coupons.making.bodies.contact_area import contact_of
from coupons.making.bodies.field import field_of
from coupons.making.bodies.lettering import width_mm
from coupons.making.bodies.posts import lying, standing, width_in_row_mm
from coupons.making.bodies.proportions import Measures
from coupons.making.bodies.ruler import label_places, label_texts, labels_clash, rule
from coupons.making.bodies.ruler_bar import ladder_for
from coupons.making.bodies.series import Item, Series
from coupons.making.bodies.shapes import Part, Prism, Text, boxed, rectangle
from coupons.making.bodies.steps import steps
from coupons.making.bodies.tiles import narrowest_mm, tile
from coupons.making.bodies.windows import (
    depth_of_wall_mm,
    outer_sizes,
    slot_profile,
    windowed_plate,
    windowed_wall,
)
from coupons.terms import Direction, Form, Jaws, Seam

READ = ((Jaws.OUTSIDE, None),)


def near(*values):
    return pytest.approx(values, abs=1e-5)


BUILDERS = [
    (windowed_plate, "hole", "z"),
    (windowed_plate, "slot", "x"),
    (windowed_wall, "hole", "y"),
    (windowed_wall, "slot", "z"),
    (standing, "pin", "z"),
    (standing, "tongue", "x"),
    (lying, "pin", "y"),
    (lying, "tongue", "z"),
    (steps, "tongue", "z"),
]


@pytest.mark.parametrize("loose", [False, True])
@pytest.mark.parametrize(("build", "form", "direction"), BUILDERS)
def test_a_slab_begins_at_the_body_s_own_origin(build, form, direction, loose):
    body = build(series(form, direction, [5.0], loose=loose))
    slab = boxed(body.parts[0].shape)
    assert slab[0] == (0.0, 0.0, 0.0)
    assert body.box[0] == (0.0, 0.0, 0.0)
    assert (body.id, body.row, body.loose, body.turn_deg) == ("A", "A", loose, 0)
    assert [f.id for f in body.features if f.role != "span"] == ["A1"]
    assert body.outline() == body.parts[0].shape.levels[-1][1]


def test_a_body_without_a_slab_has_no_outline():
    body = BuiltBody("A", "A", True, 0, (), ())
    with pytest.raises(IndexError):
        body.outline()
    cube = Part(Prism("z", rectangle((0, 0), (1, 1)), 0, 1))
    with pytest.raises(TypeError, match="the slab that the others stand on"):
        BuiltBody("A", "A", True, 0, (cube,), ()).outline()


@pytest.mark.parametrize("turn", [0, 90, 45, -45])
def test_a_turned_body_covers_the_box_around_its_turned_corners(turn):
    slab = plate((0, 0), (20, 10), 3, turn, 0.4)
    (low, high) = BuiltBody("A", "A", False, turn, (slab,), ()).cover()
    h = math.sqrt(0.5)
    assert (low, high) == {
        0: (near(0, 0), near(20, 10)),
        90: (near(-10, 0), near(0, 20)),
        45: (near(-10 * h, 0), near(20 * h, 30 * h)),
        -45: (near(0, -20 * h), near(30 * h, 10 * h)),
    }[turn]


def test_a_quarter_turn_is_against_the_clock():
    assert turned(3, 1, 0) == (3, 1)
    assert turned(3, 1, 90) == (-1, 3)
    assert turned(1, 0, 45) == near(math.sqrt(0.5), math.sqrt(0.5))
    assert turned(0, 1, -45) == near(math.sqrt(0.5), math.sqrt(0.5))


@pytest.mark.parametrize(
    ("turn", "own_x", "own_y"), [(0, "x", "y"), (90, "y", "x"), (45, "x+y", "x-y")]
)
def test_a_turned_body_knows_where_its_axes_lie(turn, own_x, own_y):
    assert own_direction(turn, "x") == own_x
    assert own_direction(turn, "y") == own_y
    assert own_direction(turn, "z") == "z"
    assert turn_for(Direction(own_x)) == turn
    assert turn_for(Direction.XY_MINUS) == -45


def test_marks_stand_behind_the_last_label_where_that_reaches_further_than_its_mate():
    body = windowed_plate(series("hole", "z", [2.0, 2.0]))
    # A cell of 6.18 + 1.3 mm each behind half a wall; half of 1.3 mm more, the marks, 1 mm.
    marks = max(width_mm(text) for text in ("→X", "↑Y"))
    assert body.box[1][0] == pytest.approx(1.5 + 2 * 7.48 + 0.65 + marks + 1)
    texts = {p.shape.text: p.shape.place for p in body.parts if isinstance(p.shape, Text)}
    assert texts["→X"][0] == pytest.approx(17.11 + (marks - width_mm("→X")) / 2)


def test_marks_stand_side_by_side_where_the_face_is_narrow_and_one_above_the_other_from_then_on():
    one = series("hole", "z", [5.0])
    # Two lines of 3.66 mm, 1 mm from either edge and 0.8 mm apart, take 10.12 mm.
    least = 2 * (1 + 3.66) + 0.8
    for high_y, lines in ((None, ["→X↑Y"]), (least - 0.01, ["→X↑Y"]), (least, ["→X", "↑Y"])):
        field = field_of(one, [5.0], 3.0, 3.6, high_y)
        assert [part.shape.text for part in field.marks] == lines
        wide = max(width_mm(text) for text in lines)
        # Its cell ends at 9.5; the mate on its hole 1.2 mm and 1 mm behind its rim at 8.
        assert field.middles_mm == near(5.5)
        assert field.length_mm == pytest.approx(10.2 + wide + 1)
    assert [part.shape.place[1] for part in field.marks] == near(1, least - 1 - 3.66)
    assert [part.shape.place[2] for part in field.marks] == near(3.6, 3.6)


def test_a_field_gives_each_item_what_it_needs_most():
    two = series("hole", "z", [5.0, 9.0], pitch_mm=10.0)
    # The first is given its pitch of 10 mm, the second its size and 3 mm: 12 mm.
    assert field_of(two, [5.0, 9.0], 3.0, 3.6).middles_mm == near(1.5 + 5, 11.5 + 6)
    assert field_of(two, [5.0, 9.0], 3.0, 3.6, before_mm=2.5).middles_mm == near(9, 20)
    # The cut corner, 1.75 mm, and 0.4 mm, less the 1 mm that a label keeps from the edge.
    assert field_of(two, [5.0, 9.0], 0.5, 3.6).middles_mm == near(1.15 + 5, 11.15 + 5)


def test_a_loose_piece_is_filled_up_to_a_grip_on_both_sides_alike():
    one = series("hole", "z", [2.0], loose=True, mark="")
    # A cell of 7.48 mm and 0.15 mm at either end would be 7.78 mm wide: 1.15 mm is the least.
    field = field_of(one, [2.0], 0.3, 3.6)
    assert (field.middles_mm, field.length_mm) == (near(1.15 + 3.74), pytest.approx(9.78))
    assert field.marks == ()
    small = series("hole", "z", [2.0], loose=True)
    small = Series(**{**small.__dict__, "items": (Item("1", 2.0),)})
    # A label of one character, 2.74 mm, takes 4.04 mm: with 1.15 mm at both ends 6.34 mm of 9.
    field = field_of(small, [2.0], 0.3, 3.6)
    assert (field.middles_mm, field.length_mm) == (near(4.5), pytest.approx(9))


def test_how_wide_a_post_is_in_its_row():
    item = Item("A1", 5.0)
    assert width_in_row_mm(series("pin", "z", [5.0]), item) == pytest.approx(7.4)
    assert width_in_row_mm(series("tongue", "x", [5.0]), item) == pytest.approx(7.4)
    assert width_in_row_mm(series("pin", "x", [5.0]), item) == pytest.approx(5)
    assert width_in_row_mm(series("tongue", "z", [5.0]), item) == pytest.approx(6)


def middles(body):
    return [feature.centre[0] for feature in body.features]


@pytest.mark.parametrize(
    ("build", "form", "direction", "sizes", "bare", "read"),
    [
        # Shoulders 1.2 mm apart, or the jaws' 5 mm between the posts, less two shoulders.
        (standing, "pin", "z", (7.0, 7.0), 9.4 + 1.2, 9.4 + 2.6),
        (standing, "tongue", "x", (7.0, 7.0), 9.4 + 1.2, 9.4 + 2.6),
        # Lying pins are read from both sides; lying tongues from above, a wall of 3 mm apart.
        (lying, "pin", "y", (7.0, 7.0), 7 + 3, 7 + 5),
        (lying, "tongue", "z", (7.0, 7.0), 6 + 3, 6 + 3),
    ],
)
def test_posts_stand_apart_for_jaws_only_where_some_are_read(
    build, form, direction, sizes, bare, read
):
    for readings, pitch in (((), bare), (READ, read)):
        one, two = middles(build(series(form, direction, sizes, readings=readings)))
        assert two - one == pytest.approx(pitch)
    (alone,) = middles(build(series(form, direction, sizes[:1], readings=READ)))
    (plain,) = middles(build(series(form, direction, sizes[:1])))
    assert alone == plain, "what stands alone has room on both sides"


def test_a_groove_for_a_seam_is_as_wide_as_the_nozzle_but_no_wider_than_half_the_pin():
    def groove(size, nozzle_mm):
        measures = Measures(nozzle_mm, 0.1)
        body = standing(series("pin", "z", [size], loose=True, seam=Seam.HIDDEN, measures=measures))
        (found,) = (part.shape for part in body.parts if part.cut)
        (x, y, _), (ax, ay) = body.features[0].centre, found.outline[0]
        (bx, by), (cx, cy) = found.outline[1:]
        assert (found.start_mm, found.stop_mm) == near(body.seat_mm, body.box[1][2] + 0.1)
        # How far its edge is from the middle, and its sides from each other.
        return math.hypot(ax - x, ay - y), math.dist((bx, by), (cx, cy))

    # Half as wide as the nozzle, 0.4 mm at least, and 0.875 of that deep.
    assert groove(5.0, 0.4) == near(2.5 - 0.35, 0.8)
    assert groove(5.0, 0.2) == near(2.5 - 0.35, 0.8)
    assert groove(5.0, 0.8) == near(2.5 - 0.7, 1.6)
    assert groove(2.0, 1.2) == near(1.0 - 0.875 * 0.5, 1.0)


def test_seams_are_of_pins_alone_and_only_heights_can_lie_on_the_bed():
    for form, direction in (("pin", "z"), ("pin", "x"), ("hole", "z"), ("tongue", "x")):
        one = series(form, direction, [5.0], seam=Seam.HIDDEN)
        sized = one.sized(one.items[0], (0.0, 0.0, 0.0), "z")
        assert sized.seam == ("hidden" if form == "pin" else None)
        assert sized.on_bed is False
    height = series("tongue", "z", [5.0])
    assert height.sized(height.items[0], (0.0, 0.0, 0.0), "z").on_bed is True
    step = series("tongue", "z", [5.0], on_bed=False)
    assert step.sized(step.items[0], (0.0, 0.0, 0.0), "z").on_bed is False


def test_a_wall_is_as_deep_as_its_label_or_as_its_mate_goes_in():
    assert depth_of_wall_mm(series("hole", "y", [5.0])) == pytest.approx(5.66)
    assert depth_of_wall_mm(series("hole", "y", [5.0], depth_mm=9.0)) == 9.0
    assert contact_of(series("hole", "y", [5.0], depth_mm=9.0)) == (pytest.approx(8.2), None)
    assert contact_of(series("slot", "z", [5.0], depth_mm=9.0)) == near(8.2, 5.2)


def test_outer_sizes_are_named_by_where_they_lie():
    plain = outer_sizes(series("hole", "z", [5.0]), 30.0, 12.0, 3.6)
    turned_round = outer_sizes(series("slot", "y", [5.0], turn_deg=90), 30.0, 12.0, 3.6)
    told = [[(f.id, str(f.direction), f.size_mm, f.axis) for f in each] for each in (plain,)]
    assert told == [[("AX", "x", 30.0, "x"), ("AY", "y", 12.0, "y")]]
    assert [(f.id, f.size_mm, f.axis) for f in turned_round] == [
        ("AY", 30.0, "x"),
        ("AX", 12.0, "y"),
    ]
    assert all(f.centre == near(15, 6, 1.8) and f.readings == READ for f in plain)
    assert all((f.form, f.role, f.row) == ("tongue", "span", "A") for f in plain)
    assert outer_sizes(series("slot", "x+y", [5.0], turn_deg=45), 30.0, 12.0, 3.6) == []
    assert len(windowed_plate(series("hole", "z", [5.0], outer=False)).features) == 1
    assert len(windowed_plate(series("hole", "z", [5.0], loose=True)).features) == 1
    assert len(windowed_plate(series("hole", "z", [5.0])).features) == 3


def test_a_slot_s_section_is_the_same_on_both_sides_of_its_middle():
    # 4 mm wide around 10, from 1 to 5 through, flared by 0.4 mm and 0.05 mm over both mouths.
    right = [(12.45, 0.95), (12, 1.4), (12, 4.6), (12.45, 5.05)]
    left = [(20 - across, through) for across, through in reversed(right)]
    found = slot_profile(Item("A1", 4.0), 10.0, 1.0, 5.0, 0.4)
    assert found == tuple(near(*point) for point in (*right, *left))


def test_a_tile_is_as_wide_as_its_size_or_as_its_label_needs():
    read = Item("A1", 6.0, READ)
    # "A1" of 6.18 mm is wider than the long arrow of 4.12 mm; 1 mm at either edge.
    assert narrowest_mm(read, USUAL) == pytest.approx(8.18)
    assert narrowest_mm(Item("A", 6.0), USUAL) == pytest.approx(width_mm("↔") + 2)
    body = tile(Item("A1", 2.0, READ), Form.SLOT, Direction.X, 3.0, USUAL)
    assert body.box[1][0] == pytest.approx(8.18), "2 mm and two walls of 3 mm would be less"
    (window,) = (part for part in body.parts if part.cut)
    # Two lines of 3.66 mm and 0.8 mm above each; 5.6 mm of window, a wall.
    strip = 1 + 2 * 4.46
    assert boxed(window.shape) == (near(3.09, strip, -0.05), near(5.09, strip + 5.6, 1.05))
    assert body.box[1][1] == pytest.approx(strip + 5.6 + 3)
    (sized,) = body.features
    assert sized.centre == near(4.09, strip + 2.8, 0)
    told = (sized.role, sized.row, sized.axis, sized.at_bed, sized.readings, sized.size_mm)
    assert told == ("swell", "A", "x", True, READ, 2.0)
    assert (body.id, body.row, body.loose, body.turn_deg) == ("A1", "A", False, 0)
    assert [part.feature for part in body.parts if not isinstance(part.shape, Text)] == ["", "A1"]
    whole = tile(Item("B1", 16.0, READ), Form.TONGUE, Direction.Y, 3.0, USUAL)
    assert (whole.turn_deg, whole.parts[0].feature) == (90, "B1")
    wide = tile(Item("B1", 40.0), Form.SLOT, Direction.X, 3.0, USUAL)
    assert wide.box[1][0] == pytest.approx(46)
    # With a nozzle of 0.8 mm letters are twice as large, and so is the tile that holds them.
    large = tile(Item("A1", 15.0), Form.TONGUE, Direction.X, 3.0, Measures(0.8, 0.2))
    assert large.box[1][1] == pytest.approx(1 + 2 * (7.32 + 1.6) + 1 - 1.6)


def test_one_line_on_a_tile_needs_a_millimetre_at_either_edge():
    wide = width_mm("A1↔") + 2
    for size, lines in ((wide + 1e-6, 1), (wide - 1e-3, 2)):
        body = tile(Item("A1", size), Form.TONGUE, Direction.X, 3.0, USUAL)
        assert len([part for part in body.parts if isinstance(part.shape, Text)]) == lines


def rule_of(*sizes, turn=0, measures=USUAL):
    items = tuple(Item(f"A{n}", size) for n, size in enumerate(sizes, start=1))
    ladder = ladder_for(items, 3.0, 3.6, measures)
    return rule("A", Direction.X, turn, ladder, measures), ladder


def test_a_rule_is_a_slab_with_windows_and_its_whole_length():
    body, ladder = rule_of(12.0, 8.0, 12.0)
    assert body.box[0] == (0.0, 0.0, 0.0)
    assert body.box[1][:2] == near(32, 2 * 5.66 + 5)
    assert (body.id, body.row, body.loose) == ("A", "A", False)
    forms = [(f.id, str(f.form), f.size_mm, f.role, f.axis) for f in body.features]
    assert forms == [
        ("A1", "tongue", 12.0, "span", "x"),
        ("A2", "slot", 8.0, "span", "x"),
        ("A3", "tongue", 12.0, "span", "x"),
        ("AW", "tongue", 32.0, "span", "x"),
    ]
    assert body.features[-1].readings == READ
    high = ladder.high_mm
    assert [f.centre for f in body.features] == [near(at, 8.16, high / 2) for at in (6, 16, 26, 16)]
    cuts = [part for part in body.parts if part.cut]
    assert [part.feature for part in cuts] == ["A2"]
    low, top = boxed(cuts[0].shape)
    assert (low, top) == (near(11.55, 5.66, -0.05), near(20.45, 10.66, high + 0.05))
    texts = [part.shape for part in body.parts if isinstance(part.shape, Text)]
    near_rail = {text.text: text.place for text in texts if text.place[1] == 1}
    assert list(near_rail) == ["A1", "A2", "A3"]
    assert near_rail["A2"] == near(16 - 3.09, 1, high)
    assert (body.bar.at_notch, body.bar.at_block) == (ladder.at_notch, ladder.at_block)


def test_the_pair_whose_labels_meet_is_named():
    def clash(*sizes):
        items = tuple(Item(f"A{n}", size) for n, size in enumerate(sizes, start=1))
        return labels_clash(items, tuple(item.id for item in items), USUAL)

    assert clash(12, 8, 12) is None
    # Labels with their 0.8 mm take 6.98 mm: 12 and 8 are 10 mm apart, 8 and 4 only 6 mm.
    assert clash(12, 8, 4, 4, 4) == ("A2", "A3")
    assert clash(3, 4, 3) == ("A1", "A2")
    # 7.5 mm are enough for two labels, 6.5 mm are not.
    assert clash(7, 8, 3, 3) == ("A2", "A3")
    assert clash(6, 7, 2, 2) == ("A1", "A2")
    # Of a rule that is too short as a whole, the first two.
    assert clash(5, 7.5, 3) == ("A1", "A2")


def test_numbers_do_not_help_a_rule_whose_ids_meet_with_a_usual_nozzle():
    def texts(nozzle_mm, *sizes):
        items = tuple(Item(f"A{n}", size) for n, size in enumerate(sizes, start=1))
        return label_texts(items, Measures(nozzle_mm, 0.2))

    assert texts(0.4, 3, 6, 3) is None
    assert texts(0.25, 3, 6, 3) is None
    assert texts(0.6, 12, 8, 12) == ("1", "2", "3")
    assert texts(1.5, 12, 8, 12) is None, "even numbers meet"


def test_labels_of_a_rule_are_moved_no_further_than_they_must():
    def places(*sizes):
        items = [Item(f"A{n}", size) for n, size in enumerate(sizes, start=1)]
        return label_places(items, [item.id for item in items], USUAL)

    first = 1.75 - 1 + 0.4 * math.sqrt(2)
    # Three labels with 0.8 mm between them fill a rule from its first place to 1 mm from its end.
    full = first + 3 * 6.18 + 1.6 + 1
    for more_mm, fits in ((1e-6, True), (-1e-3, False)):
        found = places(7.0, 7.0, full - 14.0 + more_mm)
        assert (found is not None) is fits
    assert places(7.0, 7.0, 20.0) == near(first + 3.09, first + 3.09 + 6.98, 24)
    # A label that would stand beside its neighbour's item alone is none of its own.
    assert places(20.0, 0.3, 0.2) is None
    assert places(2.0, 2.0, 30.0) is None


def test_the_farther_rail_has_its_texts_spread_between_both_ends():
    body, ladder = rule_of(20.0, 40.0, 20.0, turn=90)
    texts = {p.shape.text: p.shape.place for p in body.parts if isinstance(p.shape, Text)}
    far_y = ladder.wide_mm - 1 - 3.66
    first = 1.75 - 1 + 0.4 * math.sqrt(2)
    widths = [width_mm(text) for text in ("AW", "↓X", "→Y")]
    free = 80 - 1 - first - sum(widths)
    starts = [first, first + widths[0] + free / 2, 79 - widths[2]]
    assert [texts[name] for name in ("AW", "↓X", "→Y")] == [
        near(start, far_y, ladder.high_mm) for start in starts
    ]
