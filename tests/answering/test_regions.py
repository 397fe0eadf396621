import math

import numpy as np
import pytest
from manifold3d import CrossSection, Manifold
from support.drawn_bodies import box, drawn, round_bar, rounded_plate

from coupons.answering.meshes.regions import SurfaceKind, regions_of

TILT = (31.0, 17.0, 60.0)


def kinds(solid):
    return [region.kind for region in regions_of(drawn(solid))]


def test_a_box_has_six_flat_faces_however_it_is_turned_and_divided():
    for solid in (box(30, 20, 10), box(30, 20, 10).refine(9).rotate(TILT)):
        regions = regions_of(drawn(solid))
        assert [region.kind for region in regions] == [SurfaceKind.PLANE] * 6
        areas = sorted(region.area_mm2 for region in regions)
        assert areas == pytest.approx([200, 200, 300, 300, 600, 600], rel=1e-5)


def test_each_triangle_is_in_one_region_and_faces_cannot_be_written_to():
    body = drawn(box(30, 20, 10) - round_bar(8, 30, (15, 10, -5)))
    regions = regions_of(body)
    every = np.concatenate([region.faces for region in regions])
    np.testing.assert_array_equal(np.sort(every), np.arange(len(body.triangles)))
    with pytest.raises(ValueError, match="read-only"):
        regions[0].faces[0] = 3
    assert [region.number for region in regions] == list(range(len(regions)))


@pytest.mark.parametrize("sides", [24, 25, 64, 256])
@pytest.mark.parametrize("is_inner", [True, False])
def test_diameters_of_a_cylinder_across_corners_flats_and_by_area(sides, is_inner):
    diameter, at = 7.3, np.array([3.0, -2.0, 0.0])
    bar = round_bar(diameter, 12, tuple(at), sides)
    solid = (box(40, 40, 12, (-20, -20, 0)) - bar) if is_inner else bar
    turned = drawn(solid.rotate(TILT).translate((50, 0, 80)))
    (region,) = (r for r in regions_of(turned) if r.kind is SurfaceKind.CYLINDER)
    cylinder = region.cylinder
    half = math.pi / sides
    assert cylinder.is_inner is is_inner
    assert cylinder.strips == sides
    assert cylinder.arc_deg == pytest.approx(360, abs=0.1)
    assert cylinder.corner_mm == pytest.approx(diameter, abs=1e-4)
    assert cylinder.flat_mm == pytest.approx(diameter * math.cos(half), abs=1e-4)
    area = sides / 2 * math.sin(2 * half) * diameter**2 / 4  # of a regular polygon
    assert cylinder.area_mm == pytest.approx(2 * math.sqrt(area / math.pi), abs=1e-4)
    assert cylinder.sagitta_mm == pytest.approx(diameter / 2 * (1 - math.cos(half)), abs=1e-4)
    assert 2 * cylinder.half_length_mm == pytest.approx(12, abs=1e-3)
    middle = Manifold.cube((2, 2, 2), True).translate((*at[:2], 6.0)).rotate(TILT)
    place = np.array(middle.to_mesh64().vert_properties)[:, :3].mean(axis=0)
    assert np.linalg.norm(region.point_mm - place - np.array([50, 0, 80])) < 1e-3


def test_a_rounding_ends_where_the_flat_face_begins():
    regions = regions_of(drawn(rounded_plate(20, 12, 15, 3).rotate(TILT)))
    rounds = [region for region in regions if region.kind is SurfaceKind.CYLINDER]
    assert [round(region.cylinder.arc_deg) for region in rounds] == [90] * 4
    assert [region.cylinder.corner_mm for region in rounds] == pytest.approx([6] * 4, abs=1e-3)
    assert [region.kind for region in regions].count(SurfaceKind.PLANE) == 6


def test_a_hole_cut_through_by_another_stays_one_cylinder_a_piece():
    plate = box(40, 40, 20)
    crossed = plate - round_bar(12, 60, (20, 20, -10), 48)
    crossed -= round_bar(5, 80, (0, 0, -40), 32).rotate((0, 90, 0)).translate((20, 20, 10))
    found = [r.cylinder for r in regions_of(drawn(crossed)) if r.kind is SurfaceKind.CYLINDER]
    assert sorted(round(one.corner_mm, 2) for one in found) == [5, 5, 12]
    assert max(found, key=lambda one: one.corner_mm).strips == 48


@pytest.mark.parametrize("slope", [1.0, 5.0, 12.0])
def test_slightly_slanted_faces_are_faces_of_their_own(slope):
    wedge = Manifold.hull_points(
        np.array(
            [(x, y, 0.0) for x in (0, 30) for y in (0, 20)]
            + [(x, y, 10.0) for x in (0, 15) for y in (0, 20)]
            + [(30.0, y, 10 - 15 * math.tan(math.radians(slope))) for y in (0, 20)]
        )
    )
    assert kinds(wedge) == [SurfaceKind.PLANE] * 7


def turned(profile, sides=48):
    """A body of revolution about z from points (radius, height), counter-clockwise."""
    return Manifold.revolve(CrossSection([np.array(profile, float)]), sides)


def arc(centre, radius, start_deg, stop_deg, steps=8):
    angles = np.radians(np.linspace(start_deg, stop_deg, steps + 1))
    return [(centre[0] + radius * np.cos(a), centre[1] + radius * np.sin(a)) for a in angles]


def test_a_hole_with_rounded_mouths_at_both_ends_is_a_cylinder_between_them():
    # The rounding is convex towards the hole: its centre lies in the plate.
    low, high = arc((5, 2), 2, -90, -180), arc((5, 8), 2, 180, 90)
    plate = turned([*low, *high, (15, 10), (15, 0)][::-1])
    found = [r.cylinder for r in regions_of(drawn(plate.rotate(TILT))) if r.cylinder is not None]
    inner = [one for one in found if one.is_inner]
    assert [round(one.corner_mm, 3) for one in inner] == [6.0]
    assert 2 * inner[0].half_length_mm == pytest.approx(6, abs=1e-3)


def test_a_bar_with_a_dome_at_each_end_keeps_its_cylinder():
    capsule = turned([(0, -6), *arc((0, 0), 6, -90, 0)[1:], *arc((0, 20), 6, 0, 90)])
    (bar,) = (r.cylinder for r in regions_of(drawn(capsule)) if r.cylinder is not None)
    assert (round(bar.corner_mm, 3), round(2 * bar.half_length_mm, 3)) == (12.0, 20.0)


@pytest.mark.parametrize("sides", [48, 64, 128])
def test_a_ring_is_free_form_however_finely_divided(sides):
    ring = turned(arc((12, 0), 2, 0, 360, sides // 2)[:-1], sides)
    assert kinds(ring) == [SurfaceKind.FREE]


@pytest.mark.parametrize("is_inner", [True, False])
def test_a_cylinder_whose_two_rims_are_divided_differently_is_one(is_inner):
    # As where a program divides each rim by itself: no facet is a strip along the axis.
    angles = [np.linspace(0, 2 * np.pi, n, endpoint=False) + k for n, k in ((48, 0.0), (60, 0.03))]
    rims = [
        np.column_stack([4 * np.cos(a), 4 * np.sin(a), np.full(len(a), z)])
        for a, z in zip(angles, (0.0, 10.0), strict=True)
    ]
    bar = Manifold.hull_points(np.concatenate(rims))
    solid = box(20, 20, 10, (-10, -10, 0)) - bar if is_inner else bar
    (one,) = (r.cylinder for r in regions_of(drawn(solid.rotate(TILT))) if r.cylinder is not None)
    assert one.is_inner is is_inner
    assert one.corner_mm == pytest.approx(8, abs=1e-3)
    assert 2 * one.half_length_mm == pytest.approx(10, abs=1e-2)
    assert one.arc_deg == pytest.approx(360, abs=8)
    assert one.flat_mm == pytest.approx(8 * math.cos(math.pi / 48), abs=5e-3)


def test_a_ball_is_free_form_and_a_cone_is_no_cylinder():
    assert kinds(Manifold.sphere(9, 48)) == [SurfaceKind.FREE]
    assert kinds(Manifold.cylinder(12, 8, 5, 48)).count(SurfaceKind.CONE) == 1
    assert SurfaceKind.CYLINDER not in kinds(Manifold.cylinder(12, 8, 7.8, 96))


@pytest.mark.parametrize(("wider_mm", "is_round"), [(0.001, True), (0.1, False), (1.0, False)])
def test_an_oval_bar_is_no_cylinder(wider_mm, is_round):
    bar = round_bar(10, 12, sides=96).scale((1 + wider_mm / 10, 1, 1))
    found = SurfaceKind.CYLINDER in kinds(bar.rotate(TILT))
    assert found is is_round
