"""What is said of a row that cannot be printed: each number in it, and which rows are judged."""

import pytest
from support.toml_text import row_of

from coupons.making.printable import row_problems, rule_items
from coupons.making.spec.coupon_spec import Assumed

FIT = {"kind": "fit", "form": "hole", "direction": "z", "size_mm": 5, "gaps_mm": [0.0, 0.2]}
SPANS = {"kind": "spans", "direction": "x", "tongues_mm": [20, 20], "slots_mm": [40]}
SCREW = {
    "kind": "thread",
    "name": "screw",
    "nominal_mm": 4,
    "holes_mm": [3.2, 3.4],
    "source": "a test",
    "direction": "z",
    "wall_mm": 4,
}
BOUGHT = {
    "kind": "hardware",
    "name": "dowel",
    "form": "hole",
    "direction": "z",
    "nominal_mm": 8,
    "limits_mm": [0.0, 0.02],
    "gaps_mm": [0.0, 0.2],
}
SIZES = {"kind": "sizes", "form": "hole", "direction": "z", "sizes_mm": [4, 5]}
SWELL = {"kind": "swell", "direction": "x", "tongues_mm": [16]}


def found(given, letter="A", **machine):
    return [str(each) for each in row_problems(row_of(given), letter, Assumed(**machine), "row")]


@pytest.mark.parametrize(
    "row", [FIT, SPANS, SCREW, BOUGHT, SIZES, SWELL, {**FIT, "form": "pin"}, {**FIT, "gauges": 1}]
)
def test_a_row_that_can_be_printed_has_no_problem(row):
    assert found(row) == []


def bend_mm(length_mm, wall_mm, depth_mm):
    # 20 N in the middle of a beam built in at both ends: bending, and shear of a short beam.
    bending = 20 * length_mm**3 / (192 * 2000 * depth_mm * wall_mm**3 / 12)
    return bending + 20 * length_mm / (4 * 5 / 6 * 2000 / 2.7 * depth_mm * wall_mm)


def test_walls_that_bend_are_told_with_their_bend():
    slot = {**FIT, "form": "slot", "direction": "x", "length_mm": 20}
    assert found(slot) == [
        f"row wall_mm: expected walls that bend less than 0.01 mm under 20 N, got "
        f"{bend_mm(20, 3, 3.6):.3f} mm on a wall 20.0 mm long. "
        "Make wall_mm or depth_mm larger, or the window shorter."
    ]
    # Around a round of 30.2 mm what lies within 45° of the thinnest place counts.
    long = 30.2 / 2**0.5
    assert found({**FIT, "size_mm": 30}) == [
        f"row wall_mm: expected walls that bend less than 0.01 mm under 20 N, got "
        f"{bend_mm(long, 3, 3.6):.3f} mm on a wall 21.4 mm long. "
        "Make wall_mm or depth_mm larger, or the window shorter."
    ]
    # A post has a ring to be tried over it, and sizes of posts have no window.
    assert len(found({**FIT, "form": "pin", "size_mm": 30})) == 1
    assert found({**SIZES, "form": "pin", "sizes_mm": [30]}) == []
    assert found({**BOUGHT, "form": "pin", "nominal_mm": 30, "outer_mm": 40}) == []
    assert len(found({**SIZES, "sizes_mm": [30]})) == 1


def test_posts_that_snap_are_told_with_their_height():
    told = (
        "row depth_mm: expected posts at most 3 times as tall as thick, got 10 mm tall and 2.5 mm "
        "thick. Make depth_mm smaller or the size larger."
    )
    assert found({**FIT, "size_mm": 2.5, "depth_mm": 9}) == [told], "the loose pin"
    pin = {**FIT, "form": "pin", "size_mm": 2.7, "depth_mm": 9}
    assert found(pin) == [told], "the thinnest of the posts"
    assert found({**SIZES, "form": "pin", "sizes_mm": [2.5, 9], "depth_mm": 9}) == [told]
    # Windows alone have no post, and bought ones do not snap.
    assert found({**SIZES, "sizes_mm": [2.5], "depth_mm": 9}) == []
    assert found({**BOUGHT, "nominal_mm": 2.5, "depth_mm": 9}) == []


def test_roofs_that_sag_are_told_by_what_makes_them_long():
    words = "expected at most 12 mm, the longest roof that prints without support, got"
    strong = {"wall_mm": 9, "depth_mm": 9}
    level = {**FIT, **strong, "form": "slot", "direction": "z", "length_mm": 12.5, "size_mm": 6}
    assert found(level) == [f"row length_mm: {words} 12.5."]
    lying = {**FIT, **strong, "direction": "y", "size_mm": 12}
    assert found(lying) == [f"row size_mm: {words} 12.2."]
    # The loose window of a lying post, but no post without one, and nothing that stands.
    assert found({**lying, "form": "pin", "size_mm": 13}) == [f"row size_mm: {words} 13."]
    assert found({**SIZES, **strong, "form": "pin", "direction": "y", "sizes_mm": [13]}) == []
    assert found({**lying, "direction": "z"}) == []
    assert found({**level, "direction": "x"}) == []
    assert found({**SIZES, **strong, "direction": "x", "sizes_mm": [4, 13]}) == [
        f"row size_mm: {words} 13."
    ]


def test_sizes_that_a_nozzle_cannot_draw_are_told_alone():
    thin = {**FIT, "size_mm": 2.1, "gaps_mm": [-0.2, 0.0], "depth_mm": 20}
    assert found(thin) == ["row gaps_mm: expected features between 2 and 300 mm, got 1.9 mm."], (
        "and nothing of its slender post"
    )
    # Two lines of 1.125 nozzles each: 2.7 mm with 1.2 mm.
    assert found({**SIZES, "sizes_mm": [2.6], "wall_mm": 9}, nozzle_mm=1.2) == [
        "row sizes_mm: expected features between 2.7 and 300 mm, got 2.6 mm."
    ]
    assert found({**SIZES, "sizes_mm": [2.7], "wall_mm": 9}, nozzle_mm=1.2) == []
    wide = {**BOUGHT, "nominal_mm": 2, "limits_mm": [0.0, 0.0], "gaps_mm": [-0.1, 0.0]}
    assert found(wide) == ["row gaps_mm: expected features between 2 and 300 mm, got 1.9 mm."]
    # The piece itself is not printed: 2 mm, drawn wider.
    assert found({**wide, "gaps_mm": [0.2]}, nozzle_mm=0.9) == []
    holes = {**SCREW, "holes_mm": [2.0, 3.0]}
    assert found(holes, nozzle_mm=1.0) == [
        "row holes_mm: expected features between 2.25 and 300 mm, got 2 mm."
    ]


def test_interference_with_bought_pieces_is_told():
    steel = {**BOUGHT, "gaps_mm": [-0.35, 0.0]}
    assert found(steel) == [
        "row gaps_mm: expected no gap below -0.3 mm for hardware, or it splits the printed wall, "
        "got -0.35."
    ]
    assert found({**FIT, "gaps_mm": [-0.35, 0.0]}) == [], "printed pieces give"


def test_a_thin_wall_around_a_screw_is_told():
    assert found({**SCREW, "nominal_mm": 4.5}) == [
        "row wall_mm: expected a wall of at least 4.5 mm around what holds itself in a hole of "
        "4.5 mm, got 4. Make wall_mm larger: a thinner wall bulges or splits."
    ]


def test_thin_walls_are_told_as_they_are_stated():
    assert found({**SIZES, "wall_mm": 2.5}) == [
        "row wall_mm: expected at least 3 mm (walls of six lines; a wide nozzle makes them "
        "thicker), got 2.5."
    ]


def test_gaps_that_fall_together_are_told_with_the_one_that_is_left():
    level = {**FIT, "form": "slot", "direction": "z", "size_mm": 4, "gaps_mm": [0.1, 0.12, 0.2]}
    assert found(level) == [
        "row gaps_mm: expected gaps across z that differ by a layer of 0.2 mm, got 0.1, 0.12, "
        "0.2, which all round to 0.2. Use gaps further apart, or thinner layers."
    ]
    five = {**level, "gaps_mm": [0.1, 0.12, 0.15, 0.2, 0.25]}
    assert "got 0.1, 0.12, 0.15, 0.2, which all" in found(five)[0], "four at most are named"
    assert found({**level, "gaps_mm": [0.1]}) == [], "one gap cannot fall together"
    assert found({**level, "gaps_mm": [0.1, 0.12, 0.4]}) == []
    assert found(level, layer_height_mm=0.1) == []


def test_notches_and_labels_of_a_rule_are_told():
    notch = "expected at least 4 mm, so that a caliper jaw reaches in, got"
    narrow = {**SPANS, "tongues_mm": [30, 30, 30], "slots_mm": [3.5, 40]}
    assert f"row slots_mm 1: {notch} 3.5." in found(narrow)
    narrow = {**SPANS, "tongues_mm": [30, 30, 30], "slots_mm": [40, 3]}
    assert f"row slots_mm 2: {notch} 3." in found(narrow)
    told = found({**SPANS, "tongues_mm": [30, 2, 2, 2, 30], "slots_mm": [40, 4, 4, 40]}, "C")
    assert told[0] == (
        "row tongues_mm, slots_mm: expected room for every label beside its block or notch, got "
        "C3 and C4 overlapping. Put a wide slot beside a narrow tongue."
    )


def test_a_rule_takes_blocks_and_notches_in_turn():
    items = rule_items(row_of({**SPANS, "tongues_mm": [20, 30, 25], "slots_mm": [40, 50]}), "C")
    assert [(item.id, item.size_mm) for item in items] == [
        ("C1", 20.0),
        ("C2", 40.0),
        ("C3", 30.0),
        ("C4", 50.0),
        ("C5", 25.0),
    ]
    assert all(item.readings == () for item in items)


def test_the_size_that_reads_furthest_off_is_told():
    long = {**SPANS, "tongues_mm": [30, 30, 30], "slots_mm": [300, 300]}
    (told,) = found(long, "D")
    # Pressed on its axis by 5 N: 600 mm of two rails and 90 mm of blocks, 10 mm high, read short.
    assert told.startswith(
        "row wall_mm: expected a rule that reads within 0.01 mm when jaws press with 5 N, got DW "
    )
    rails, whole = 2 * 5.66 * 10, (2 * 5.66 + 5) * 10
    along = 5 / 2000 * (600 / rails + 90 / whole)
    given = float(told.split("got DW ")[1].split(" mm")[0])
    assert along < given < along + 0.002
    assert told.endswith(
        " mm short. Make wall_mm larger, which widens its rails, or the rule shorter."
    )
    # A wide notch between thin blocks is pressed open further than the whole is pressed together.
    wide = {**SPANS, "tongues_mm": [30, 2, 2, 30], "slots_mm": [12, 300, 12]}
    (told,) = (each for each in found(wide, layer_height_mm=0.28) if "wall_mm" in each)
    assert ", got A4 0.01" in told
    assert " mm long. Make" in told


def test_a_rule_whose_errors_grow_is_told():
    (told,) = found({**SPANS, "tongues_mm": [2, 20, 2], "slots_mm": [12, 12]})
    assert told == (
        "row tongues_mm: expected a rule with a scale error within 0.005 % when jaws press with "
        "5 N, got 0.0101 %. Make its first and last block longer, or wall_mm larger."
    )


def test_tiles_under_their_label_are_told_by_their_number():
    assert found({**SWELL, "tongues_mm": [16, 6]}) == [
        "row tongues_mm 2: expected at least 8.18 mm, the width of the tile's own label, got 6."
    ]
