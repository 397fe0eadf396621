"""Each limit of a spec from both sides: the last value that may be, the first that may not."""

import pytest
from support.gauge_plate import part_text
from support.toml_text import told

from coupons.errors import CouponError
from coupons.making.plan import plan_coupon
from coupons.making.spec.coupon_spec import parse_spec
from coupons.making.spec.part_spec import parse_part

HOLE = {"kind": "fit", "form": "hole", "direction": "z", "size_mm": 5, "gaps_mm": [0.0, 0.2]}
PIN = {**HOLE, "form": "pin"}
LYING = {**HOLE, "direction": "x", "gaps_mm": [0.0], "wall_mm": 6, "depth_mm": 6}
SLOT = {**HOLE, "form": "slot", "direction": "x"}
LEVEL = {**SLOT, "direction": "z", "size_mm": 4}
SIZES = {"kind": "sizes", "form": "hole", "direction": "z", "sizes_mm": [4, 5]}
SPANS = {"kind": "spans", "direction": "x", "tongues_mm": [12, 12], "slots_mm": [8]}
SWELL = {"kind": "swell", "direction": "x", "tongues_mm": [16]}
DOWEL = {
    "kind": "hardware",
    "name": "dowel",
    "form": "hole",
    "direction": "z",
    "nominal_mm": 8,
    "limits_mm": [0.0, 0.02],
    "gaps_mm": [0.0, 0.2],
}
RING = {**DOWEL, "form": "pin", "outer_mm": 22}
SCREW = {
    "kind": "thread",
    "name": "screw",
    "nominal_mm": 4,
    "holes_mm": [3.4],
    "source": "a test",
    "direction": "z",
    "wall_mm": 4,
}


def spec_text(row, assumed="", head='title = "t"'):
    lines = "\n".join(f"{key} = {told(value)}" for key, value in row.items())
    return f"{head}\n[assumed]\n{assumed}\n[[row]]\n{lines}\n"


def is_read(text):
    try:
        return parse_spec(text.encode(), "t", "t.toml")
    except CouponError:
        return None


def is_planned(text):
    try:
        return plan_coupon(parse_spec(text.encode(), "t", "t.toml"), bed_mm=(400, 400))
    except CouponError:
        return None


RANGES = {
    "wall_mm": (HOLE, 0.5, 50, 0.01),
    "depth_mm": (HOLE, 2, 40, 0.01),
    "length_mm": (HOLE, 4, 60, 0.01),
    "size_mm": (HOLE, 2, 300, 0.01),
    "gauges": (HOLE, 1, 5, 1),
    "read_every": (HOLE, 1, 99, 1),
    "nominal_mm": (DOWEL, 2, 300, 0.01),
}


@pytest.mark.parametrize("key", list(RANGES))
def test_a_value_of_a_row_lies_within_its_range_both_ends_included(key):
    base, low, high, step = RANGES[key]
    for value in (low, high):
        assert is_read(spec_text({**base, key: value})), value
    for value in (low - step, high + step):
        assert not is_read(spec_text({**base, key: value})), value


@pytest.mark.parametrize(
    ("key", "low", "high"),
    [("layer_height_mm", 0.04, 1.0), ("nozzle_mm", 0.1, 1.5), ("bed_mm", 40, 2000)],
)
def test_a_value_of_the_machine_lies_within_its_range_both_ends_included(key, low, high):
    beside = {"layer_height_mm": "nozzle_mm = 1.4\n", "nozzle_mm": "layer_height_mm = 0.08\n"}

    def of_machine(value):
        written = f"[{value}, {value}]" if key == "bed_mm" else value
        return spec_text(HOLE, f"{beside.get(key, '')}{key} = {written}")

    assert is_read(of_machine(low))
    assert is_read(of_machine(high))
    assert not is_read(of_machine(low - 0.01))
    assert not is_read(of_machine(high + 0.01))


def test_layers_are_at_most_four_fifths_of_the_nozzle():
    for nozzle_mm, layer_mm in ((0.4, 0.32), (0.6, 0.48)):
        machine = f"nozzle_mm = {nozzle_mm}\nlayer_height_mm = "
        assert is_read(spec_text(HOLE, f"{machine}{layer_mm}"))
        assert not is_read(spec_text(HOLE, f"{machine}{layer_mm + 0.001}"))


LISTS = {
    "gaps": (lambda n: {**HOLE, "gaps_mm": [round(0.001 * k, 3) for k in range(n)]}, 1, 300),
    "gaps of a range": (
        lambda n: {**HOLE, "gaps_mm": {"start": 0, "stop": round(0.01 * (n - 1), 2), "step": 0.01}},
        1,
        300,
    ),
    "sizes": (lambda n: {**SIZES, "sizes_mm": [2 + k for k in range(n)]}, 1, 299),
    "jobs": (lambda n: {**HOLE, "jobs": list(range(1, n + 1))}, 0, 9),
    "blocks": (lambda n: {**SPANS, "tongues_mm": [9] * n, "slots_mm": [9] * (n - 1)}, 2, 60),
    "tiles": (lambda n: {**SWELL, "tongues_mm": [16] * n}, 1, 30),
    "windows of tiles": (lambda n: {**SWELL, "slots_mm": [8] * n}, 0, 30),
    "holes for a screw": (
        lambda n: {**SCREW, "holes_mm": [round(2 + 0.01 * k, 2) for k in range(n)]},
        1,
        60,
    ),
    "letters of a name": (lambda n: {**DOWEL, "name": "d" * n}, 1, 200),
}


@pytest.mark.parametrize("name", list(LISTS))
def test_a_list_has_as_many_items_as_are_allowed(name):
    made, low, high = LISTS[name]
    assert is_read(spec_text(made(low)))
    assert is_read(spec_text(made(high)))
    assert low == 0 or not is_read(spec_text(made(low - 1)))
    assert not is_read(spec_text(made(high + 1)))


@pytest.mark.parametrize(
    ("low", "high"),
    [
        ({**HOLE, "gaps_mm": [-1.0]}, {**HOLE, "gaps_mm": [-1.01]}),
        ({**HOLE, "gaps_mm": [3.0]}, {**HOLE, "gaps_mm": [3.01]}),
        ({**DOWEL, "limits_mm": [-1, 1]}, {**DOWEL, "limits_mm": [-1.01, 1]}),
        ({**DOWEL, "limits_mm": [0.5, 0.5]}, {**DOWEL, "limits_mm": [0.5, 1.01]}),
        # A head is at least as wide as its shank; a ring is wider than its hole.
        ({**DOWEL, "outer_mm": 8}, {**DOWEL, "outer_mm": 7.99}),
        ({**RING, "outer_mm": 8.01}, {**RING, "outer_mm": 8}),
        ({**SCREW, "holes_mm": [4]}, {**SCREW, "holes_mm": [4.01]}),
        ({**HOLE, "jobs": [1, 9]}, {**HOLE, "jobs": [1, 10]}),
        ({**HOLE, "jobs": [1, 2]}, {**HOLE, "jobs": [0, 1]}),
        (
            {**HOLE, "gaps_mm": {"start": 0, "stop": 2, "step": 1}},
            {**HOLE, "gaps_mm": {"start": 0, "stop": 2, "step": 1.01}},
        ),
        (
            {**HOLE, "gaps_mm": {"start": 0.1, "stop": 0.1, "step": 0.1}},
            {**HOLE, "gaps_mm": {"start": 0.1, "stop": 0.09, "step": 0.1}},
        ),
    ],
)
def test_the_first_of_two_rows_may_be_and_the_second_may_not(low, high):
    # Where rows are printed on several jobs, another row is on all of them.
    every = "[[row]]\n" + spec_text(HOLE).split("[[row]]\n")[1]
    assert is_read(spec_text(low) + every)
    assert not is_read(spec_text(high) + every)


def test_words_of_a_spec_are_not_endless():
    for key, most in (("title", 200), ("about", 2000)):
        beside = 'title = "t"\n' if key == "about" else ""
        assert is_read(spec_text(HOLE, head=f'{beside}{key} = "{"w" * most}"'))
        assert not is_read(spec_text(HOLE, head=f'{beside}{key} = "{"w" * (most + 1)}"'))


GEOMETRY = {
    "wall": ({**HOLE, "wall_mm": 3}, {"wall_mm": 2.999}),
    "notch of a rule": ({**SPANS, "slots_mm": [4]}, {"slots_mm": [3.99]}),
    # A tile's own label: two letters of 2.74 mm, 0.7 mm apart, 1 mm from either edge.
    "tile": ({**SWELL, "tongues_mm": [8.18]}, {"tongues_mm": [8.17]}),
    "smallest post": ({**PIN, "size_mm": 2.3, "gaps_mm": [0.3]}, {"gaps_mm": [0.301]}),
    "largest window": (
        {**HOLE, "size_mm": 299.8, "gaps_mm": [0.2], "wall_mm": 50, "depth_mm": 40},
        {"gaps_mm": [0.21]},
    ),
    "roof over a slot": (
        {**LEVEL, "length_mm": 12, "wall_mm": 6, "depth_mm": 6},
        {"length_mm": 12.01},
    ),
    "roof over a hole": ({**LYING, "size_mm": 12}, {"size_mm": 12.01}),
    "roof over a hole with a gap": (
        {**LYING, "size_mm": 11.8, "gaps_mm": [0.2]},
        {"gaps_mm": [0.21]},
    ),
    # 1 mm more than its depth stands out of the mate: 6 mm tall and 2 mm thick.
    "tall post": ({**PIN, "size_mm": 2, "gaps_mm": [0.0], "depth_mm": 5}, {"depth_mm": 5.1}),
    "interference with bought": ({**DOWEL, "gaps_mm": [-0.3]}, {"gaps_mm": [-0.301]}),
    "wall around a screw": (SCREW, {"wall_mm": 3.99}),
    "gaps a layer apart": (
        {**LEVEL, "gaps_mm": [0.1, 0.3]},
        {"gaps_mm": [0.1, 0.29]},
    ),
}


@pytest.mark.parametrize("name", list(GEOMETRY))
def test_a_limit_of_the_geometry_may_be_reached_and_not_passed(name):
    row, past = GEOMETRY[name]
    assert is_planned(spec_text(row))
    assert not is_planned(spec_text({**row, **past}))


def test_walls_bend_by_a_hundredth_at_most_under_a_firm_push():
    # 20 N in the middle of a beam that is built in at both ends: F L³/(192 E I) + F L/(4 k G A)
    # with 2000 N/mm², Poisson's ratio 0.35 and k = 5/6; its depth of 3.6 mm is 18 whole layers.
    def bend_mm(length_mm, wall_mm):
        bending = 20 * length_mm**3 / (192 * 2000 * 3.6 * wall_mm**3 / 12)
        return bending + 20 * length_mm / (4 * 5 / 6 * 2000 / 2.7 * 3.6 * wall_mm)

    for length_mm in (10.0, 14.0):
        wall_mm = 3.0
        while bend_mm(length_mm, wall_mm) > 0.01:
            wall_mm += 0.001
        slot = {**SLOT, "length_mm": length_mm}
        assert wall_mm > 3
        assert is_planned(spec_text({**slot, "wall_mm": round(wall_mm, 4)}))
        assert not is_planned(spec_text({**slot, "wall_mm": round(wall_mm - 0.002, 4)}))


LENGTH = 'name = "L24"\nform = "tongue"\ndirection = "x"\ndrawn_mm = 24'
BORE = 'name = "D8"\nform = "hole"\ndirection = "z"\ndrawn_mm = 8'


def is_part(text):
    try:
        return parse_part(text.encode(), "part", "part.toml")
    except CouponError:
        return None


@pytest.mark.parametrize(
    ("text", "last", "past"),
    [
        (part_text(LENGTH), ("= 24", "= 0.5"), ("= 24", "= 0.499")),
        (part_text(LENGTH), ("= 24", "= 500"), ("= 24", "= 500.1")),
        (part_text(LENGTH), ("L24", "L" * 16), ("L24", "L" * 17)),
        (part_text(LENGTH), ("= 0.001", "= 0.0001"), ("= 0.001", "= 0.00009")),
        (part_text(LENGTH), ("= 0.001", "= 1"), ("= 0.001", "= 1.01")),
        (part_text(LENGTH), ("= 0.004", "= 1"), ("= 0.004", "= 1.01")),
        (part_text(LENGTH), ("jaw_land_mm = 0", "jaw_land_mm = 5"), ("land_mm = 0", "land_mm = 6")),
        (part_text(LENGTH), ("jaw_land_mm = 0", ""), ("land_mm = 0", "land_mm = -0.1")),
        (part_text(LENGTH), ("height gauge", "g" * 60), ("height gauge", "g" * 61)),
        (part_text(LENGTH), ("Gauge block plate", "g" * 200), ("Gauge block plate", "g" * 201)),
        # A height is read from above with the depth bar too, a length is not.
        (
            part_text(LENGTH.replace('"x"', '"z"') + '\non_bed = false\njaws = "outside"'),
            ('"outside"', '"depth"'),
            ('"outside"', '"inside"'),
        ),
        (part_text(LENGTH + '\njaws = "outside"'), ("", ""), ('"outside"', '"depth"')),
        (part_text(BORE + '\njaws = "inside"'), ("", ""), ('"inside"', '"outside"')),
        (part_text(BORE + '\nalong = ["x"]'), ('["x"]', '["y", "x"]'), ('"x"]', '"z"]')),
        # A lying hole has a lowest face on the bed at most; an upright one is read there.
        (part_text(BORE + "\nat_bed = true"), ("", ""), ('"z"', '"x"')),
        (part_text(BORE.replace('"z"', '"x"') + "\non_bed = true"), ("", ""), ('"x"', '"z"')),
        (part_text(LENGTH + "\nat_bed = true"), ("", ""), ('"x"', '"z"')),
        (part_text(LENGTH + '\ndatum = "left"'), ("", ""), ('"tongue"', '"pin"')),
    ],
)
def test_the_first_of_two_changes_of_a_part_may_be_and_the_second_may_not(text, last, past):
    assert is_part(text.replace(*last))
    assert not is_part(text.replace(*past))


def test_a_size_with_a_form_or_direction_that_cannot_be_has_no_other_problem():
    """What rests on the form or the direction is not judged where that one is at fault itself."""
    more = '\non_bed = true\nat_bed = true\njaws = "depth"\nalong = ["x", "x"]'
    for at_fault in (LENGTH.replace('"tongue"', '"groove"'), LENGTH.replace('"x"', '"w"')):
        with pytest.raises(CouponError) as caught:
            parse_part(part_text(at_fault + more).encode(), "part", "part.toml")
        assert len(caught.value.problems) == 1


def test_what_is_said_of_a_size_is_kept():
    (bore,) = is_part(part_text(BORE + "\nat_bed = true")).sizes
    assert (bore.at_bed, bore.on_bed, str(bore.jaws), bore.datum) == (True, False, "inside", None)
    flat = LENGTH.replace('"x"', '"z"') + '\non_bed = true\ndatum = "base"\nat_bed = false'
    (height,) = is_part(part_text(flat)).sizes
    assert (height.at_bed, height.on_bed, height.datum) == (False, True, "base")
    assert str(height.jaws) == "outside"
    (crosswise,) = is_part(part_text(BORE + '\nalong = ["y", "x"]')).sizes
    assert crosswise.along == ("y", "x")
