"""Corners of posts and windows, standing and lying, each reckoned by hand.

As elsewhere: a label is 3.66 mm high, lead-ins and chamfers are 0.4 mm, and a base is 1.4 mm high.
"""

import math
from itertools import pairwise

import pytest
from support.one_series import series

from coupons.making.bodies.built_bodies import plate
from coupons.making.bodies.posts import lying, standing
from coupons.making.bodies.proportions import Measures
from coupons.making.bodies.shapes import boxed, rectangle
from coupons.making.bodies.windows import windowed_plate, windowed_wall


def near(*values):
    return pytest.approx(values, abs=1e-5)


@pytest.mark.parametrize(
    ("form", "direction", "size", "half_high"),
    [
        # A pin's flat lies 25° and 65° below its middle: (sin 25° + sin 65°) / 2 of its radius.
        ("pin", "y", 6.0, 3 * (math.sin(math.radians(25)) + math.sin(math.radians(65))) / 2),
        ("tongue", "z", 4.0, 2.0),
    ],
)
@pytest.mark.parametrize(("loose", "spine"), [(False, 5.66), (True, 9.0)])
def test_posts_that_lie_reach_from_a_spine_that_carries_labels_or_fingers(
    form, direction, size, half_high, loose, spine
):
    body = lying(series(form, direction, [size], loose=loose, depth_mm=8.0))
    # A label of 3.66 mm and 1 mm at either side; the wall is 8 mm deep, and 1 mm is to be seen.
    assert body.seat_mm == pytest.approx(spine)
    (sized,) = body.features
    assert sized.centre[1:] == near(spine + 4.5, half_high)
    assert sized.axis == ("y" if form == "pin" else "z")
    (post,) = (part.shape for part in body.parts if part.feature)
    low, high = boxed(post)
    assert (low[1], high[1]) == near(spine - 0.1, spine + 9)
    # Its end is smaller by the lead-in of 0.4 mm all round, for the last 0.4 mm.
    (start, full), (neck, same), (end, small) = post.levels
    assert (start, neck, end) == near(spine - 0.1, spine + 8.6, spine + 9)
    assert full == same

    def wide(outline):
        return max(x for x, _ in outline) - min(x for x, _ in outline)

    # A pin's corners leave its widest place out by less than 0.002 mm.
    assert wide(full) == pytest.approx(6, abs=4e-3)
    assert wide(small) == pytest.approx(wide(full) - 0.8, abs=4e-3)
    assert max(z for _, z in full) - max(z for _, z in small) == pytest.approx(0.4, abs=2e-3)
    assert len(small) == len(full)
    slab = boxed(body.parts[0].shape)[1]
    assert slab[1:] == near(spine, max(size, 3.0))


def test_a_lying_bar_has_its_two_edges_at_the_bed_broken():
    body = lying(series("tongue", "z", [4.0]))
    (bar,) = (part.shape for part in body.parts if part.feature)
    x = body.features[0].centre[0]
    full, small = bar.levels[0][1], bar.levels[-1][1]
    # 6 mm wide and 4 mm high, 0.4 mm off both edges below; the end 0.4 mm smaller all round.
    assert full == (
        near(x - 2.6, 0),
        near(x + 2.6, 0),
        near(x + 3, 0.4),
        near(x + 3, 4),
        near(x - 3, 4),
        near(x - 3, 0.4),
    )
    assert small == (
        near(x - 2.2, 0.4),
        near(x + 2.2, 0.4),
        near(x + 2.6, 0.8),
        near(x + 2.6, 3.6),
        near(x - 2.6, 3.6),
        near(x - 2.6, 0.8),
    )


def test_a_standing_tongue_has_its_four_upright_edges_broken():
    body = standing(series("tongue", "x", [4.0]))
    (shaft,) = (part.shape for part in body.parts if part.feature)
    (x, y, _) = body.features[0].centre
    # A label, 0.3 mm, half of 6 mm: 1 + 3.66 + 0.3 + 3.
    assert (y, body.features[0].axis) == (pytest.approx(7.96), "x")
    (start, full), (neck, same), (end, small) = shaft.levels
    assert (start, neck, end) == near(3.5, 3.6 + 3.6 + 0.6, 8.2)
    assert full == same
    for outline, half, deep in ((full, 2, 3), (small, 1.6, 2.6)):
        c = 0.4
        assert outline == (
            near(x - half + c, y - deep),
            near(x + half - c, y - deep),
            near(x + half, y - deep + c),
            near(x + half, y + deep - c),
            near(x + half - c, y + deep),
            near(x - half + c, y + deep),
            near(x - half, y + deep - c),
            near(x - half, y - deep + c),
        )
    (step,) = (part.shape for part in body.parts if part.seats)
    assert [at for at, _ in step.levels] == near(1.3, 3.6)
    assert {outline for _, outline in step.levels} == {
        rectangle((x - 3.2, y - 3), (x + 3.2, y + 3))
    }
    assert body.seat_mm == pytest.approx(3.6)


def test_broken_edges_take_a_quarter_of_a_thin_tongue_at_most():
    thin = standing(series("tongue", "x", [2.0], measures=Measures(1.2, 0.2)))
    (shaft,) = (part.shape for part in thin.parts if part.feature)
    x = thin.features[0].centre[0]
    # As wide as the nozzle, 1.2 mm, but not more than half of half its thickness.
    assert shaft.levels[0][1][0][0] == pytest.approx(x - 1 + 0.5)
    bar = lying(series("tongue", "z", [2.0], length_mm=1.8, measures=Measures(1.2, 0.9)))
    (shape,) = (part.shape for part in bar.parts if part.feature)
    # A chamfer of a layer of 0.9 mm; half of the half width of 0.4 mm.
    low, *_ = shape.levels[0][1]
    assert low[0] == pytest.approx(bar.features[0].centre[0] - 0.4 + 0.2)


def test_a_standing_pin_is_a_shoulder_and_a_shaft_with_a_lead_in():
    body = standing(series("pin", "z", [5.0]))
    (x, y, z) = body.features[0].centre
    assert (y, z) == near(1 + 3.66 + 0.3 + 3.7, (3.6 + 8.2) / 2)
    assert body.features[0].axis == "z"
    (shaft,) = (part.shape for part in body.parts if part.feature)
    (step,) = (part.shape for part in body.parts if part.seats)
    assert shaft.centre == step.centre == near(x, y)
    assert shaft.profile == (
        near(0, 3.5),
        near(2.5, 3.5),
        near(2.5, 7.8),
        near(2.1, 8.2),
        near(0, 8.2),
    )
    assert step.profile == (near(0, 1.3), near(3.7, 1.3), near(3.7, 3.6), near(0, 3.6))
    assert (shaft.axis, shaft.outside, step.outside) == ("z", False, False)
    assert not any(part.cut for part in body.parts)


def test_a_lying_pin_is_round_from_25_degrees_below_its_middle():
    body = lying(series("pin", "y", [6.0]))
    (post,) = (part.shape for part in body.parts if part.feature)
    x, _, z = body.features[0].centre
    first, second, *arc = post.levels[0][1]
    radii = [math.hypot(px - x, pz - z) for px, pz in arc]
    assert radii == pytest.approx([3.0] * len(arc))
    angles = [math.degrees(math.atan2(pz - z, px - x)) % 360 for px, pz in arc]
    assert angles[0] == pytest.approx(335)
    assert angles[-1] == pytest.approx(205)
    steps_deg = [(b - a) % 360 for a, b in pairwise(angles)]
    assert steps_deg == pytest.approx([230 / len(steps_deg)] * len(steps_deg))
    # As finely as a whole circle of this size: 92 sides of 3.9°.
    assert 3.8 < steps_deg[0] <= 360 / 92
    # A chord at 45° leads down to the flat on the bed.
    assert (first[1], second[1]) == near(0, 0)
    assert second[0] - x == pytest.approx(x - first[0])
    assert arc[0][0] - second[0] == pytest.approx(arc[0][1] - second[1])


def test_holes_and_slots_are_cut_through_with_a_lead_in_at_both_mouths():
    hole = windowed_plate(series("hole", "z", [5.0], depth_mm=4.0))
    (cut,) = (part for part in hole.parts if part.cut)
    wanted = [(0, -0.05), (2.95, -0.05), (2.5, 0.4), (2.5, 3.6), (2.95, 4.05), (0, 4.05)]
    assert cut.shape.profile == tuple(near(*point) for point in wanted)
    assert (cut.shape.axis, cut.shape.outside, cut.feature) == ("z", True, "A1")
    lying_hole = windowed_wall(series("hole", "y", [5.0], depth_mm=8.0))
    (cut,) = (part for part in lying_hole.parts if part.cut)
    assert (cut.shape.axis, cut.shape.outside) == ("y", True)
    assert cut.shape.centre == near(lying_hole.features[0].centre[0], 3 + 2.5)
    assert cut.shape.profile[3:] == (near(2.5, 7.6), near(2.95, 8.05), near(0, 8.05))
    # Holes of a wall stand with their middles at one height, slots with their floors.
    round_ones = windowed_wall(series("hole", "y", [4.0, 6.0]))
    assert [f.centre[2] for f in round_ones.features] == near(6, 6)
    flat_ones = windowed_wall(series("slot", "z", [4.0, 6.0]))
    assert [f.centre[2] for f in flat_ones.features] == near(5, 6)
    assert [f.axis for f in flat_ones.features] == ["z", "z"]
    assert [f.axis for f in round_ones.features] == ["y", "y"]
    assert (round_ones.seat_mm, flat_ones.seat_mm) == (0, 0)
    assert windowed_plate(series("hole", "z", [5.0], loose=True)).seat_mm == 0


def test_corners_of_plates_that_are_turned():
    # A quarter turn brings the upper left corner nearest the origin: there it is cut.
    (full,) = {plate((0, 0), (20, 10), 3, 90, 0.4).shape.levels[1][1]}
    assert full == ((0, 0), (20, 0), (20, 10), (1.75, 10), (0, 8.25))
    for turn in (0, 45, -45):
        (full,) = {plate((0, 0), (20, 10), 3, turn, 0.4).shape.levels[1][1]}
        assert full == ((1.75, 0), (20, 0), (20, 10), (0, 10), (0, 1.75))
    levels = plate((1, 2), (20, 10), 3, 90, 0.4).shape.levels
    assert [at for at, _ in levels] == [0.0, 0.4, 3]
    small, along = levels[0][1], 1.75 - (2 - math.sqrt(2)) * 0.4
    assert small == (
        near(1.4, 2.4),
        near(19.6, 2.4),
        near(19.6, 9.6),
        near(1.4 + along, 9.6),
        near(1.4, 9.6 - along),
    )
