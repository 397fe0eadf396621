"""What one row builds: bodies, trials in their order, bought pieces, splits over several bodies."""

import math

import pytest
from support.one_series import series
from support.toml_text import row_of

from coupons.making.bodies.hardware_mates import bought_piece, outside_mm
from coupons.making.bodies.lettering import glyph, letter_starts, line_strokes, width_mm
from coupons.making.bodies.shapes import boxed
from coupons.making.built_rows import BuiltRow, build_row, readings_for
from coupons.making.spec.coupon_spec import Assumed
from coupons.making.spec.settle import rounded, settled
from coupons.terms import Direction, Form

FIT = {"kind": "fit", "form": "hole", "direction": "z", "size_mm": 5, "gaps_mm": [0.0, 0.2, 0.4]}
BOUGHT = {
    "kind": "hardware",
    "name": "dowel",
    "form": "hole",
    "direction": "z",
    "nominal_mm": 8,
    "limits_mm": [0.01, 0.05],
    "gaps_mm": [0.0, 0.2],
}
SCREW = {
    "kind": "thread",
    "name": "screw",
    "nominal_mm": 4,
    "holes_mm": [3.2, 3.4, 3.6],
    "source": "a test",
    "direction": "z",
    "wall_mm": 4,
}
SIZES = {"kind": "sizes", "form": "hole", "direction": "z", "sizes_mm": [4, 5]}


def near(*values):
    return pytest.approx(values, abs=1e-5)


def built(given, letter="A", **machine):
    found = build_row(row_of(given), letter, Assumed(**machine), "t row 1")
    assert isinstance(found, BuiltRow), found
    return found


def test_gauges_follow_their_fixed_body_and_are_tried_one_after_the_other():
    row = built({**FIT, "gauges": 3}, "C")
    assert [(body.id, body.loose) for body in row.bodies] == [
        ("C", False),
        ("CG", True),
        ("CH", True),
        ("CJ", True),
    ]
    tried = [(t.feature, t.mate, t.gap_mm) for t in row.trials]
    assert tried == [
        (f"C{n}", f"C{mate}", gap) for mate in "GHJ" for n, gap in ((3, 0.4), (2, 0.2), (1, 0.0))
    ]
    assert (row.letter, row.hardware, row.bought, row.holds) == ("C", (), (), ())
    sizes = [f.size_mm for f in row.bodies[0].features if f.role == "fit"]
    assert sizes == [5.0, 5.2, 5.4]
    assert [body.features[0].size_mm for body in row.bodies[1:]] == [5.0] * 3
    assert {f.role for body in row.bodies[1:] for f in body.features} == {"gauge"}


def test_posts_get_thinner_with_the_gap():
    row = built({**FIT, "form": "pin"})
    assert [f.size_mm for f in row.bodies[0].features] == [5.0, 4.8, 4.6]
    assert row.bodies[1].features[0].form == "hole"


def test_gauges_are_read_each_and_fixed_features_now_and_then():
    row = built({**FIT, "gaps_mm": [0.0, 0.1, 0.2, 0.3], "read_every": 3})
    fixed = [f for f in row.bodies[0].features if f.role == "fit"]
    assert [len(f.readings) for f in fixed] == [2, 0, 0, 2]
    assert [len(body.features[0].readings) for body in row.bodies[1:]] == [2, 2]
    every = built({**FIT, "read_every": 1})
    assert [len(f.readings) for f in every.bodies[0].features if f.role == "fit"] == [2, 2, 2]


@pytest.mark.parametrize(
    ("form", "direction", "mark", "turn"),
    [
        ("slot", "x", "↔", 0),
        ("slot", "y", "↔", 90),
        ("slot", "x+y", "↔", 45),
        ("slot", "x-y", "↔", -45),
        ("slot", "z", "≡", 0),
        ("tongue", "x", "↔", 0),
        ("hole", "z", "", 0),
        ("hole", "y", "", 0),
        ("hole", "x", "", 90),
        ("pin", "x", "", 90),
    ],
)
def test_a_gauge_shows_across_what_it_is_flat_and_lies_as_its_row_does(form, direction, mark, turn):
    row = built({**FIT, "form": form, "direction": direction, "gaps_mm": [0.0], "size_mm": 4})
    fixed, gauge = row.bodies[:2]
    texts = [part.shape.text for part in gauge.parts if hasattr(part.shape, "text")]
    assert texts == ["AG" + mark]
    assert (fixed.turn_deg, gauge.turn_deg) == (turn, turn)
    assert gauge.features[0].direction == direction
    seam = "hidden" if (form, direction) == ("hole", "z") else "shown"
    assert gauge.features[0].seam == (seam if form == "hole" else None)


def test_hardware_is_the_middle_of_its_band_and_its_spread():
    row = built(BOUGHT, "D")
    (ware,) = row.hardware
    assert (ware.id, ware.name, ware.form, ware.size_mm) == ("DB", "dowel", "pin", 8.03)
    # Anywhere in its band alike: the width of the band over √12.
    assert ware.sd_mm == 0.011547  # 0.04 / 3.4641
    assert [(t.feature, t.mate, t.gap_mm) for t in row.trials] == [
        ("D2", "DB", 0.2),
        ("D1", "DB", 0.0),
    ]
    assert [f.size_mm for f in row.bodies[0].features if f.role == "fit"] == [8.03, 8.23]
    assert [body.id for body in row.bought] == ["DB"]
    assert [body.id for body in row.bodies] == ["D"]
    wide = built({**BOUGHT, "outer_mm": 20}).bought[0]
    assert wide.box == (near(-10, -10, 0), near(10, 10, 9 + 3.6 + 1))


def test_bought_pieces_have_room_beside_labels_and_the_next_post():
    def places(**given):
        fixed = built({**BOUGHT, **given}).bodies[0]
        return [f.centre[:2] for f in fixed.features if f.role == "fit"]

    # Behind a label, 1 mm, and a shoulder of 1.2 mm: a bar is held by itself, without a head.
    (one, two) = places(form="slot", direction="x")
    assert (one[1], two[1]) == near(5.66 + 1.2 + 3.5, 5.66 + 1.2 + 3.5)
    # A head of 16.06 mm reaches over the rim of its hole by half of what it is wider.
    (one, _) = places()
    assert one[1] == pytest.approx(5.66 + (16 - 8.03) / 2 + 8.23 / 2)
    # A ring of 20 mm, 1 mm of room, half a post of 8.03 mm with a shoulder of 1.2 mm all round.
    for form, direction in (("tongue", "x"), ("pin", "z")):
        (one, two) = places(form=form, direction=direction, outer_mm=20)
        assert two[0] - one[0] == pytest.approx(10 + 1 + 10.43 / 2)
    # What lies has no shoulder; tongues lie on their 6 mm.
    (one, two) = places(form="pin", direction="y", outer_mm=20)
    assert two[0] - one[0] == pytest.approx(10 + 1 + 8.03 / 2)
    (one, two) = places(form="tongue", direction="z", outer_mm=20, limits_mm=[0.0, 0.0])
    assert two[0] - one[0] == pytest.approx((6 + 12) / 2 + 1 + 3)


def test_what_holds_itself_is_driven_from_the_widest_hole_to_the_narrowest():
    row = built(SCREW)
    assert [(h.feature, h.mate, h.held_by) for h in row.holds] == [
        ("A3", "AB", "thread"),
        ("A2", "AB", "thread"),
        ("A1", "AB", "thread"),
    ]
    assert row.trials == ()
    (ware,) = row.hardware
    assert (ware.id, ware.form, ware.size_mm, ware.sd_mm) == ("AB", "pin", 4.0, 0.0)
    fixed = [f for f in row.bodies[0].features if f.role == "fit"]
    assert [f.size_mm for f in fixed] == [3.2, 3.4, 3.6]
    assert [len(f.readings) for f in fixed] == [2, 0, 0]
    assert built({**SCREW, "kind": "insert"}).holds[0].held_by == "insert"
    head = built({**SCREW, "outer_mm": 7}).bought[0]
    assert head.box == (near(-3.5, -3.5, 0), near(3.5, 3.5, 9 + 8 + 1))


def test_sizes_are_spans_that_are_all_read():
    row = built(SIZES)
    (body,) = row.bodies
    assert [(f.id, f.size_mm, f.role) for f in body.features[:2]] == [
        ("A1", 4.0, "span"),
        ("A2", 5.0, "span"),
    ]
    assert all(len(f.readings) == 2 for f in body.features[:2])
    steps = {**SIZES, "form": "tongue", "on_bed": False}
    for on_bed, jaws in ((True, "outside"), (False, "depth")):
        (body,) = built({**steps, "on_bed": on_bed}).bodies
        assert [f.readings for f in body.features] == [((jaws, None),)] * 2
        assert [f.on_bed for f in body.features] == [on_bed] * 2


def test_tiles_count_on_from_tongues_to_slots():
    swell = {"kind": "swell", "direction": "y", "tongues_mm": [16, 20], "slots_mm": [8]}
    bodies = built(swell).bodies
    told = [(b.id, b.features[0].form, b.features[0].size_mm, b.turn_deg) for b in bodies]
    assert told == [
        ("A1", "tongue", 16.0, 90),
        ("A2", "tongue", 20.0, 90),
        ("A3", "slot", 8.0, 90),
    ]
    assert [b.features[0].readings for b in bodies] == [
        (("outside", None),),
        (("outside", None),),
        (("inside", None),),
    ]
    assert {b.features[0].direction for b in bodies} == {"y"}


def test_blocks_of_a_rule_are_read_outside_and_notches_inside():
    spans = {"kind": "spans", "direction": "x-y", "tongues_mm": [20, 20], "slots_mm": [40]}
    (rule,) = built(spans).bodies
    assert rule.turn_deg == -45
    told = [(f.id, str(f.readings[0][0]), f.size_mm) for f in rule.features]
    assert told == [
        ("A1", "outside", 20.0),
        ("A2", "inside", 40.0),
        ("A3", "outside", 20.0),
        ("AW", "outside", 80.0),
    ]
    assert {f.direction for f in rule.features} == {"x-y"}


def test_a_row_that_is_longer_than_the_bed_is_split_as_evenly_as_can_be():
    long = {**SIZES, "sizes_mm": [4 + 0.25 * k for k in range(12)]}
    (whole,) = built(long, bed_mm=(150.0, 60.0)).bodies
    length = whole.box[1][0]
    assert (whole.id, len(whole.features)) == ("A", 12 + 2)
    # A bed leaves 5 mm all round; as wide as the body it still holds it, and no less.
    (fits,) = built(long, bed_mm=(length + 10 + 1e-6, 60.0)).bodies
    assert fits.id == "A"
    halves = built(long, bed_mm=(length + 10 - 1e-3, 60.0)).bodies
    assert [body.id for body in halves] == ["A.1", "A.2"]
    assert [len([f for f in body.features if f.form == "hole"]) for body in halves] == [6, 6]
    # The outer sizes of the first tell all that those of the others would.
    assert [len(body.features) for body in halves] == [8, 6]
    nine = {**SIZES, "sizes_mm": [4 + 0.25 * k for k in range(9)]}
    (last,) = built({**SIZES, "sizes_mm": [5.5, 5.75, 6.0]}).bodies
    # A part of the last three is the longest of three: with a hair less bed there are four.
    for more_mm, counts in ((1e-6, [3, 3, 3]), (-1e-3, [2, 2, 3, 2])):
        parts = built(nine, bed_mm=(last.box[1][0] + 10 + more_mm, 60.0)).bodies
        found = [[f.id for f in body.features if f.form == "hole"] for body in parts]
        assert [len(ids) for ids in found] == counts
        assert [each for ids in found for each in ids] == [f"A{n}" for n in range(1, 10)]
    five = {**SIZES, "sizes_mm": [4, 5, 6, 7, 8]}
    (one,) = built(five).bodies
    parts = built(five, bed_mm=(one.box[1][0] + 9, 60.0)).bodies
    assert [len([f for f in b.features if f.form == "hole"]) for b in parts] == [2, 3]


@pytest.mark.parametrize("direction", ["y", "x+y", "x-y"])
@pytest.mark.parametrize("side", [0, 1])
def test_a_turned_row_is_split_where_either_side_of_the_bed_is_too_short(direction, side):
    slots = {**SIZES, "form": "slot", "direction": direction, "sizes_mm": [4, 5, 6, 7, 8]}
    (whole,) = built(slots, bed_mm=(300.0, 300.0)).bodies
    low, high = whole.cover()
    wide = high[side] - low[side]
    for more_mm, count in ((1e-6, 1), (-1e-3, 2)):
        bed = [300.0, 300.0]
        bed[side] = max(40.0, wide + 10 + more_mm)
        bodies = built(slots, bed_mm=tuple(bed)).bodies
        # Seen along its row a quarter turn is deep, not long: there nothing is gained by a split.
        is_deep = direction == "y" and side == 0
        assert len(bodies) == (1 if is_deep else count)


def test_a_row_of_which_the_bed_holds_no_single_feature_stays_whole():
    large = {**SIZES, "sizes_mm": [60, 61], "wall_mm": 15, "depth_mm": 15}
    (body,) = built(large, bed_mm=(60.0, 300.0)).bodies
    assert body.id == "A"


@pytest.mark.parametrize(("nominal_mm", "head_mm"), [(4.0, 8.0), (12.0, 24.0), (12.01, 12.01)])
def test_a_usual_head_is_twice_its_shank_up_to_twelve_millimetres(nominal_mm, head_mm):
    assert outside_mm(nominal_mm, None) == head_mm
    assert outside_mm(nominal_mm, 30.0) == 30.0


ROUND = math.pi / 4  # a round's share of the square around it
# Of a shank or bar: box and volume of grip and shank. Of a ring: of its outside and its opening.
# 9 mm to grip, 4 mm deep, 1 mm to see; a flat one is 6 mm beside its size of 5, a flat ring with an
# outside of 11 mm is 3 mm thick all round, its opening 7 mm long.
PIECES = [
    ("hole", "z", "pin", ((11, 11, 9), (5, 5, 5)), (121 * 9 * ROUND, 25 * 5 * ROUND)),
    ("hole", "y", "pin", ((11, 9, 11), (5, 5, 5)), (121 * 9 * ROUND, 25 * 5 * ROUND)),
    ("slot", "x", "tongue", ((5, 6, 9), (5, 6, 5)), (30 * 9, 30 * 5)),
    ("slot", "z", "tongue", ((6, 9, 5), (6, 5, 5)), (30 * 9, 30 * 5)),
    ("pin", "z", "hole", ((11, 11, 4), (5, 5, 4)), (121 * 4 * ROUND, 25 * 4 * ROUND)),
    ("pin", "y", "hole", ((11, 4, 11), (5, 4, 5)), (121 * 4 * ROUND, 25 * 4 * ROUND)),
    ("tongue", "x", "slot", ((11, 12, 4), (5, 7, 4)), (132 * 4, 35 * 4)),
    ("tongue", "z", "slot", ((12, 4, 11), (7, 4, 5)), (132 * 4, 35 * 4)),
]


@pytest.mark.parametrize(("form", "direction", "mate", "sides", "volumes"), PIECES)
def test_a_bought_piece_has_its_size_where_it_is_tried_and_its_width_elsewhere(
    form, direction, mate, sides, volumes
):
    fixed = series(form, direction, [5.0], depth_mm=4.0)
    piece = bought_piece(fixed, "AB", Form(mate), 5.0, 11.0)
    way = 1 if fixed.lying else 2
    shank = mate in ("pin", "tongue")
    for part, wanted, volume in zip(piece.parts, sides, volumes, strict=True):
        low, high = boxed(part.shape)
        assert tuple(b - a for a, b in zip(low, high, strict=True)) == near(*wanted)
        middle = [(a + b) / 2 for a, b in zip(low, high, strict=True)]
        assert [middle[k] for k in range(3) if k != way] == near(0, 0)
        assert part.shape.volume_mm3() == pytest.approx(volume, rel=2e-3)
    assert [boxed(part.shape)[0][way] for part in piece.parts] == ([0, 9] if shank else [0, 0])
    assert [part.cut for part in piece.parts] == [False, not shank]
    assert [part.feature for part in piece.parts] == ["", "AB"]
    assert piece.seat_mm == (9 if shank else 0)
    (sized,) = piece.features
    centre = [0.0, 0.0, 0.0]
    centre[way] = (9 + 14) / 2 if shank else 2.0
    assert sized.centre == near(*centre)
    axis = "xyz"[way] if fixed.round else "z" if fixed.lying else "x"
    told = (sized.id, sized.form, sized.size_mm, sized.role, sized.axis, sized.row)
    assert told == ("AB", mate, 5.0, "gauge", axis, "A")
    assert (piece.id, piece.row, piece.loose) == ("AB", "A", True)
    if fixed.round:  # an opening is cut outside its round, a shank stays within it
        assert [part.shape.outside for part in piece.parts] == [False, not shank]


def test_which_readings_each_form_gets():
    told = {
        (form, direction): [(str(jaws), along) for jaws, along in readings_for(form, direction)]
        for form in Form
        for direction in (Direction.X, Direction.Y, Direction.Z)
    }
    for direction in "xyz":
        assert told[("slot", direction)] == [("inside", None)]
        assert told[("tongue", direction)] == [("outside", None)]
        across = [axis for axis in "xyz" if axis != direction]
        assert told[("hole", direction)] == [("inside", axis) for axis in across]
    assert told[("pin", "x")] == [("outside", "y")]
    assert told[("pin", "y")] == [("outside", "x")]
    assert told[("pin", "z")] == [("outside", "x"), ("outside", "y")]


def test_a_row_is_settled_to_walls_and_layers():
    assumed = Assumed(layer_height_mm=0.3, nozzle_mm=0.6)

    def now(**given):
        return settled(row_of({**FIT, **given}), assumed)

    # Six lines of 0.675 mm; 3.6 mm are twelve layers, 3.7 mm are begun in a thirteenth.
    assert (now().wall_mm, now().depth_mm) == (4.05, 3.6)
    assert (now(wall_mm=5).wall_mm, now(depth_mm=3.7).depth_mm) == (5.0, 3.9)
    assert (now().size_mm, now().gaps()) == (5.0, (0.0, 0.2, 0.4)), "holes are no heights"
    level = now(form="slot", direction="x", gaps_mm=[-0.1, 0.0, 0.2, 0.4])
    assert level.gaps() == (-0.1, 0.0, 0.2, 0.4), "what lies level is not in layers"
    flat = now(form="slot", direction="z", gaps_mm=[-0.1, 0.0, 0.2, 0.44])
    assert (flat.size_mm, flat.gaps()) == (5.1, (0.0, 0.3))
    thin = now(form="tongue", direction="z", size_mm=2.0)
    assert thin.size_mm == 2.1, "the least size, rounded up"
    sizes = settled(row_of({**SIZES, "form": "tongue", "sizes_mm": [3, 3.1, 4.45]}), assumed)
    assert sizes.sizes_mm == (3.0, 4.5)
    assert settled(row_of(SIZES), assumed).sizes_mm == (4.0, 5.0)


def test_gaps_to_bought_pieces_are_what_whole_layers_leave():
    assumed = Assumed(layer_height_mm=0.2)
    flat = {**BOUGHT, "direction": "z", "nominal_mm": 5.1, "limits_mm": [0.0, 0.0]}
    slot = settled(row_of({**flat, "form": "slot", "gaps_mm": [0.0, 0.1, 0.3]}), assumed)
    # Slots of 5.2 and 5.4 mm are whole layers (5.1 and a half are rounded up).
    assert slot.gaps() == (0.1, 0.3)
    tongue = settled(
        row_of({**flat, "form": "tongue", "outer_mm": 9, "gaps_mm": [0.0, 0.1, 0.3]}), assumed
    )
    # Tongues of 5.2, 5.0 and 4.8 mm.
    assert tongue.gaps() == (-0.1, 0.1, 0.3)
    # A slot of 4.8 mm, the nearest, would split its wall by more than 0.3 mm: 5.0 mm is taken.
    near_limit = {**flat, "nominal_mm": 5.15, "form": "slot", "gaps_mm": [-0.3, 0.25]}
    assert settled(row_of(near_limit), assumed).gaps() == (-0.15, 0.25)
    asked = {**near_limit, "gaps_mm": [-0.31, 0.25]}
    assert settled(row_of(asked), assumed).gaps() == (-0.35, 0.25), "what is asked for is kept"


def test_a_row_says_whether_it_was_rounded():
    assumed = Assumed()
    flat = {**FIT, "form": "slot", "direction": "z"}
    assert not rounded(row_of(flat), assumed)
    assert rounded(row_of({**flat, "size_mm": 5.1}), assumed)
    assert rounded(row_of({**flat, "gaps_mm": [0.0, 0.25]}), assumed)
    assert not rounded(row_of({**FIT, "size_mm": 5.1}), assumed)
    heights = {**SIZES, "form": "tongue"}
    assert not rounded(row_of(heights), assumed)
    assert rounded(row_of({**heights, "sizes_mm": [4.1, 5]}), assumed)
    assert not rounded(row_of(SCREW), assumed)
    bought = {**BOUGHT, "form": "slot", "limits_mm": [0.0, 0.0]}
    assert not rounded(row_of(bought), assumed)
    assert rounded(row_of({**bought, "nominal_mm": 8.1}), assumed)


def test_letters_are_strokes_between_points_of_their_grid():
    # Steps of 0.46 mm, half a pen of 0.9 mm from the corner: columns 1, 2 and 3, rows 0, 4 and 6.
    def at(column, row):
        return near(0.45 + 0.46 * column, 0.45 + 0.46 * row)

    one = [(s.start, s.stop) for s in glyph("1")]
    assert one == [(at(1, 4), at(2, 6)), (at(2, 6), at(2, 0)), (at(1, 0), at(3, 0))]
    double = glyph("-", 2.0)
    assert (double[0].start, double[0].stop) == (near(0.9, 3.66), near(4.58, 3.66))
    # A character takes its columns, a pen and 0.7 mm; the long arrow has seven columns.
    assert letter_starts("1-↔1") == near(0, 3.44, 6.88, 6.88 + 4.82)
    assert letter_starts("11", 2.0) == near(0, 6.88)
    assert width_mm("↔") == pytest.approx(7 * 0.46 + 0.9)
    assert width_mm("1-↔", 2.0) == pytest.approx(2 * (3.44 * 2 + 4.12))
    line = line_strokes("-1")
    assert len(line) == 4
    assert line[0].start == near(0.45, 0.45 + 3 * 0.46)
    assert (line[1].start, line[1].stop) == (
        near(3.44 + 0.91, 0.45 + 4 * 0.46),
        near(3.44 + 1.37, 0.45 + 6 * 0.46),
    )
