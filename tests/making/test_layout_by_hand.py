"""Where everything stands on a body, reckoned by hand for a 0.4 mm nozzle and layers of 0.2 mm.

A label of two characters is 6.18 mm wide and 3.66 mm high and stands 1 mm from the edge, labels of
neighbours 1.3 mm apart. A base is 1.4 mm high and a shoulder 2.2 mm above it, 1.2 mm wide; a post
stands 1 mm out of its mate. Lead-ins are 0.4 mm, and cutters stand 0.05 mm out of what they cut.
"""

import math

import numpy as np
import pytest

from coupons.making.bodies.lettering import width_mm
from coupons.making.bodies.proportions import Measures
from coupons.making.bodies.ruler import label_places, label_texts
from coupons.making.bodies.series import Item
from coupons.making.bodies.shapes import Text, boxed
from coupons.making.plan import plan_coupon
from coupons.making.spec.coupon_spec import parse_spec

USUAL = Measures(0.4, 0.2)


def built(row, **machine):
    """Return the bodies of one row, in their own frames, by id, bought ones among them."""
    text = "\n".join(f"{key} = {value}" for key, value in row.items()).replace("'", '"')
    spec = parse_spec(f'title = "t"\n[[row]]\n{text}\n'.encode(), "t", "t.toml")
    plan = plan_coupon(spec, bed_mm=(300, 300), **machine)
    bodies = {item.body.id: item.body for item in plan.placed}
    return bodies | {body.id: body for each in plan.rows for body in each.bought}


def fit(form, direction, size_mm, gaps_mm, **more):
    kinds = {"kind": "'fit'", "form": f"'{form}'", "direction": f"'{direction}'"}
    return {**kinds, "size_mm": size_mm, "gaps_mm": gaps_mm, **more}


def middles(body):
    return [feature.centre for feature in body.features if feature.role != "span"]


def shape_of(body, feature):
    (part,) = [p for p in body.parts if p.feature == feature]
    return part.shape


def labels(body):
    """Return the low left corner of each label, by its text."""
    texts = [part.shape for part in body.parts if isinstance(part.shape, Text)]
    return {text.text: text.place for text in texts}


def near(*values):
    return pytest.approx(values, abs=1e-5)


def marks_mm(*texts):
    return max(width_mm(text, 1.0) for text in texts)


def test_a_plate_of_holes():
    body = built(fit("hole", "z", 5, [0.0, 0.2, 0.4]))["A"]
    # A hole takes its size and a wall of 3 mm, the first has half a wall before it. In front are a
    # label, 1 mm of room and the shoulder of a mate; the widest hole is 5.4 mm.
    across = 1 + 3.66 + 1 + 1.2 + 2.7
    assert middles(body) == [
        near(5.5, across, 1.8),
        near(13.6, across, 1.8),
        near(21.9, across, 1.8),
    ]
    high = across + 2.7 + 3
    # A mate on the last hole ends 21.9 + 2.7 + 1.2 mm along; 1 mm behind it begin the marks.
    long = 26.8 + marks_mm("→X", "↑Y") + 1
    assert body.box == (near(0, 0, 0), near(long, high, 3.6 + 0.6))
    assert body.seat_mm == 3.6
    sizes = {f.id: (f.size_mm, f.centre, f.direction) for f in body.features if f.role == "span"}
    assert sizes == {
        "AX": (pytest.approx(long), near(long / 2, high / 2, 1.8), "x"),
        "AY": (pytest.approx(high), near(long / 2, high / 2, 1.8), "y"),
    }
    assert labels(body)["A1"] == near(5.5 - 3.09, 1, 3.6)
    middle = 26.8 + marks_mm("→X", "↑Y") / 2
    assert labels(body)["→X"] == near(middle - width_mm("→X", 1.0) / 2, 1, 3.6)
    assert labels(body)["↑Y"] == near(middle - width_mm("↑Y", 1.0) / 2, high - 1 - 3.66, 3.6)
    # The cutter flares by its lead-in at both mouths.
    reach = 2.5 + 0.4 + 0.05
    low, top = boxed(shape_of(body, "A1"))
    assert low == near(5.5 - reach, across - reach, -0.05)
    assert top == near(5.5 + reach, across + reach, 3.65)


def test_a_loose_pin_stands_on_its_shoulder():
    body = built(fit("hole", "z", 5, [0.0]))["AG"]
    # Its shoulder is 7.4 mm wide, behind a label and 0.3 mm; before it is the cut corner's margin.
    assert middles(body) == [near(1.15 + 4.3, 4.96 + 3.7, (3.6 + 8.2) / 2)]
    assert body.box == (near(0, 0, 0), near(2 * 1.15 + 8.6, 4.96 + 7.4 + 1, 8.2))
    assert body.seat_mm == pytest.approx(3.6)
    pin = shape_of(body, "AG")
    assert boxed(pin) == (near(5.45 - 2.5, 8.66 - 2.5, 3.5), near(5.45 + 2.5, 8.66 + 2.5, 8.2))
    tip = math.pi * 0.4 * (2.5**2 + 2.5 * 2.1 + 2.1**2) / 3
    assert pin.volume_mm3() == pytest.approx(math.pi * 2.5**2 * 4.3 + tip, rel=1e-3)
    (shoulder,) = [part.shape for part in body.parts if part.seats]
    assert boxed(shoulder) == (near(1.75, 4.96, 1.3), near(9.15, 12.36, 3.6))
    assert shoulder.volume_mm3() == pytest.approx(math.pi * 3.7**2 * 2.3, rel=1e-3)


def test_a_loose_piece_is_as_wide_as_a_grip():
    body = built(fit("slot", "x", 2, [0.0], length_mm=4, depth_mm=3))["AG"]
    assert body.box[1][0] >= 9
    ring = built(fit("pin", "z", 2, [0.0], depth_mm=3))["AG"]
    # A label of 6.18 mm and 1.3 mm beside it, 1.5 mm at either end: wider than 9 mm by itself.
    assert ring.box[1][0] == pytest.approx(7.48 + 3)
    lying = built(fit("hole", "x", 2, [0.0]))["AG"]
    assert lying.features[0].centre[1] == pytest.approx(9 + (5.66 + 1) / 2), "a spine of 9 mm"


def test_posts_stand_so_far_apart_that_a_ring_has_room_beside_the_next():
    bodies = built(fit("pin", "z", 5, [0.0, 0.2]))
    ring = bodies["AG"]
    assert middles(ring) == [near(1.5 + 4, 5.66 + 1.2 + 2.5, 1.8)]
    assert ring.box[1] == near(11, 9.36 + 2.5 + 3, 3.6 + 0.6)
    assert ring.seat_mm == 0
    # From the ring's middle 5.5 mm to its end, 1 mm of room, half of a shoulder of 7.4 mm.
    pitch = 5.5 + 1 + 3.7
    first = (5 - 2 * 1.2) / 2 + pitch / 2  # jaws need 5 mm between posts, of which half before
    assert middles(bodies["A"]) == [near(first, 8.66, 5.9), near(first + pitch, 8.66, 5.9)]


def test_slots_and_their_tongue():
    bodies = built(fit("slot", "x", 4, [0.0, 0.2]))
    across = 1 + 3.66 + 1 + 1.2 + 3.5
    assert middles(bodies["A"]) == [
        near(1.5 + 3.74, across, 1.8),
        near(1.5 + 7.48 * 1.5, across, 1.8),
    ]
    assert bodies["A"].features[-1].size_mm == pytest.approx(across + 3.5 + 3)
    low, high = boxed(shape_of(bodies["A"], "A1"))
    assert (low, high) == (
        near(5.24 - 2.45, across - 3.5, -0.05),
        near(5.24 + 2.45, across + 3.5, 3.65),
    )
    area = 4 * 3.7 + 0.45**2 * 2  # two flares at either side
    assert shape_of(bodies["A"], "A1").volume_mm3() == pytest.approx(7 * area)
    tongue = bodies["AG"]
    # The label, "AG↔", is 11 mm wide; 1 mm of play leaves 6 mm of the 7 mm.
    assert middles(tongue) == [near(1.15 + 12.3 / 2, 4.96 + 3, 5.9)]
    assert tongue.box[1] == near(2 * 1.15 + 12.3, 4.96 + 6 + 1, 8.2)
    shaft = shape_of(tongue, "AG")
    assert boxed(shaft) == (near(7.3 - 2, 4.96, 3.5), near(7.3 + 2, 10.96, 8.2))
    # Upright edges are broken by 0.4 mm, and the tip is 0.4 mm smaller all round.
    full, tip = 4 * 6 - 2 * 0.4**2, 3.2 * 5.2 - 2 * 0.4**2
    middle = 3.6 * 5.6 - 2 * 0.4**2
    assert shaft.volume_mm3() == pytest.approx(full * 4.3 + 0.4 * (full + 4 * middle + tip) / 6)
    (shoulder,) = [part.shape for part in tongue.parts if part.seats]
    assert boxed(shoulder) == (near(7.3 - 3.2, 4.96, 1.3), near(7.3 + 3.2, 10.96, 3.6))


def test_holes_through_an_upright_wall_and_their_lying_pin():
    bodies = built(fit("hole", "y", 6, [0.0, 0.4]))
    # Floor and roof are as thick as the walls; the wall is as deep as its label needs, 5.66 mm. The
    # cut corner takes 1.75 mm before the first; all holes have their middle at one height.
    wall = bodies["A"]
    assert middles(wall) == [
        near(1.5 + 1.75 + 4.5, 2.83, 3 + 3.2),
        near(3.25 + 9 + 4.7, 2.83, 3 + 3.2),
    ]
    assert wall.box[1][1:] == near(5.66, 12.4 + 0.6)
    assert wall.seat_mm == 0
    low, high = boxed(shape_of(wall, "A1"))
    assert low == near(7.75 - 3.45, -0.05, 6.2 - 3.45)
    assert high == near(7.75 + 3.45, 5.71, 6.2 + 3.45)
    pin = bodies["AG"]
    height = 3 * (math.sin(math.radians(25)) + math.sin(math.radians(65))) / 2
    assert middles(pin) == [near(1.5 + 4.5, 9 + 6.66 / 2, height)]
    assert pin.box[1] == near(12, 15.66, 6 + 0.6)
    assert pin.seat_mm == 9
    low, high = boxed(shape_of(pin, "AG"))
    assert (low[1], high[1]) == near(8.9, 15.66)
    assert low[2] == pytest.approx(0, abs=1e-5)
    # Its corners lie on the circle, and none just at its sides: 2 µm at most are lacking at each.
    assert (high[0] - low[0], high[2]) == pytest.approx((6, height + 3), abs=4e-3)
    # The flat on the bed: from 25° under its middle a chord runs in by as much as it falls.
    flat = 3 * math.cos(math.radians(25)) - (height - 3 * math.sin(math.radians(25)))
    on_bed = [x for x, _, z in shape_of(pin, "AG").corners() if abs(z) < 1e-6]
    assert max(on_bed) - min(on_bed) == pytest.approx(2 * flat, abs=1e-4)


def test_slots_through_an_upright_wall_and_their_lying_tongue():
    bodies = built(fit("slot", "z", 4, [0.0, 0.4]))
    wall = bodies["A"]
    assert middles(wall) == [near(3.25 + 5, 2.83, 5), near(3.25 + 15, 2.83, 3 + 2.2)]
    assert wall.box[1][1:] == near(5.66, 3 + 4.4 + 3 + 0.6)
    low, high = boxed(shape_of(wall, "A1"))
    assert (low, high) == (near(8.25 - 3.5, -0.05, 3 - 0.45), near(8.25 + 3.5, 5.71, 7 + 0.45))
    tongue = bodies["AG"]
    cell = max(9, width_mm("AG≡", 1.0) + 1.3)
    middle = 1.5 + cell / 2
    assert middles(tongue) == [near(middle, 9 + 6.66 / 2, 2)]
    bar = shape_of(tongue, "AG")
    assert boxed(bar) == (near(middle - 3, 8.9, 0), near(middle + 3, 15.66, 4))
    full, tip = 6 * 4 - 0.4**2, 5.2 * 3.2 - 0.4**2  # two edges at the bed broken by 0.4 mm
    half = 5.6 * 3.6 - 0.4**2
    assert bar.volume_mm3() == pytest.approx(full * 6.36 + 0.4 * (full + 4 * half + tip) / 6)


@pytest.mark.parametrize(("size_mm", "spine_mm"), [(2.4, 3.0), (5.0, 5.0), (10.0, 8.0)])
def test_a_spine_is_as_high_as_its_posts_but_neither_thin_nor_tall(size_mm, spine_mm):
    body = built(fit("hole", "x", size_mm, [0.0], wall_mm=4, depth_mm=4))["AG"]
    assert labels(body)["AG"][2] == pytest.approx(spine_mm)


def test_steps_stand_on_a_floor_with_room_for_the_depth_rod_before_each():
    row = {"kind": "'sizes'", "form": "'tongue'", "direction": "'z'", "sizes_mm": [3, 24]}
    body = built({**row, "on_bed": "false"})["A"]
    # Blocks of 7 mm, or a third of their height; 5 mm between them, and before the first.
    assert [f.centre for f in body.features] == [
        near(2.5 + 2.5 + 6, 4.96 + 3.5, 1.4 + 1.5),
        near(5 + 12 + 6.5, 4.96 + 4, 1.4 + 12),
    ]
    assert body.box[1][1:] == near(4.96 + 8 + 1, 1.4 + 24)
    assert boxed(shape_of(body, "A1")) == (near(7.5, 4.96, 1.3), near(14.5, 11.96, 4.4))
    assert boxed(shape_of(body, "A2")) == (near(19.5, 4.96, 1.3), near(27.5, 12.96, 25.4))


def test_tiles_have_their_label_in_one_line_or_two():
    row = {"kind": "'swell'", "direction": "'x'", "tongues_mm": [16, 10], "slots_mm": [8]}
    wide, narrow, window = (built(row)[name] for name in ("A1", "A2", "A3"))
    # "A1↔" is 11 mm wide: with 1 mm at either end it fits 13 mm. One line and 0.8 mm take 4.46 mm.
    assert middles(wide) == [near(8, (5.46 + 14) / 2, 0)]
    assert wide.box == (near(0, 0, 0), near(16, 14, 1 + 0.6))
    assert labels(wide) == {"A1↔": near(8 - 5.5, 1, 1)}
    assert middles(narrow) == [near(5, 7, 0)]
    assert narrow.box[1] == near(10, 14, 1.6)
    assert labels(narrow) == {"↔": near(5 - 2.06, 1, 1), "A2": near(5 - 3.09, 5.46, 1)}
    # A window has a wall at either side; behind the label 5.6 mm for the jaws, and a wall.
    assert middles(window) == [near(7, 5.46 + 2.8, 0)]
    assert window.box[1] == near(14, 5.46 + 5.6 + 3, 1.6)
    assert boxed(shape_of(window, "A3")) == (near(3, 5.46, -0.05), near(11, 11.06, 1.05))


BOUGHT = {"kind": "'hardware'", "name": "'dowel'", "direction": "'z'", "nominal_mm": 8}
BOUGHT |= {"limits_mm": [0.0, 0.02], "gaps_mm": [0.0, 0.2]}


@pytest.mark.parametrize(
    ("more", "head_mm"),
    [({}, 16.0), ({"outer_mm": 11}, 11.0), ({"nominal_mm": 12.5, "wall_mm": 4}, 12.5)],
)
def test_a_bought_shank_has_a_head_that_keeps_clear_of_labels(more, head_mm):
    row = {**BOUGHT, "form": "'hole'", **more}
    bodies = built(row)
    size = row["nominal_mm"] + 0.01
    y = 1 + 3.66 + 1 + (head_mm - size) / 2 + (size + 0.2) / 2
    assert [at[1] for at in middles(bodies["A"])] == near(y, y)
    (at,) = middles(bodies["AB"])
    # A grip of 9 mm, then as deep as the hole is, and 1 mm more.
    assert at == near(0, 0, 9 + 4.6 / 2)
    assert bodies["AB"].seat_mm == 9
    head, shank = (boxed(part.shape) for part in bodies["AB"].parts)
    assert head == (near(-head_mm / 2, -head_mm / 2, 0), near(head_mm / 2, head_mm / 2, 9))
    assert shank == (near(-size / 2, -size / 2, 9), near(size / 2, size / 2, 13.6))


def test_a_head_keeps_clear_of_holes_that_are_all_narrower():
    row = {**BOUGHT, "form": "'hole'", "gaps_mm": [-0.2, -0.1]}
    (first, _) = middles(built(row)["A"])
    assert first[1] == pytest.approx(5.66 + (16 - 8.01) / 2 + 0.05 + 7.91 / 2)


def test_a_bought_ring_goes_over_posts():
    ring = built({**BOUGHT, "form": "'pin'", "outer_mm": 22})["AB"]
    assert (middles(ring), ring.seat_mm) == ([near(0, 0, 1.8)], 0)
    outside, inside = ring.parts
    assert boxed(outside.shape) == (near(-11, -11, 0), near(11, 11, 3.6))
    assert boxed(inside.shape) == (near(-4.005, -4.005, 0), near(4.005, 4.005, 3.6))
    assert (outside.cut, inside.cut) == (False, True)


def test_a_bought_bar_is_held_by_itself():
    flat = {**BOUGHT, "form": "'slot'", "direction": "'x'", "nominal_mm": 5}
    grip, bar = (boxed(part.shape) for part in built(flat)["AB"].parts)
    assert grip == (near(-2.505, -3, 0), near(2.505, 3, 9))
    assert bar == (near(-2.505, -3, 9), near(2.505, 3, 13.6))
    lying = built({**flat, "direction": "'z'", "limits_mm": [0.0, 0.0]})["AB"]
    _, bar = (boxed(part.shape) for part in lying.parts)
    assert bar == (near(-3, 9, -2.5), near(3, 9 + 3.6 + 1, 2.5))
    assert middles(lying) == [near(0, 9 + 4.6 / 2, 0)]


def test_holes_for_a_screw_keep_its_head_clear_of_the_narrowest():
    row = {"kind": "'thread'", "name": "'screw'", "nominal_mm": 4, "holes_mm": [3.2, 3.4]}
    row |= {"source": "'a test'", "direction": "'z'", "wall_mm": 4}
    bodies = built(row)
    y = 5.66 + (8 - 3.2) / 2 + 1.7
    assert middles(bodies["A"]) == [near(2 + 3.74, y, 4), near(2 + 7.48 * 1.5, y, 4)]
    assert [len(f.readings) for f in bodies["A"].features if f.role == "fit"] == [2, 0]
    assert bodies["AB"].features[0].size_mm == 4


def test_every_third_feature_is_read_unless_told_otherwise():
    gaps = [round(0.1 * k, 1) for k in range(7)]
    for every, read in ((None, [1, 4, 7]), (1, list(range(1, 8))), (2, [1, 3, 5, 7]), (9, [1])):
        more = {} if every is None else {"read_every": every}
        body = built(fit("hole", "z", 5, gaps, **more))["A"]
        fixed = [f for f in body.features if f.role == "fit"]
        assert [int(f.id[1:]) for f in fixed if f.readings] == read


def test_how_a_feature_is_read():
    def of(form, direction, **more):
        body = built(fit(form, direction, 5, [0.0], **more))["A"]
        return [(str(jaws), along) for jaws, along in body.features[0].readings]

    assert of("hole", "z") == [("inside", "x"), ("inside", "y")]
    assert of("hole", "x") == [("inside", "y"), ("inside", "z")]
    assert of("hole", "y") == [("inside", "x"), ("inside", "z")]
    assert of("pin", "z") == [("outside", "x"), ("outside", "y")]
    assert of("pin", "x") == [("outside", "y")], "its height is not its diameter"
    assert of("pin", "y") == [("outside", "x")]
    assert of("slot", "x") == [("inside", None)]
    assert of("tongue", "z") == [("outside", None)]


def test_labels_of_a_rule_stand_at_their_items_or_as_near_as_neighbours_let_them():
    def places(*sizes):
        items = [Item(f"A{n}", size) for n, size in enumerate(sizes, start=1)]
        return label_places(items, [item.id for item in items], USUAL)

    first = 1.75 - 1 + 0.4 * math.sqrt(2)  # along the edge, clear of the cut corner
    assert places(12, 8, 12) == near(6, 16, 26)
    # The first label is pushed off the corner, the second off the first by 0.8 mm.
    assert places(3, 12, 30) == near(first + 3.09, first + 3 * 3.09 + 0.8, 30)
    # From the other end likewise: 1 mm from the edge, then 0.8 mm between labels.
    assert places(30, 12, 3) == near(15, 45 - 1 - 6.18 - 0.8 - 3.09, 45 - 1 - 3.09)
    assert places(3, 5, 3) is None


def test_numbers_stand_for_ids_where_letters_are_wide():
    items = tuple(Item(f"A{n}", size) for n, size in enumerate((12, 7, 12), start=1))
    assert label_texts(items, USUAL) == ("A1", "A2", "A3")
    assert label_texts(items, Measures(0.8, 0.2)) == ("1", "2", "3")
    short = tuple(Item(f"A{n}", size) for n, size in enumerate((3, 5, 3), start=1))
    assert label_texts(short, USUAL) is None


def test_the_farther_rail_names_the_whole_length_and_directions():
    row = {"kind": "'spans'", "direction": "'x'", "tongues_mm": [12, 30], "slots_mm": [12]}
    body = built(row)["A"]
    assert [f.id for f in body.features] == ["A1", "A2", "A3", "AW"]
    assert [f.centre[0] for f in body.features] == near(6, 18, 39, 27)
    rail, wide = 5.66, 2 * 5.66 + 5  # a rail carries a line of labels
    assert [f.centre[1] for f in body.features] == near(*[wide / 2] * 4)
    assert body.box[1][:2] == near(54, wide)
    low, high = boxed(shape_of(body, "A2"))
    assert (low[:2], high[:2]) == (near(12 - 0.45, rail), near(24 + 0.45, rail + 5))
    texts = ("AW", "→X", "↑Y")
    first = 1.75 - 1 + 0.4 * math.sqrt(2)
    widths = [width_mm(text, 1.0) for text in texts]
    between = (54 - 1 - first - sum(widths)) / 2
    starts = [first, first + widths[0] + between, 54 - 1 - widths[2]]
    for text, start in zip(texts, starts, strict=True):
        assert labels(body)[text][:2] == near(start, wide - 1 - 3.66)


@pytest.mark.parametrize(("more_mm", "marks"), [(0.01, ["→X", "↑Y"]), (-0.01, ["→X"])])
def test_the_second_arrow_stands_where_there_is_room(more_mm, marks):
    texts = ("AW", "→X", "↑Y")
    first = 1.75 - 1 + 0.4 * math.sqrt(2)
    # A nozzle of 0.8 mm: letters twice as large, 1.6 mm between texts, 1 mm to the far end.
    whole = first + sum(width_mm(text, 2.0) for text in texts) + 2 * 1.6 + 1 + more_mm
    last = round(whole - 2 * 14, 4)
    row = {"kind": "'spans'", "direction": "'x'", "tongues_mm": [14, last], "slots_mm": [14]}
    body = built(row, nozzle_mm=0.8)["A"]
    assert [text for text in labels(body) if text in texts[1:]] == marks


@pytest.mark.parametrize("gauges", [1, 3])
def test_gauges_show_and_hide_their_seam_in_turn(gauges):
    bodies = built(fit("hole", "z", 5, [0.0], gauges=gauges))
    seams = [str(bodies[f"A{letter}"].features[0].seam) for letter in "GHJKL"[:gauges]]
    assert seams == ["hidden", "shown", "hidden"][:gauges]


def test_what_a_mate_bears_on():
    def contact(row, **machine):
        spec_text = "\n".join(f"{key} = {value}" for key, value in row.items()).replace("'", '"')
        spec = parse_spec(f'title = "t"\n[[row]]\n{spec_text}\n'.encode(), "t", "t.toml")
        (built_row,) = plan_coupon(spec, bed_mm=(300, 300), **machine).rows
        trial = built_row.trials[0]
        return trial.deep_mm, trial.wide_mm

    # Less a lead-in of 0.4 mm at either mouth; a tongue's edges are broken by 0.4 mm or a nozzle.
    assert contact(fit("hole", "z", 5, [0.0])) == (pytest.approx(2.8), None)
    assert contact(fit("slot", "x", 4, [0.0])) == near(2.8, 7 - 1 - 0.8)
    assert contact(fit("slot", "x", 4, [0.0]), nozzle_mm=0.6) == near(2.8, 7 - 1 - 1.2)
    assert contact(fit("slot", "z", 4, [0.0])) == near(5.66 - 0.8, 7 - 1 - 0.8)
    assert contact(fit("hole", "x", 4, [0.0])) == (pytest.approx(4.86), None)


def test_corners_of_a_slab():
    (slab,) = [p.shape for p in built(fit("hole", "z", 5, [0.0]))["A"].parts[:1]]
    (_, foot), (height, full), (top, _) = slab.levels
    assert (height, top) == (0.4, 3.6)
    foot, full = np.array(foot), np.array(full)
    high = full.max(axis=0)
    # One corner is cut by 1.75 mm; the foot is 0.4 mm smaller all round, its cut parallel.
    assert full.tolist()[0] == near(1.75, 0)
    assert full.tolist()[-1] == near(0, 1.75)
    assert foot.min(axis=0) == near(0.4, 0.4)
    assert foot.max(axis=0) == near(*(high - 0.4))
    along = 1.75 - (2 - math.sqrt(2)) * 0.4
    assert foot.tolist()[0] == near(0.4 + along, 0.4)
    apart = (full[0] - foot[0]) @ np.array([1, 1]) / math.sqrt(2)
    assert apart == pytest.approx(-0.4)
