"""What the map shows of one body lies where the record says that it is printed."""

import math
import re
from functools import cache
from xml.etree import ElementTree

import numpy as np
import pytest

from coupons.making.bodies.shapes import Text
from coupons.making.output.map_drawing import (
    FIXED,
    FIXED_POST,
    GAP_INK,
    INK,
    JAW_INK,
    LOOSE,
    LOOSE_POST,
    PAPER,
    Pen,
    draw_body,
)
from coupons.making.plan import plan_coupon, record
from coupons.making.spec.coupon_spec import load_spec, shipped_specs
from coupons.terms import ROUND, Direction, Form, Jaws

LEFT, BOTTOM = 7.0, 260.0
HALF = math.sqrt(0.5)
LIES = {
    Direction.X: (1.0, 0.0),
    Direction.Y: (0.0, 1.0),
    Direction.XY_PLUS: (HALF, HALF),
    Direction.XY_MINUS: (HALF, -HALF),
}


def figures(path):
    """Return the closed figures of a path, each an array of corners on the plate."""
    return [
        np.array([[float(v) for v in pair.split()] for pair in figure.split("L")]) * (1, -1)
        + (-LEFT, BOTTOM)
        for figure in re.findall(r"M([^zM]*)z", path)
    ]


def strokes(path):
    """Return the strokes of letters, shape (n, 2, 2), on the plate."""
    ends = re.findall(r"M(\S+) ([^L]+)L([^ ]+) ([^M]+)", path)
    return np.array(ends, float).reshape(-1, 2, 2) * (1, -1) + (-LEFT, BOTTOM)


class Drawn:
    """The marks of one feature's group, in coordinates of the plate."""

    def __init__(self, group):
        kinds = {"letters": [], "jaws": [], "rings": [], "shape": [], "words": []}
        for mark in group:
            if mark.get("stroke") == INK and mark.get("fill") == "none":
                kinds["letters"].append(strokes(mark.get("d")))
            elif mark.get("fill") == JAW_INK and mark.tag == "path":
                kinds["jaws"] += figures(mark.get("d"))
            elif mark.get("stroke") == JAW_INK and mark.get("r") == ".8":
                kinds["rings"].append(centre(mark))
            elif mark.get("stroke") == INK:
                kinds["shape"].append(mark)
            elif mark.tag == "text":
                kinds["words"].append(mark)
        self.__dict__.update(kinds)

    @property
    def extent(self):
        """Low and high corner of the feature's shape."""
        (mark,) = self.shape
        if mark.tag == "circle":
            return centre(mark) - float(mark.get("r")), centre(mark) + float(mark.get("r"))
        (corners,) = figures(mark.get("d"))
        return corners.min(axis=0), corners.max(axis=0)

    def along(self, way):
        """From where to where the shape reaches along a way on the plate."""
        (mark,) = self.shape
        if mark.tag == "circle":
            middle, r = centre(mark) @ way, float(mark.get("r"))
            return middle - r, middle + r
        (corners,) = figures(mark.get("d"))
        return min(corners @ way), max(corners @ way)


def centre(circle):
    return np.array([float(circle.get("cx")) - LEFT, BOTTOM - float(circle.get("cy"))])


@cache
def drawn(name):
    """Return each placed body of a spec with its drawing, and the recorded features by id."""
    plan = plan_coupon(load_spec(name))
    gaps = {trial.feature: trial.gap_mm for row in plan.rows for trial in row.trials}
    coupon = record(plan)
    bodies = [
        (item, ElementTree.fromstring(draw_body(Pen(item, LEFT, BOTTOM, gaps))))
        for item in plan.placed
    ]
    groups = {
        group.get("data-id"): Drawn(group) for _, root in bodies for group in root.findall("g")
    }
    return bodies, groups, {f.id: f for f in coupon.features}, coupon.readings, gaps


@pytest.mark.parametrize("name", shipped_specs())
def test_a_body_is_drawn_on_what_it_covers(name):
    for item, root in drawn(name)[0]:
        (outline,) = figures(root.find("path").get("d"))
        is_tile = item.body.features[0].role == "swell"
        assert len(outline) == (4 if is_tile else 5), "four corners, of which one is cut"
        if item.body.turn_deg % 90 or _has_lying_posts(item.body):
            continue
        low, high = item.cover()
        assert outline.min(axis=0) == pytest.approx(low, abs=2e-3)
        assert outline.max(axis=0) == pytest.approx(high, abs=2e-3)


def _has_lying_posts(body):
    """Posts that stand out of the slab sideways, beyond its outline."""
    return any(f.axis != "x" and f.form in (Form.PIN, Form.TONGUE) for f in body.features) and any(
        part.feature and not part.cut and part.shape.axis == "y"
        for part in body.parts
        if not isinstance(part.shape, Text)
    )


@pytest.mark.parametrize("name", shipped_specs())
def test_a_feature_is_as_wide_as_recorded_and_in_its_place(name):
    _, groups, features, _, _ = drawn(name)
    for id_, feature in features.items():
        if not groups[id_].shape:
            continue
        place = np.array(feature.place_mm[:2])
        if feature.form in ROUND and feature.direction is Direction.Z:
            ways = [(1.0, 0.0), (0.0, 1.0)]
        elif feature.form in ROUND:
            x, y = LIES[feature.direction]
            ways = [(-y, x)]
        elif feature.direction is Direction.Z:
            low, high = groups[id_].extent
            assert (low < place).all(), id_
            assert (place < high).all(), id_
            continue
        else:
            ways = [LIES[feature.direction]]
        for way in ways:
            low, high = groups[id_].along(way)
            assert high - low == pytest.approx(feature.size_mm, abs=2e-3), id_
            assert (high + low) / 2 == pytest.approx(place @ way, abs=2e-3), id_


@pytest.mark.parametrize(
    ("name", "id_", "way", "reach_mm"),
    [
        # Tongues are 6 mm wide where a spec says nothing, their slots 1 mm longer.
        ("first", "BG", Direction.Y, 6.0),
        ("first", "B1", Direction.Y, 7.0),
        ("first", "C1", Direction.X, 7.0),
        ("upright", "B1", Direction.X, 6.0),
        ("upright", "A1", Direction.X, 7.0),
        # `sliding` asks for tongues of 7 mm, and for one row of 21 mm.
        ("sliding", "A1", Direction.Y, 8.0),
        ("sliding", "CG", Direction.XY_MINUS, 6.0),
        ("sliding", "C1", Direction.XY_MINUS, 7.0),
        ("sliding", "E1", Direction.Y, 21.0),
        ("sliding", "EG", Direction.Y, 22.0),
        # Tiles are 14 mm deep.
        ("upright", "G1", Direction.Y, 14.0),
        ("upright", "H1", Direction.X, 14.0),
    ],
)
def test_a_flat_feature_reaches_as_far_the_other_way_as_its_spec_says(name, id_, way, reach_mm):
    low, high = drawn(name)[1][id_].along(LIES[way])
    assert high - low == pytest.approx(reach_mm, abs=2e-3)


def test_a_window_that_lies_is_drawn_through_its_whole_wall_and_dashed():
    bodies, groups, _, _, _ = drawn("upright")
    covers = {f.id: item.cover() for item, _ in bodies for f in item.body.features}
    for id_ in ("A1", "BG", "C1", "F1"):
        low, high = groups[id_].extent
        assert (low[1], high[1]) == pytest.approx([end[1] for end in covers[id_]], abs=2e-3)
    dashed = {id_ for id_ in groups if any(m.get("stroke-dasharray") for m in groups[id_].shape)}
    assert {id_[0] for id_ in dashed} == {"A", "B", "C", "F"}
    assert {id_ for id_ in dashed if id_[0] == "B"} == {"BG", "BH"}, "its posts are drawn solid"


def test_openings_show_the_paper_and_posts_are_darker_than_their_body():
    for name in ("first", "upright"):
        for item, root in drawn(name)[0]:
            slab = root.find("path").get("fill")
            assert slab == (LOOSE if item.body.loose else FIXED)
            for feature in item.body.features:
                for mark in drawn(name)[1][feature.id].shape:
                    open_ = feature.form in (Form.HOLE, Form.SLOT)
                    post = LOOSE_POST if item.body.loose else FIXED_POST
                    assert mark.get("fill") == (PAPER if open_ else post)


@pytest.mark.parametrize("name", shipped_specs())
def test_jaws_touch_the_faces_that_are_measured(name):
    _, groups, features, readings, _ = drawn(name)
    for id_, feature in features.items():
        own = [each for each in readings if each.feature == id_]
        level = [each for each in own if (each.along or feature.direction) != "z"]
        if feature.form in ROUND and feature.direction is not Direction.Z:
            level = [each for each in own if each.along != "z"]
        jaws, place = list(groups[id_].jaws), np.array(feature.place_mm[:2])
        assert len(jaws) == 2 * len(level), id_
        assert len(groups[id_].rings) == len(own) - len(level), id_
        for reading in level:
            way = np.array(LIES[Direction(reading.along or feature.direction)])
            pair, jaws = jaws[:2], jaws[2:]
            tips, feet = [jaw[0] for jaw in pair], [jaw[1:].mean(axis=0) for jaw in pair]
            middle = place @ way
            ends = sorted(float(tip @ way - middle) for tip in tips)
            half = feature.size_mm / 2
            assert ends == pytest.approx([-half, half], abs=2e-3), id_
            beyond = [abs(foot @ way - middle) - half for foot in feet]
            assert all(bool(b > 0) is (reading.jaws is Jaws.OUTSIDE) for b in beyond), id_
            assert [abs(b) for b in beyond] == pytest.approx([0.95, 0.95], abs=2e-3)
            for jaw in pair:  # square to the way: a tip in the middle of its foot
                assert abs((jaw[1] - jaw[2]) @ way) < 2e-3
                assert np.linalg.norm(jaw[1] - jaw[2]) == pytest.approx(1.045, abs=3e-3)
                across = (jaw[0] - (jaw[1] + jaw[2]) / 2) @ (-way[1], way[0])
                assert across == pytest.approx(0, abs=2e-3)


@pytest.mark.parametrize("name", shipped_specs())
def test_every_letter_is_drawn_once_on_its_body(name):
    for item, root in drawn(name)[0]:
        texts = [part.shape for part in item.body.parts if isinstance(part.shape, Text)]
        marks = [m for m in root.iter("path") if m.get("stroke") == INK and m.get("fill") == "none"]
        assert len(marks) == len(texts)
        (outline,) = figures(root.find("path").get("d"))
        for mark in marks:
            ends = strokes(mark.get("d")).reshape(-1, 2)
            assert (ends > outline.min(axis=0)).all()
            assert (ends < outline.max(axis=0)).all()


def test_labels_stand_upright_beside_what_they_name():
    _, groups, features, _, _ = drawn("first")
    step = 0.46
    # "A" begins with four steps up; "C" with one step up to the left, which on a body turned a
    # quarter to the left is one down to the left.
    for id_, first in (("A1", (0, 4 * step)), ("C1", (-step, -step))):
        (letters,) = groups[id_].letters
        assert letters[0, 1] - letters[0, 0] == pytest.approx(first, abs=2e-3)
    low, high = (end((0, 1)) for end in (groups["A1"].letters[0].min, groups["A1"].letters[0].max))
    # Its ink, 6.18 mm wide, is centred on the hole; the outermost stroke is half a pen further in.
    assert low[0] == pytest.approx(features["A1"].place_mm[0] - 6.18 / 2 + 0.9 / 2, abs=0.01)
    # Two letters of four steps, a stroke and a space apart; six steps high.
    assert high - low == pytest.approx((4 * step + 0.9 + 0.7 + 3 * step, 6 * step), abs=2e-3)
    assert high[1] < groups["A1"].extent[0][1], "below its hole"


@pytest.mark.parametrize("name", shipped_specs())
def test_gaps_are_written_where_they_can_be_read(name):
    bodies, groups, features, _, gaps = drawn(name)
    items = {f.id: item for item, _ in bodies for f in item.body.features}
    for id_, feature in features.items():
        assert len(groups[id_].words) == (id_ in gaps), id_
        for mark in groups[id_].words:
            assert mark.get("fill") == GAP_INK
            size, at = float(mark.get("font-size")), words_at(mark)
            place, (low, high) = np.array(feature.place_mm[:2]), groups[id_].extent
            if lies_as_window(feature):
                # Behind its wall: that is up, or to the left where the body is turned.
                (left, _), (_, back) = items[id_].cover()
                turned = items[id_].body.turn_deg == 90
                behind = (left - 1.7, place[1]) if turned else (place[0], back + 1.7)
                assert at == pytest.approx(behind, abs=6e-3), id_
            elif feature.form is Form.HOLE and feature.size_mm < 4.4:
                assert size == 1.3
                assert at == pytest.approx((place[0], high[1] + 1.1), abs=6e-3)
            else:
                assert (low < at).all(), id_
                assert (at < high).all(), id_
                # A figure is about 0.6 of its height wide.
                free = feature.size_mm if feature.direction is not Direction.Z else high[0] - low[0]
                if groups[id_].jaws and feature.form is Form.HOLE:
                    free -= 2 * 0.95
                if len(mark.text) <= 4:  # five in a small hole that is measured touch its jaws
                    assert 0.6 * len(mark.text) * size < free, id_
                assert 1 < size <= 1.6


def words_at(mark):
    """Return the middle of words whose foot is stated, on the plate."""
    size = float(mark.get("font-size"))
    return np.array(
        [float(mark.get("x")) - LEFT, BOTTOM - float(mark.get("y")) + 0.36 * size],
    )


def lies_as_window(feature):
    """Tell whether a feature is a window in a wall, seen from above through the wall."""
    flat = feature.form not in ROUND
    return feature.form in (Form.HOLE, Form.SLOT) and (flat == (feature.direction is Direction.Z))


@pytest.mark.parametrize("name", shipped_specs())
def test_marks_of_a_flat_feature_keep_clear_of_its_words(name):
    _, groups, features, _, _ = drawn(name)
    for id_, feature in features.items():
        own = groups[id_]
        for mark in own.words:
            size, at = float(mark.get("font-size")), words_at(mark)
            if feature.form in ROUND and not lies_as_window(feature):
                continue
            for ring in own.rings:
                assert np.linalg.norm(ring - at) > 0.8 + size / 2, id_
            for jaw in own.jaws if feature.form not in ROUND else ():
                assert np.linalg.norm(jaw - at, axis=1).min() > size / 2, id_


@pytest.mark.parametrize("name", shipped_specs())
def test_a_reading_along_z_has_its_dot_on_the_feature_or_beside_the_words_behind_it(name):
    _, groups, features, _, _ = drawn(name)
    for id_, feature in features.items():
        for ring in groups[id_].rings:
            low, high = groups[id_].extent
            if lies_as_window(feature):
                outside = (ring < low).any() or (ring > high).any()
                assert outside, id_
            else:
                assert (low < ring).all(), id_
                assert (ring < high).all(), id_
                assert ring[0] == pytest.approx(feature.place_mm[0], abs=2e-3)


@pytest.mark.parametrize("name", shipped_specs())
def test_shapes_are_whole_rectangles_and_no_word_stands_outside_a_mark(name):
    bodies, groups, _, _, _ = drawn(name)
    for _, root in bodies:
        loose_words = [mark.tail for mark in root.iter() if (mark.tail or "").strip()]
        assert not loose_words
        written = {mark.tag for mark in root.iter() if (mark.text or "").strip()}
        assert written <= {"title", "text"}
    for group in groups.values():
        for mark in group.shape:
            if mark.tag == "path":
                (corners,) = figures(mark.get("d"))
                x, y = (corners - corners[0]).T
                area = abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2
                sides = np.linalg.norm(corners[1:3] - corners[:2], axis=1)
                assert area == pytest.approx(np.prod(sides), rel=1e-3)


def test_gaps_are_written_a_quarter_below_the_middle_of_a_slot_across_x():
    for id_ in ("A1", "B1"):
        _, groups, features, _, gaps = drawn("sliding")
        feature, (mark,) = features[id_], groups[id_].words
        low, high = groups[id_].extent
        way = 1 if feature.direction is Direction.X else 0
        if feature.form not in ROUND and feature.direction is Direction.X:
            below = feature.place_mm[1] - words_at(mark)[1]
            assert below == pytest.approx((high - low)[way] / 8, abs=6e-3)
        assert id_ in gaps


def test_gaps_are_written_in_the_middle_of_round_features():
    _, groups, features, _, _ = drawn("first")
    for id_, feature in features.items():
        for mark in groups[id_].words:
            is_roomy = feature.form is Form.PIN or feature.size_mm >= 4.4
            if feature.form in ROUND and feature.direction is Direction.Z and is_roomy:
                assert words_at(mark) == pytest.approx(feature.place_mm[:2], abs=6e-3)
