"""Every mark of a map in its place, for plain bodies whose places are known."""

import re
from xml.etree import ElementTree

import pytest

from coupons.making.bodies.built_bodies import BuiltBody, Sized
from coupons.making.bodies.shapes import Loft, Part, Prism, Text, Turned, rectangle
from coupons.making.built_rows import BuiltRow
from coupons.making.output.map import map_svg
from coupons.making.output.map_drawing import Pen, draw_body, goes_sideways, signed, upright_mark
from coupons.making.plan import PlacedBody, Plan
from coupons.making.record import CouponTrial
from coupons.making.spec.coupon_spec import Assumed, parse_spec
from coupons.terms import Direction, Form, Jaws

SVG = "{http://www.w3.org/2000/svg}"
LEFT, BOTTOM = 100.0, 50.0
SLAB_BOX = rectangle((0.0, 0.0), (30.0, 20.0))
SLAB = Part(Loft("z", ((0.0, SLAB_BOX), (4.0, SLAB_BOX))))


def spec_of(title="A plan", name="plan"):
    row = '[[row]]\nkind = "sizes"\nform = "hole"\ndirection = "z"\nsizes_mm = [8]\n'
    return parse_spec(f'title = "{title}"\n{row}'.encode(), name, f"{name}.toml")


def sized(form, size_mm, centre, axis="z", role="fit", readings=(), direction="z"):
    read = tuple((Jaws(jaws), along) for jaws, along in readings)
    where = (role, "A", centre, axis, read)
    return Sized("A1", Form(form), Direction(direction), size_mm, *where)


def group(feature, *parts, gap=None, loose=False, turn=0, slab=SLAB):
    """Return the marks of one feature of a body that stands at (0, 0), by tag."""
    body = BuiltBody("A", "A", loose, turn, (slab, *parts), (feature,))
    gaps = {} if gap is None else {"A1": gap}
    root = ElementTree.fromstring(
        draw_body(Pen(PlacedBody(body, 1, (0, 0, 0)), LEFT, BOTTOM, gaps))
    )
    return root.find("g")


def words(marks):
    """Return the middle, height and text of what is written on a feature, on the plate."""
    (text,) = marks.findall("text")
    size = float(text.get("font-size"))
    y = BOTTOM - float(text.get("y")) + 0.36 * size
    return pytest.approx((float(text.get("x")) - LEFT, y), abs=6e-3), size, text.text


def corners(path):
    """Return the corners of each closed figure of a path, on the plate."""
    return [
        [
            (round(float(x) - LEFT, 3), round(BOTTOM - float(y), 3))
            for x, y in (pair.split() for pair in figure.split("L"))
        ]
        for figure in re.findall(r"M([^zM]*)z", path)
    ]


def hole(x, y, size_mm):
    profile = ((0.0, -0.05), (size_mm / 2 + 0.45, -0.05), (size_mm / 2 + 0.45, 4.05), (0.0, 4.05))
    return Part(Turned("z", (x, y), profile, True), cut=True, feature="A1")


def test_a_hole_is_a_circle_of_its_drawn_size_with_its_gap_in_it():
    marks = group(sized("hole", 5.0, (12.0, 8.0, 2.0)), hole(12.0, 8.0, 5.0), gap=0.15)
    (circle,) = marks.findall("circle")
    found = [float(circle.get(key)) for key in ("cx", "cy", "r")]
    assert found == [LEFT + 12, BOTTOM - 8, 2.5]
    at, size, text = words(marks)
    assert (at, size, text) == ((12, 8), 1.45, "+0.15")  # 0.58 of half its width
    assert marks.find("title").text == "A1: hole 5 mm, direction z, gap +0.15 mm"


@pytest.mark.parametrize(
    ("form", "size_mm", "read", "font", "y"),
    [
        ("hole", 5.0, True, 1.15, 8.0),  # jaws within: 0.46 of half its width
        ("hole", 4.4, False, 1.28, 8.0),  # 0.58 · 2.2 = 1.276
        ("hole", 4.39, False, 1.3, 8.0 + 2.195 + 1.1),  # too small: behind it
        ("hole", 4.0, True, 1.3, 8.0 + 2 + 1.1),
        ("hole", 5.6, False, 1.6, 8.0),  # 1.6 at most
        ("hole", 7.0, True, 1.6, 8.0),
        ("pin", 3.0, True, 0.87, 8.0),
        ("pin", 5.0, True, 1.45, 8.0),
    ],
)
def test_words_on_a_round_are_as_large_as_it_has_room_for(form, size_mm, read, font, y):
    jaws = "inside" if form == "hole" else "outside"
    readings = ((jaws, "x"),) if read else ()
    one = sized(form, size_mm, (12.0, 8.0, 2.0), readings=readings)
    part = hole(12.0, 8.0, size_mm)
    if form == "pin":
        part = Part(part.shape, feature="A1")
    marks = group(one, part, gap=-0.1)
    at, size, text = words(marks)
    assert (at, size, text) == ((12, y), font, "−0.1")
    assert marks.find("circle").get("stroke-dasharray") is None
    for path in marks.findall("path"):
        for tip, *_ in corners(path.get("d")):
            assert tip[1] == 8, "jaws stand beside its middle, wherever its words are"


def slot(x, y, size_mm, long_mm):
    half = (size_mm / 2 + 0.45, long_mm / 2)
    outline = rectangle((x - half[0], -0.05), (x + half[0], 4.05))
    return Part(Prism("y", outline, y - half[1], y + half[1]), cut=True, feature="A1")


def test_a_slot_is_a_rectangle_with_its_gap_in_its_lower_and_jaws_in_its_upper_half():
    readings = (("inside", None),)
    one = sized("slot", 4.0, (12.0, 10.0, 2.0), axis="x", readings=readings, direction="x")
    marks = group(one, slot(12.0, 10.0, 4.0, 8.0), gap=0.0)
    shape, jaws = marks.findall("path")
    assert corners(shape.get("d")) == [[(10, 6), (14, 6), (14, 14), (10, 14)]]
    at, size, text = words(marks)
    # A quarter of half its length below the middle.
    assert (at, size, text) == ((12, 9), 1.16, "0")
    # Tips on its faces, 0.6 of half its length above the middle, 0.95 long and 1.045 wide.
    y, half = 10 + 0.6 * 4, 0.5225
    assert corners(jaws.get("d")) == [
        [pytest.approx(p, abs=2e-3) for p in ((10, y), (10.95, y + half), (10.95, y - half))],
        [pytest.approx(p, abs=2e-3) for p in ((14, y), (13.05, y + half), (13.05, y - half))],
    ]


def test_jaws_outside_a_post_stand_on_its_outside_along_either_way():
    readings = (("outside", "x"), ("outside", "y"))
    one = sized("pin", 6.0, (12.0, 8.0, 5.0), readings=readings)
    marks = group(one, Part(hole(12.0, 8.0, 6.0).shape, feature="A1"))
    across, along = marks.findall("path")
    low, high = corners(across.get("d"))
    assert low[0] == (9, 8)
    assert [x for x, _ in low[1:]] == pytest.approx([8.05, 8.05])
    assert high[0] == (15, 8)
    low, high = corners(along.get("d"))
    assert (low[0], high[0]) == ((12, 5), (12, 11))
    assert [y for _, y in high[1:]] == pytest.approx([11.95, 11.95])
    assert not marks.findall("text"), "it is tried at nothing"


def test_on_a_turned_body_a_reading_along_x_lies_along_its_own_y():
    readings = (("outside", "x"),)
    one = sized("pin", 6.0, (12.0, 8.0, 5.0), readings=readings)
    marks = group(one, Part(hole(12.0, 8.0, 6.0).shape, feature="A1"), turn=90)
    ((low, high),) = [corners(path.get("d")) for path in marks.findall("path")]
    # Its middle, (12, 8), is turned to (−8, 12).
    assert sorted((low[0], high[0])) == [(-11, 12), (-5, 12)]


def upright(marks):
    """Return the middle of the ring of a reading along z, on the plate."""
    rings = [c for c in marks.findall("circle") if c.get("fill") == "none"]
    return [(float(c.get("cx")) - LEFT, BOTTOM - float(c.get("cy"))) for c in rings]


def test_a_height_has_a_dot_above_its_middle():
    outline = rectangle((5.0, 4.0), (13.0, 14.0))
    block = Part(Loft("z", ((1.0, outline), (9.0, outline))), feature="A1")
    one = sized("tongue", 8.0, (9.0, 9.0, 5.0), readings=(("depth", None),))
    marks = group(one, block)
    assert upright(marks) == [pytest.approx((9, 9 + 0.62 * 5))]
    (shape,) = marks.findall("path")
    assert corners(shape.get("d")) == [[(5, 4), (13, 4), (13, 14), (5, 14)]]


def sideways_hole(x, z, size_mm):
    r = size_mm / 2 + 0.45
    profile = ((0.0, -0.05), (r, -0.05), (r, 20.05), (0.0, 20.05))
    return Part(Turned("y", (x, z), profile, True), cut=True, feature="A1")


def test_a_window_through_a_wall_has_its_words_and_jaws_behind_it():
    readings = (("inside", "x"), ("inside", "z"))
    one = sized("hole", 6.0, (12.0, 10.0, 5.0), axis="y", readings=readings, direction="y")
    marks = group(one, sideways_hole(12.0, 5.0, 6.0), gap=0.2)
    shape, jaws = marks.findall("path")
    # Through the whole wall of 20 mm, however far its cutter stands out.
    assert corners(shape.get("d")) == [[(9, 0), (15, 0), (15, 20), (9, 20)]]
    assert shape.get("stroke-dasharray") == ".8 .5"
    at, size, text = words(marks)
    assert (at, size, text) == ((12, 20 + 1.7), 1.38, "+0.2")  # 0.46 · 3
    low, high = corners(jaws.get("d"))
    assert (low[0], high[0]) == ((9, 21.7), (15, 21.7))
    assert upright(marks) == [pytest.approx((12 - 3 - 1, 21.7))]


def test_words_on_a_lying_tongue_stand_in_its_middle():
    outline = rectangle((5.0, 4.0), (13.0, 14.0))
    bar = Part(Loft("z", ((0.0, outline), (4.0, outline))), feature="A1")
    at, _, text = words(group(sized("tongue", 4.0, (9.0, 9.0, 2.0)), bar, gap=0.1))
    assert (at, text) == ((9, 9), "+0.1")


def test_a_lying_slot_is_dashed_and_as_wide_as_its_cutter():
    outline = rectangle((-0.05, 3.0), (20.05, 7.0))
    window = Part(Prism("x", outline, 8.5, 15.5), cut=True, feature="A1")
    one = sized("slot", 4.0, (12.0, 10.0, 5.0), readings=(("inside", None),))
    marks = group(one, window)
    (shape,) = marks.findall("path")
    assert corners(shape.get("d")) == [[(8.5, 0), (15.5, 0), (15.5, 20), (8.5, 20)]]
    assert upright(marks) == [pytest.approx((12 - 3.5 - 1, 21.7))]


@pytest.mark.parametrize(
    ("shape", "sideways"),
    [
        (Turned("y", (0, 0), ((0, 0), (1, 0), (0, 1)), True), True),
        (Turned("z", (0, 0), ((0, 0), (1, 0), (0, 1)), True), False),
        (Prism("x", SLAB_BOX, 0, 1), True),
        (Prism("y", SLAB_BOX, 0, 1), False),
        (Prism("z", SLAB_BOX, 0, 1), False),
        (Text("A", (0, 0, 0)), False),
    ],
)
def test_windows_go_sideways_along_y_if_round_and_are_drawn_along_x_if_flat(shape, sideways):
    assert goes_sideways(Part(shape)) is sideways


def test_a_tile_is_drawn_whole_though_it_is_read_behind_its_label():
    outline = rectangle((0.0, 0.0), (16.0, 14.0))
    slab = Part(Loft("z", ((0.0, outline), (1.0, outline))), feature="A1")
    one = sized("tongue", 16.0, (8.0, 9.5, 0.0), "x", "swell", (("outside", None),), direction="x")
    marks = group(one, slab=slab)
    shape, jaws = marks.findall("path")
    assert corners(shape.get("d")) == [[(0, 0), (16, 0), (16, 14), (0, 14)]]
    low, _ = corners(jaws.get("d"))
    assert low[0] == (0, round(9.5 + 0.6 * 7, 3))


def test_a_length_of_the_whole_body_has_no_shape_but_jaws_at_its_middle():
    one = sized("tongue", 20.0, (15.0, 10.0, 2.0), "y", "span", (("outside", None),), "y")
    marks = group(one)
    (jaws,) = marks.findall("path")
    low, high = corners(jaws.get("d"))
    assert (low[0], high[0]) == ((15, 0), (15, 20))
    assert low[1] == pytest.approx((15.522, -0.95), abs=2e-3)


@pytest.mark.parametrize("text", ["A1", "A1↔", "A1≡"])
def test_a_label_stands_in_the_group_of_what_it_names(text):
    one = sized("hole", 5.0, (12.0, 8.0, 2.0))
    marks = group(one, hole(12.0, 8.0, 5.0), Part(Text(text, (9.0, 1.0, 4.0))))
    (letters,) = [path for path in marks.findall("path") if path.get("fill") == "none"]
    # The first stroke of an A goes from its foot four steps of 0.46 mm up, half a pen in.
    first = re.match(r"M(\S+) (\S+)L(\S+) ([\d.]+)", letters.get("d"))
    x0, y0, x1, y1 = map(float, first.groups())
    assert (x0 - LEFT, BOTTOM - y0) == pytest.approx((9.45, 1.45))
    assert (x1 - LEFT, BOTTOM - y1) == pytest.approx((9.45, 1.45 + 4 * 0.46))
    assert letters.get("stroke-width") == "0.9"
    other = group(one, hole(12.0, 8.0, 5.0), Part(Text("A2", (9.0, 1.0, 4.0))))
    assert not other.findall("path")


def test_gaps_have_their_sign():
    assert [signed(gap) for gap in (-0.25, 0.0, 0.001, 1.0)] == ["−0.25", "0", "+0.001", "+1"]


def test_the_mark_of_an_upright_reading_is_a_ring_around_a_dot():
    ring, dot = ElementTree.fromstring(f"<g>{upright_mark(3.5, -1.25)}</g>")
    assert {(c.get("cx"), c.get("cy")) for c in (ring, dot)} == {("3.5", "-1.25")}
    assert (ring.get("r"), dot.get("r"), dot.get("stroke")) == (".8", ".3", None)


def plan_of(*placed, deep_mm=None, title="A plan", name="plan"):
    trial = CouponTrial(feature="A1", mate="AG", gap_mm=0.0, deep_mm=deep_mm)
    rows = (BuiltRow("A", (), (trial,)),)
    return Plan(spec_of(title, name), Assumed(bed_mm=(150.0, 160.5)), rows, placed)


def plain(name, x, y, wide, deep, plate=1, loose=False, features=()):
    outline = rectangle((0.0, 0.0), (wide, deep))
    part = Part(Loft("z", ((0.0, outline), (4.0, outline))))
    return PlacedBody(
        BuiltBody(name, name[0], loose, 0, (part,), tuple(features)), plate, (x, y, 0.0)
    )


def drawn(plan):
    root = ElementTree.fromstring(map_svg(plan))
    legend = [
        (g.get("transform")[len("translate(") : -1], [t.text for t in g.iter(f"{SVG}text")][-1])
        for g in root.findall(f"{SVG}g")
        if g.get("transform")
    ]
    return root, legend


def test_a_map_of_two_plates_is_as_large_as_they_and_the_legend_need():
    plan = plan_of(
        plain("A", 10, 20, 200, 30),
        plain("AG", 15, 60, 20, 25, loose=True),
        plain("B", 40, 50, 60, 30, plate=2),
    )
    root, legend = drawn(plan)
    # A title of 9.5 mm, 7 mm above each plate, 4 mm around its bodies, 19 mm below: the first
    # plate's bodies reach over 200 by 65 mm, the second's over 60 by 30.
    high = 9.5 + (7 + 65 + 8) + (7 + 30 + 8) + 19
    assert root.get("viewBox") == f"0 0 212 {high:g}"  # 2 mm beside the frames
    assert (root.get("width"), root.get("height")) == ("212mm", f"{high:g}mm")
    assert root.get("aria-label") == "Map of A plan (plan)"
    first, second = (g for g in root.findall(f"{SVG}g") if g.get("data-plate"))
    frames = [g.find(f"{SVG}rect") for g in (first, second)]
    placed = [[f.get(key) for key in ("x", "y", "width", "height")] for f in frames]
    assert placed == [["2.0", "16.5", "208", "73"], ["2.0", "96.5", "68", "38"]]
    told = [g.find(f"{SVG}text") for g in (first, second)]
    assert [t.get("y") for t in told] == ["14.5", "94.5"]
    assert told[1].text == (
        "Plate 2 of 2, seen from above as printed, 1 : 1. Laid out for a bed of 150 × 160.5 mm."
    )
    # The low corner of the first plate's bodies, (10, 20), lies 6 mm in and 4 mm over its foot.
    outline = first.find(f"{SVG}g").find(f"{SVG}path").get("d")
    assert outline.startswith("M6 85.5L206 85.5L206 55.5")
    loose = first.findall(f"{SVG}g")[1].find(f"{SVG}path").get("d")
    assert loose.startswith("M11 45.5L31 45.5")
    # Six millimetres below the last frame, in columns of three, 63 mm and 4.4 mm apart.
    y = 9.5 + 80 + 45 + 6
    assert [at for at, _ in legend][:3] == [f"2 {y:g}", f"2 {y + 4.4:g}", f"2 {y + 8.8:g}"]
    assert legend[3][0] == f"65 {y:g}"
    assert [text for _, text in legend] == [
        "fixed",
        "caliper jaw",
        "loose: try it in or over a fixed one",
        "drawn gap, mm over both sides",
    ]


def test_a_small_map_is_as_wide_as_its_legend():
    plan = plan_of(plain("A", 10, 20, 30, 20), title="Plan")
    root, legend = drawn(plan)
    assert root.get("viewBox") == f"0 0 134 {9.5 + 7 + 28 + 19:g}"
    assert root.get("aria-label") == "Map of Plan", "a title that is the name is not said twice"
    assert not any(text.startswith("loose") for _, text in legend)


def test_a_frame_is_drawn_to_a_thousandth():
    root, _ = drawn(plan_of(plain("A", 10, 20, 30.0004, 20.0016)))
    frame = next(g for g in root.findall(f"{SVG}g") if g.get("data-plate")).find(f"{SVG}rect")
    assert (frame.get("width"), frame.get("height")) == ("38", "28.002")


def test_a_mark_that_names_nothing_is_drawn_on_its_body_once_and_nothing_else_is_written():
    one = sized("tongue", 20.0, (15.0, 10.0, 2.0), "y", "span")
    label, mark = Part(Text("A1", (3.0, 1.0, 4.0))), Part(Text("↑Y", (20.0, 1.0, 4.0)))
    body = BuiltBody("A", "A", False, 0, (SLAB, label, mark), (one,))
    text = draw_body(Pen(PlacedBody(body, 1, (0, 0, 0)), LEFT, BOTTOM, {}))
    root = ElementTree.fromstring(text)
    own, others = root.find("g").findall("path"), root.findall("path")[1:]
    # An A of five strokes and a 1 of three; an arrow of three, a Y of three.
    assert [path.get("d").count("M") for path in own] == [5 + 3]
    assert [path.get("d").count("M") for path in others] == [3 + 3]
    assert "None" not in text


@pytest.mark.parametrize(("deep_mm", "is_told"), [(20.0, True), (19.9, False), (None, False)])
def test_a_long_row_has_a_line_of_its_own_below_the_legend(deep_mm, is_told):
    root, _ = drawn(plan_of(plain("A", 10, 20, 30, 20), deep_mm=deep_mm))
    high = 9.5 + 7 + 28 + 19 + (4.4 if is_told else 0)
    assert root.get("viewBox") == f"0 0 134 {high:g}"
    lines = [t for t in root.findall(f"{SVG}text") if "long one" in t.text]
    assert [(t.get("x"), t.get("y")) for t in lines] == [("2", f"{44.5 + 6 + 13.2:g}")] * is_told


def test_the_legend_names_upright_readings_where_there_are_some():
    round_ = sized("hole", 5.0, (12.0, 8.0, 2.0), "y", readings=(("inside", "z"),))
    height = sized("tongue", 4.0, (12.0, 8.0, 2.0), "z", readings=(("outside", None),))
    level = sized("hole", 5.0, (12.0, 8.0, 2.0), "z", readings=(("inside", "x"),))
    across = sized("slot", 5.0, (12.0, 8.0, 2.0), "x", readings=(("inside", None),))
    for features, is_told in (((round_,), 1), ((height,), 1), ((level, across), 0), ((), 0)):
        plan = plan_of(plain("A", 10, 20, 30, 20, features=features))
        _, legend = drawn(plan)
        assert sum("vertical" in text for _, text in legend) == is_told
