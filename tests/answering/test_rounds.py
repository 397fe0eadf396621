"""Cylinders of flat strips against the circles that they were drawn from."""

import math
from functools import cache

import numpy as np
import pytest
from manifold3d import CrossSection, Manifold
from scipy.optimize import least_squares
from support.drawn_bodies import box, drawn, round_bar, rounded_plate
from support.moved_faces import prism

from coupons.answering.meshes.body import Body
from coupons.answering.meshes.patches import flat_patches, seams_of
from coupons.answering.meshes.rounds import circle_through, find_rounds
from coupons.answering.meshes.strips import crosswise, smooth_groups


def rounds(solid):
    patches = flat_patches(drawn(solid))
    return find_rounds(patches, seams_of(patches)), patches


def cylinders(solid):
    return [cylinder for cylinder, _ in rounds(solid)[0].cylinders]


def as_drawn(cylinder, diameter, sides):
    """Hold a cylinder against chords of a circle, of which each covers a turn through sides."""
    half = math.pi / sides
    assert cylinder.corner_mm == pytest.approx(diameter, abs=2e-5)
    assert cylinder.flat_mm == pytest.approx(diameter * math.cos(half), abs=2e-5)
    assert cylinder.sagitta_mm == pytest.approx(diameter / 2 * (1 - math.cos(half)), abs=2e-5)
    # A polygon of as many sides has sides/2·r²·sin(2π/sides) of area, its circle π·d²/4.
    area = sides / 2 * (diameter / 2) ** 2 * math.sin(2 * half)
    assert cylinder.area_mm == pytest.approx(2 * math.sqrt(area / math.pi), abs=2e-5)


@pytest.mark.parametrize("sides", [10, 12, 16, 17])
def test_a_whole_regular_polygon_of_ten_sides_or_more_is_a_round_drawn_coarsely(sides):
    """Across corners it is what was drawn: 8 mm; across flats 8 cos(180°/n)."""
    (one,) = cylinders(round_bar(8, 10, sides=sides))
    assert one.strips == sides
    assert one.corner_mm == pytest.approx(8, abs=1e-5)
    assert one.flat_mm == pytest.approx(8 * np.cos(np.pi / sides), abs=1e-5)


@pytest.mark.parametrize("sides", [6, 8, 9])
def test_fewer_strips_around_are_a_prism(sides):
    assert cylinders(round_bar(8, 10, sides=sides)) == []


def test_a_part_of_a_coarse_round_is_a_prism():
    half = round_bar(8, 10, sides=16) - box(10, 10, 12, (0, -5, -1))
    assert cylinders(half) == []


def test_a_hexagon_with_its_edges_broken_is_a_prism():
    """Its twelve corners lie on one circle, but its sides are wide and narrow in turn."""
    corners = [
        (5 * np.cos(angle), 5 * np.sin(angle))
        for edge in np.radians(np.arange(0, 360, 60))
        for angle in (edge - np.radians(6), edge + np.radians(6))
    ]
    assert cylinders(prism(corners, 8)) == []


def test_slim_arcs_of_one_cylinder_are_its_pieces():
    """A hub of 14 mm with six grooves of 4 mm leaves arcs of 60° − 2 asin(2/7), under 30°."""
    grooved = round_bar(14, 10, sides=72)
    for turn in range(6):
        grooved -= box(9, 4, 12, (5, -2, -1)).rotate((0, 0, 60.0 * turn))
    found, patches = rounds(grooved)
    assert len(found.cylinders) == 6
    slim = np.pi / 3 - 2 * np.arcsin(2 / 7)
    for one, own in found.cylinders:
        assert one.corner_mm == pytest.approx(14, abs=1e-3)
        assert one.arc_deg < np.degrees(slim)
        # Strips that a groove cuts belong to it; chords are a little shorter than their arc.
        assert patches.areas_mm2[own].sum() == pytest.approx(10 * 7 * slim, rel=2e-3)


def test_a_slim_arc_by_itself_is_no_cylinder():
    """Five strips of 5° of a pin of 14 mm, between flat faces."""
    arc = [(7 * np.cos(a), 7 * np.sin(a)) for a in np.radians(np.arange(-12.5, 13, 5))]
    assert cylinders(prism([(3, -1.5), *arc, (3, 1.5)], 10)) == []


def arc_bar(strips, step_deg, radius=10.0):
    """A bar whose front is an arc of so many strips, each of which covers a step."""
    half = math.radians(strips * step_deg / 2)
    angles = np.linspace(-half, half, strips + 1)
    front = [(radius * math.cos(a), radius * math.sin(a)) for a in angles]
    back = [(-5.0, front[-1][1]), (-5.0, front[0][1])]
    return Manifold.extrude(CrossSection([[*front, *back]]), 7.0)


@pytest.mark.parametrize(
    ("strips", "step_deg", "is_round"), [(2, 16, False), (3, 9, False), (4, 7, False), (4, 9, True)]
)
def test_an_arc_of_a_few_strips_is_round_from_thirty_degrees_on(strips, step_deg, is_round):
    found = cylinders(arc_bar(strips, step_deg))
    assert len(found) == is_round
    for one in found:
        as_drawn(one, 20.0, 360 / step_deg)
        assert one.arc_deg == pytest.approx(strips * step_deg, abs=1e-2)
        assert (one.strips, one.is_inner) == (strips, False)
        assert one.point_mm == pytest.approx((0, 0, 3.5), abs=1e-4)


@pytest.mark.parametrize(("strips", "is_group"), [(7, False), (8, True)])
def test_eight_facets_that_run_smoothly_into_each_other_are_looked_at(strips, is_group):
    patches = flat_patches(drawn(arc_bar(strips, 9)))
    seams = seams_of(patches)
    taken = np.zeros(len(patches.normals), dtype=bool)
    found = smooth_groups(seams, taken)
    assert [len(group) for group in found] == [strips] * is_group
    for group in found:
        assert (patches.normals[group, 0] > 0.7).all()
        taken[group[0]] = True
        assert smooth_groups(seams, taken) == [], "one of them is taken"


def test_rounded_corners_are_quarters_and_the_sides_between_them_wide():
    found, patches = rounds(rounded_plate(30, 20, 6, 4, 48))
    assert len(found.cylinders) == 4
    for one, own in found.cylinders:
        as_drawn(one, 8.0, 48)
        assert (one.strips, len(own)) == (12, 12)
        assert one.arc_deg == pytest.approx(90, abs=1e-2)
        assert np.abs(one.point_mm) == pytest.approx((11, 6, 3), abs=1e-4)
    # Long sides: 22 × 6 mm and 12 × 6 mm; top and bottom meet nothing smoothly.
    assert sorted(patches.areas_mm2[found.is_wide]) == pytest.approx([72, 72, 132, 132], rel=1e-3)


@pytest.mark.parametrize(("sides", "is_wide"), [(12, False), (13, True)])
def test_a_face_with_more_than_twelve_smooth_seams_is_no_strip(sides, is_wide):
    # The top of a flat pyramid goes over into each of its sides by 11 degrees.
    patches = flat_patches(drawn(Manifold.cylinder(1, 10, 5, sides)))
    found = find_rounds(patches, seams_of(patches))
    (top,) = np.flatnonzero(patches.normals[:, 2] > 0.999)
    assert bool(found.is_wide[top]) is is_wide
    assert found.is_wide.sum() == is_wide


def test_a_strip_that_is_cut_in_two_counts_once():
    cross = box(40, 4, 4, (-20, -2, 8))
    solid = box(20, 20, 20, (-10, -10, 0)) - round_bar(10, 30, (0, 0, -5), 40) - cross
    (one,) = cylinders(solid)
    as_drawn(one, 10.0, 40)
    assert (one.strips, one.is_inner) == (40, True)
    assert one.arc_deg == pytest.approx(360, abs=1e-2)
    assert one.half_length_mm == pytest.approx(10, abs=1e-5)


@cache
def unlike_rims(sides, kept_deg=360):
    """A bar whose upper rim is divided half a step beside the lower one: no strip runs along it."""
    steps = round(sides * kept_deg / 360)
    step = 2 * math.pi / sides
    rims = [
        [(5 * math.cos((n + by) * step), 5 * math.sin((n + by) * step), z) for n in range(steps)]
        for by, z in ((0, 0.0), (0.5, 12.0))
    ]
    return Manifold.hull_points(np.array(rims).reshape(-1, 3))


@pytest.mark.parametrize("sides", [20, 48])
def test_a_bar_whose_rims_are_divided_by_themselves_is_round_too(sides):
    (one,) = cylinders(unlike_rims(sides))
    as_drawn(one, 10.0, sides)
    assert (one.strips, one.arc_deg, one.is_inner) == (sides, 360.0, False)
    assert one.half_length_mm == pytest.approx(6, abs=1e-5)
    assert one.point_mm == pytest.approx((0, 0, 6), abs=1e-4)
    (hole,) = cylinders(box(20, 20, 12, (-10, -10, 0)) - unlike_rims(sides))
    as_drawn(hole, 10.0, sides)
    assert (hole.strips, hole.is_inner) == (sides, True)


def test_half_a_bar_with_unlike_rims_covers_half_a_turn():
    (one,) = cylinders(unlike_rims(48, 180))
    # The lower rim goes from 0 to 23 steps of 7.5°, the upper one from half a step on.
    assert one.arc_deg == pytest.approx(23.5 * 7.5, abs=0.01)
    assert one.corner_mm == pytest.approx(10, abs=1e-4)


TILT = (31.0, 17.0, 60.0)


@pytest.mark.parametrize("is_inner", [False, True])
@pytest.mark.parametrize("is_alike", [False, True], ids=["unlike rims", "strips"])
def test_a_round_that_lies_anywhere_is_as_drawn(is_inner, is_alike):
    bar = round_bar(10, 12, sides=40) if is_alike else unlike_rims(40)
    bar = bar.translate((7, -3, 2))
    solid = box(30, 26, 12, (-5, -16, 2)) - bar if is_inner else bar
    (one,) = cylinders(solid.rotate(TILT).translate((50, -20, 80)))
    cube = Manifold.cube((1, 1, 1))
    corners = [
        np.asarray(each.to_mesh64().vert_properties)[:, :3] for each in (cube, cube.rotate(TILT))
    ]
    turn = np.linalg.lstsq(*corners, rcond=None)[0]
    found = (one.corner_mm, one.flat_mm, one.sagitta_mm)
    half = math.pi / 40
    drawn_as = (10.0, 10 * math.cos(half), 5 * (1 - math.cos(half)))
    assert found == pytest.approx(drawn_as, abs=1e-4)
    assert (one.strips, one.is_inner) == (40, is_inner)
    assert one.arc_deg == pytest.approx(360, abs=1e-2)
    assert one.half_length_mm == pytest.approx(6, abs=1e-5)
    assert one.point_mm == pytest.approx((7, -3, 8) @ turn + (50, -20, 80), abs=1e-4)
    assert abs(one.axis @ turn[2]) == pytest.approx(1)


@pytest.mark.parametrize("turn", [(90, 0, 0), (0, 90, 0), (200, 0, 0), (10, 250, 40), (80, 170, 5)])
def test_an_axis_points_to_where_its_largest_coordinate_is_positive(turn):
    for solid in (round_bar(10, 12, sides=20), unlike_rims(20)):
        for back in ((0, 0, 0), (180, 0, 0)):
            (one,) = cylinders(solid.rotate(back).rotate(turn))
            assert one.axis[np.abs(one.axis).argmax()] > 0.5


@pytest.mark.parametrize(
    "solid",
    [
        Manifold.revolve(CrossSection.circle(10, 48), 48),
        Manifold.sphere(10, 48),
        Manifold.cylinder(10, 8, 5, 48),
        box(3, 4, 5),
    ],
    ids=["ball of gores", "ball of triangles", "cone", "box"],
)
def test_balls_cones_and_boxes_have_no_cylinder(solid):
    assert cylinders(solid) == []


@pytest.mark.parametrize(
    ("at_mm", "off_mm", "is_round"),
    [
        # 2 µm, and four times what 32 bits may move a corner: 5·2⁻²³ mm here, 1000·2⁻²³ mm there.
        (0, 1.98e-3, True),
        (0, 2.03e-3, False),
        (995, 2.42e-3, True),
        (995, 2.54e-3, False),
    ],
)
@pytest.mark.parametrize("is_alike", [True, False], ids=["strips", "unlike rims"])
def test_corners_may_lie_two_microns_off_and_what_32_bits_move(at_mm, off_mm, is_round, is_alike):
    # An oval, in one way narrower and in the other wider than the circle nearest to it.
    bar = round_bar(10, 12, sides=96) if is_alike else unlike_rims(96)
    oval = bar.scale((1 + off_mm / 5, 1 - off_mm / 5, 1)).translate((at_mm, 0, 0)).to_mesh64()
    corners = np.asarray(oval.vert_properties)[:, :3]
    body = Body("bar", "bar.stl", corners.copy(), np.asarray(oval.tri_verts, dtype=np.int64))
    patches = flat_patches(body)
    assert len(find_rounds(patches, seams_of(patches)).cylinders) == is_round


@pytest.mark.parametrize("seed", range(3))
def test_a_circle_is_the_nearest_to_its_points(seed):
    rng = np.random.default_rng(seed)
    angles = rng.uniform(0, 1.5, 30)
    points = np.column_stack([np.cos(angles), np.sin(angles)]) * 7 + (100, -40)
    points += 0.02 * rng.normal(size=points.shape)
    away = lambda p: np.hypot(points[:, 0] - p[0], points[:, 1] - p[1]) - p[2]  # noqa: E731
    best = least_squares(away, (100, -40, 7), xtol=1e-14, ftol=1e-14, gtol=1e-14).x
    centre, radius = circle_through(points)
    assert (*centre, radius) == pytest.approx(best, abs=1e-4)


def test_ways_across_an_axis_are_square_to_it_and_to_each_other():
    axes = np.vstack([np.eye(3), np.random.default_rng(1).normal(size=(5, 3))])
    for axis in axes / np.linalg.norm(axes, axis=1)[:, None]:
        frame = np.array([*crosswise(axis), axis])
        assert frame @ frame.T == pytest.approx(np.eye(3), abs=1e-12)
        assert np.linalg.det(frame) == pytest.approx(1)
