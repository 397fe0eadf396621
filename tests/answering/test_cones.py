"""Cones among the faces of bodies, against what was drawn."""

import math
from dataclasses import replace

import numpy as np
import pytest
from manifold3d import CrossSection, Manifold
from support.drawn_bodies import box, drawn

from coupons.answering.meshes import cones as finder
from coupons.answering.meshes.cones import Cone, _are_belts, _Fit, _improved, _start
from coupons.answering.meshes.regions import SurfaceKind, regions_of

TILT = (31.0, 17.0, 60.0)


def cones(solid):
    return [region.cone for region in regions_of(drawn(solid)) if region.cone is not None]


def frustum(low_mm, high_mm, height_mm, sides):
    return Manifold.cylinder(height_mm, low_mm / 2, high_mm / 2, sides)


@pytest.mark.parametrize("sides", [24, 25, 64, 256])
@pytest.mark.parametrize("per_mm", [1 / 50, 1 / 20, 1 / 10, 2 * math.tan(math.radians(5))])
@pytest.mark.parametrize("is_inner", [True, False])
def test_angle_axis_and_diameters_of_a_taper(sides, per_mm, is_inner):
    length, middle = 16.0, 9.0
    low, high = middle - per_mm * length / 2, middle + per_mm * length / 2
    bar = frustum(low, high, length, sides)
    solid = box(40, 40, length, (-20, -20, 0)) - bar if is_inner else bar
    (cone,) = cones(solid.rotate(TILT).translate((50, 0, 80)))
    half = math.pi / sides
    assert cone.is_inner is is_inner
    assert cone.strips == sides
    assert cone.arc_deg == pytest.approx(360, abs=0.1)
    assert cone.half_angle_deg == pytest.approx(math.degrees(math.atan(per_mm / 2)), abs=1e-3)
    assert cone.corner_mm == pytest.approx(middle, abs=1e-4)
    assert cone.flat_mm == pytest.approx(middle * math.cos(half), abs=1e-4)
    area = sides / 2 * math.sin(2 * half) * middle**2 / 4  # of a regular polygon
    assert cone.area_mm == pytest.approx(2 * math.sqrt(area / math.pi), abs=1e-4)
    assert cone.sagitta_mm == pytest.approx(middle / 2 * (1 - math.cos(half)), abs=1e-4)
    assert 2 * cone.half_length_mm == pytest.approx(length, abs=1e-3)
    axis = Manifold.cube((1, 1, 1)).rotate(TILT).to_mesh64().vert_properties[:, :3]
    up = axis[Manifold.cube((1, 1, 1)).to_mesh64().vert_properties[:, :3] @ (1, 1, 4) == 4][0]
    assert cone.axis @ up == pytest.approx(1, abs=1e-6)
    assert np.linalg.norm(cone.point_mm - length / 2 * up - (50, 0, 80)) < 1e-3


def test_a_finely_divided_cone_and_one_with_a_tip_are_cones():
    (fine,) = cones(frustum(8, 6, 12, 32).refine(7).rotate(TILT))
    assert fine.corner_mm == pytest.approx(7, abs=1e-4)
    (tip,) = cones(frustum(8, 0, 12, 32).rotate(TILT))
    assert tip.half_angle_deg == pytest.approx(math.degrees(math.atan(4 / 12)), abs=1e-3)


def test_a_cone_whose_rims_are_divided_differently_is_one():
    rims = []
    for count, radius, z, start in ((48, 4.0, 0.0, 0.0), (60, 5.0, 10.0, 0.03)):
        angle = np.linspace(0, 2 * np.pi, count, endpoint=False) + start
        flat = [radius * np.cos(angle), radius * np.sin(angle), np.full(count, z)]
        rims.append(np.column_stack(flat))
    (cone,) = cones(Manifold.hull_points(np.concatenate(rims)).rotate(TILT))
    assert cone.corner_mm == pytest.approx(9, abs=1e-3)
    assert cone.half_angle_deg == pytest.approx(math.degrees(math.atan(0.1)), abs=0.01)


def turned(profile, sides=48):
    return Manifold.revolve(CrossSection([np.array(profile, float)]), sides)


def test_two_cones_and_a_cylinder_that_run_into_each_other_are_told_apart():
    # A pin with a lead of 15°, a taper of 2.86°, and a plain end; no edge between them is sharp.
    lead = 2 * math.tan(math.radians(15))
    solid = turned([(0, 0), (4 - lead, 0), (4, 2), (5, 22), (5, 30), (0, 30)])
    regions = regions_of(drawn(solid.rotate(TILT)))
    found = sorted((r.cone.half_angle_deg, r.cone.corner_mm) for r in regions if r.cone)
    assert found == [
        pytest.approx((math.degrees(math.atan(0.05)), 9), abs=1e-3),
        pytest.approx((15, 8 - lead), abs=1e-3),
    ]
    assert [r.cylinder.corner_mm for r in regions if r.cylinder] == pytest.approx([10], abs=1e-3)


def test_a_taper_crossed_by_a_hole_stays_one_cone():
    solid = frustum(10, 12, 20, 48) - frustum(3, 3, 40, 32).rotate((90, 0, 0)).translate(
        (0, 20, 10)
    )
    (cone,) = cones(solid.rotate(TILT))
    assert cone.arc_deg == pytest.approx(360, abs=0.1)
    area = sum(r.area_mm2 for r in regions_of(drawn(solid)) if r.kind is SurfaceKind.FREE)
    assert area == 0


@pytest.mark.parametrize("steps", [5, 9, 24])
def test_a_dome_and_a_rounding_are_no_cones(steps):
    angle = np.radians(np.linspace(-90, 90, 2 * steps + 1))
    ball = turned([(8 * np.cos(a), 8 * np.sin(a)) for a in angle], 64)
    assert not cones(ball)
    round_edge = [(6 + 2 * np.cos(a), 8 + 2 * np.sin(a)) for a in angle[angle >= 0]]
    bar = turned([(0, 0), (8, 0), *round_edge, (0, 10)], 64)
    assert not cones(bar.rotate(TILT))
    assert [r.kind for r in regions_of(drawn(bar))].count(SurfaceKind.CYLINDER) == 1


def test_three_like_tapers_with_cylinders_between_them_are_no_rounding():
    """They are belts of one only where they run into each other."""
    ends = [(4, 0), (5, 20), (5, 25), (6, 45), (6, 50), (7, 70), (7, 75)]
    found = cones(turned([(0, 0), *ends, (0, 75)]).rotate(TILT))
    assert sorted(one.corner_mm for one in found) == pytest.approx([9, 11, 13], abs=1e-3)


def arc_of_a_cone(strips, step_deg, is_inner, is_alike=True):
    """So many strips of a cone about z, 18 mm wide at z = 0 and 22 mm at z = 8, cut off behind.

    With ``is_alike`` false the upper rim is divided half a step beside the lower one.
    """
    half = math.radians(strips * step_deg / 2)
    steps = np.linspace(-half, half, strips + 1)
    aside = 0.0 if is_alike else math.radians(step_deg) / 2
    low, high = np.linspace(9, 9, strips + 1), np.linspace(11, 11, strips + 1)
    rims = [
        np.column_stack([r * np.cos(steps + by), r * np.sin(steps + by), np.full(len(steps), z)])
        for r, by, z in ((low, 0.0, 0.0), (high, aside, 8.0))
    ]
    back = [(x, y, z) for x in (-3.0,) for y in (-6.0, 6.0) for z in (0.0, 8.0)]
    bar = Manifold.hull_points(np.concatenate([*rims, back]))
    return box(60, 60, 8, (-30, -30, 0)) - bar if is_inner else bar


@pytest.mark.parametrize(
    ("strips", "step_deg", "is_cone"),
    [(2, 16, False), (3, 9, False), (4, 7, False), (4, 9, True), (6, 15, True), (12, 15, True)],
)
@pytest.mark.parametrize("is_inner", [False, True])
def test_a_few_strips_of_a_cone_are_one_from_thirty_degrees_on(strips, step_deg, is_cone, is_inner):
    found = cones(arc_of_a_cone(strips, step_deg, is_inner))
    assert len(found) == is_cone
    half = math.radians(step_deg / 2)
    for one in found:
        assert one.corner_mm == pytest.approx(20, abs=1e-3)
        assert one.flat_mm == pytest.approx(20 * math.cos(half), abs=1e-3)
        # A sector of a strip has r²·sin(step)/2 of area, that of its circle r²·step/2.
        share = math.sin(2 * half) / (2 * half)
        assert one.area_mm == pytest.approx(20 * math.sqrt(share), abs=1e-3)
        assert one.sagitta_mm == pytest.approx(10 * (1 - math.cos(half)), abs=1e-3)
        assert one.half_angle_deg == pytest.approx(math.degrees(math.atan(0.25)), abs=1e-2)
        assert one.arc_deg == pytest.approx(strips * step_deg, abs=1e-2)
        assert (one.strips, one.is_inner) == (strips, is_inner)
        assert one.half_length_mm == pytest.approx(4, abs=1e-3)
        assert one.point_mm == pytest.approx((0, 0, 4), abs=1e-3)
        assert one.axis == pytest.approx((0, 0, 1), abs=1e-4)


@pytest.mark.parametrize("is_inner", [False, True])
def test_facets_of_half_a_cone_cover_half_a_turn(is_inner):
    (one,) = cones(arc_of_a_cone(20, 9, is_inner, is_alike=False))
    # From the lower rim's first corner at −90° to the upper rim's last at 90° and half a step.
    assert one.arc_deg == pytest.approx(180 + 4.5, abs=0.01)
    assert one.strips == 20
    assert one.is_inner is is_inner
    half = math.radians(4.5)
    assert one.corner_mm == pytest.approx(20, abs=1e-3)
    assert one.flat_mm == pytest.approx(20 * math.cos(half), abs=5e-3)
    assert one.sagitta_mm == pytest.approx(10 * (1 - math.cos(half)), abs=3e-3)
    assert one.point_mm == pytest.approx((0, 0, 4), abs=1e-3)
    assert one.half_length_mm == pytest.approx(4, abs=1e-3)


@pytest.mark.parametrize(
    ("half_deg", "is_cone"), [(0.23, False), (0.27, True), (84.0, True), (86.0, False)]
)
def test_a_cone_leans_by_a_quarter_of_a_degree_and_no_more_than_85(half_deg, is_cone):
    slope = math.tan(math.radians(half_deg))
    length = 16.0 if half_deg < 45 else 6 / slope
    found = cones(frustum(10 - slope * length, 10 + slope * length, length, 64))
    assert len(found) == is_cone
    for one in found:
        assert one.half_angle_deg == pytest.approx(half_deg, abs=1e-2)
        assert one.corner_mm == pytest.approx(10, abs=1e-3)


def test_diameters_grow_along_the_axis_and_gaps_count_square_to_the_wall():
    axis, point = np.array([0.6, 0.0, 0.8]), np.array([1.0, 2.0, 3.0])
    one = Cone(axis, point, 30.0, 10.0, 9.9, 9.95, 0.05, False, 360.0, 4.0, 48)
    # Each mm along the axis the radius grows by tan 30° = 1/√3; beside the axis it does not.
    assert one.diameter_at(point) == pytest.approx(10)
    beside = point + 3 * axis + np.array([0.8, 7.0, -0.6])
    assert one.diameter_at(beside) == pytest.approx(10 + 2 * 3 / math.sqrt(3))
    assert one.diameter_at(point - axis) == pytest.approx(10 - 2 / math.sqrt(3))
    assert one.normal_share == pytest.approx(math.sqrt(3) / 2)


@pytest.mark.parametrize(
    ("half_lengths_mm", "lean", "are_belts"),
    [
        # Along the wall the lesser is at least 0.4 of the greater; both stand on one axis.
        ((4.0, 4.0), 0.0, True),
        ((4.0, 1.7), 0.0, True),
        ((4.0, 1.5), 0.0, False),
        ((4.0, 4.0), 0.9e-3, True),
        ((4.0, 4.0), 1.1e-3, False),
    ],
)
def test_belts_of_a_rounding_are_alike_in_width(half_lengths_mm, lean, are_belts):
    axes = np.array([0.0, 0, 1]), np.array([lean, 0, math.sqrt(1 - lean**2)])
    pair = [
        Cone(axis, np.zeros(3), 20.0, 10.0, 9.9, 9.95, 0.05, False, 360.0, half, 48)
        for axis, half in zip(axes, half_lengths_mm, strict=True)
    ]
    assert _are_belts(*pair) is are_belts
    assert _are_belts(*pair[::-1]) is are_belts


def test_widths_of_belts_are_taken_along_the_wall():
    """Of 60° half an angle, 1 mm along the axis is 2 mm along the wall."""
    steep = Cone(np.array([0.0, 0, 1]), np.zeros(3), 60.0, 9, 9, 9, 0.1, False, 360.0, 0.9, 48)
    plain = Cone(np.array([0.0, 0, 1]), np.zeros(3), 0.3, 9, 9, 9, 0.1, False, 360.0, 4.0, 48)
    assert _are_belts(steep, plain)  # 1.8 of 4
    assert not _are_belts(replace(steep, half_length_mm=0.7), plain)  # 1.4 of 4


def points_on_a_cone(axis, point, radius, slope, seed):
    """Points all round a cone, at uneven angles and heights, and its tip."""
    rng = np.random.default_rng(seed)
    u = np.cross(axis, (0.3, -0.5, 0.8))
    u /= np.linalg.norm(u)
    angle, height = rng.uniform(0, 5, 40), rng.uniform(-3, 4, 40)
    out = np.outer(np.cos(angle), u) + np.outer(np.sin(angle), np.cross(axis, u))
    wall = point + np.outer(height, axis) + (radius + slope * height)[:, None] * out
    return np.concatenate([wall, [point - radius / slope * axis]])


@pytest.mark.parametrize("slope", [0.05, -0.2, 0.9])
def test_a_fit_starts_from_the_cone_itself_where_its_axis_is_known(slope):
    axis = np.array([0.36, 0.48, 0.8])
    points = points_on_a_cone(axis, np.array([5.0, -2.0, 7.0]), 4.0, slope, seed=1)
    fit = _start(points, axis)
    assert np.abs(fit.off(points)[0]).max() < 1e-8
    assert fit.slope == pytest.approx(slope, abs=1e-9)
    assert np.linalg.norm(np.cross(fit.point - (5, -2, 7), axis)) < 1e-8


@pytest.mark.parametrize("slope", [0.1, 0.9])
@pytest.mark.parametrize("seed", [2, 3, 4])
def test_a_step_of_the_fit_leaves_the_square_of_what_was_off(slope, seed):
    axis, point = np.array([0.36, 0.48, 0.8]), np.array([5.0, -2.0, 7.0])
    points = points_on_a_cone(axis, point, 4.0, slope, seed)
    rng = np.random.default_rng(seed)
    leaning = axis + 1e-3 * rng.normal(size=3)
    leaning /= np.linalg.norm(leaning)
    start = _Fit(leaning, point + 1e-3 * rng.normal(size=3), 4.002, slope + 1e-3)
    fit, moved = _improved(points, start)
    assert np.abs(start.off(points)[0]).max() > 2e-3
    assert np.abs(fit.off(points)[0]).max() < 5e-5
    assert np.linalg.norm(np.cross(fit.axis, axis)) < 2e-5
    assert moved > 1e-3
    again, moved = _improved(points, _improved(points, fit)[0])
    assert np.abs(again.off(points)[0]).max() < 1e-10
    assert moved < 1e-7


def test_no_cone_is_fitted_step_by_step_where_a_first_guess_tells(monkeypatch):
    """A ball is none; its belts, and a true cone, are met by the guess to a twentieth of a µm."""
    steps = []
    improved = finder._improved
    monkeypatch.setattr(finder, "_improved", lambda *a: steps.append(1) or improved(*a))
    for solid in (Manifold.sphere(8, 96), Manifold.cylinder(20, 5, 6, 64)):
        regions_of(drawn(solid))
    assert not steps
