"""Moved faces at the limits of what is moved, each from both sides."""

import numpy as np
import pytest
from manifold3d import CrossSection, Manifold
from support.drawn_bodies import as_trimesh, box, drawn
from support.moved_faces import between, body_of, facing, prism

from coupons.answering.meet.print_axes import printed
from coupons.answering.meshes.body import Body
from coupons.answering.meshes.regions import SurfaceKind, regions_of, round_of
from coupons.answering.meshes.surface import surface_of
from coupons.answering.relieve.face_offset import MovedFaces, offset_faces
from coupons.errors import BodyError


def moved(mesh, *asked, **extra):
    found = offset_faces(body_of(mesh), [MovedFaces(*one) for one in asked], **extra)
    return found.body, {name: fault.reason for fault in found.faults for name in fault.names}


@pytest.mark.parametrize(("rise_mm", "is_moved"), [(5.15, True), (4.85, False)])
def test_an_edge_of_two_faces_at_three_degrees_may_still_run_out(rise_mm, is_moved):
    # A corner may go 20 times as far as its face: 1/sin of the angle, so down to 2.866 degrees.
    mesh = as_trimesh(prism([(0, 0), (100, 0), (0, rise_mm)], 10))
    slanted = facing(mesh, (rise_mm, 100, 0))
    body, faults = moved(mesh, ("roof", slanted, -0.02))
    if is_moved:
        assert faults == {}
        angle = np.arctan(rise_mm / 100)
        assert body.box_mm[1, 0] == pytest.approx(100 - 0.02 / np.sin(angle), abs=1e-6)
    else:
        assert faults == {"roof": "runs out into a face that is almost parallel to it"}


@pytest.mark.parametrize(("unlike_mm", "is_moved"), [(1.5e-4, True), (2.5e-4, False)])
@pytest.mark.parametrize("sign", [1, -1])
def test_a_face_has_one_offset_to_within_a_fifth_of_a_micron(unlike_mm, sign, is_moved):
    mesh = as_trimesh(box(30, 20, 10))
    top = facing(mesh, (0, 0, 1))
    body, faults = moved(mesh, ("one", top, -0.1), ("two", top, -0.1 + sign * unlike_mm))
    words = "would need two different offsets of one face: move another body instead"
    assert faults == ({} if is_moved else {"one": words, "two": words})
    if is_moved:  # the last that asks
        assert body.box_mm[1, 2] == pytest.approx(9.9 + sign * unlike_mm, abs=1e-7)


@pytest.mark.parametrize(("unlike_mm", "is_moved"), [(1.5e-4, True), (2.5e-4, False)])
def test_parts_of_a_plane_move_alike_to_within_a_fifth_of_a_micron(unlike_mm, is_moved):
    mesh = as_trimesh(box(30, 20, 10))
    top = facing(mesh, (0, 0, 1))
    _, faults = moved(mesh, ("top", top, np.array([-0.1, -0.1 - unlike_mm])))
    reason = "lies in one plane with a neighbouring face that moves differently"
    assert faults == ({} if is_moved else {"top": reason})


@pytest.mark.parametrize(("offset_mm", "is_moved"), [(-7.5e-4, True), (-8.5e-4, False)])
def test_four_planes_of_a_corner_agree_to_within_a_fifth_of_a_micron(offset_mm, is_moved):
    # Of the four sides of a pyramid one moves by t: the best corner leaves a quarter of t to each.
    pyramid = Manifold.hull_points(
        np.array([(-5, -5, 0), (5, -5, 0), (5, 5, 0), (-5, 5, 0), (0, 0, 8)], float)
    )
    mesh = as_trimesh(pyramid)
    _, faults = moved(mesh, ("side", facing(mesh, (8, 0, 5)), offset_mm))
    reason = "meets more faces in one corner than can keep their planes"
    assert faults == ({} if is_moved else {"side": reason})


@pytest.mark.parametrize(
    ("top_mm", "floor_mm", "reason"),
    [
        (-3.0, 0.0, "would go through its wall, which is 3.00 mm thick"),
        (-2.21, 0.0, "would leave a wall of 0.79 mm, now 3.00 mm"),
        (-2.19, 0.0, ""),
        # Both sides together; one that moves out makes up for the other.
        (-1.2, -1.2, "would leave a wall of 0.60 mm, now 3.00 mm"),
        (-1.09, -1.09, ""),
        (-2.5, 0.5, ""),
        (-2.5, 0.2, "would leave a wall of 0.70 mm, now 3.00 mm"),
    ],
)
def test_a_wall_keeps_its_least_thickness(top_mm, floor_mm, reason):
    mesh = as_trimesh(between((0, 0, 0), (30, 20, 3)))
    asked = [("top", facing(mesh, (0, 0, 1)), top_mm)]
    if floor_mm:
        asked.append(("floor", facing(mesh, (0, 0, -1)), floor_mm))
    body, faults = moved(mesh, *asked, least_wall_mm=0.8)
    named = ["top", "floor"] if floor_mm < 0 else ["top"]
    assert faults == (dict.fromkeys(named, reason) if reason else {})
    if not reason:
        assert body.volume_mm3 == pytest.approx(600 * (3 + top_mm + floor_mm))


def test_each_face_is_told_of_its_own_thinnest_wall():
    # A tread 3 mm and one 5 mm thick, both of which go down by 2.5 and 4.6 mm.
    mesh = as_trimesh(between((0, 0, 0), (30, 20, 3)) + between((30, 0, 0), (60, 20, 5)))
    low, high = (facing(mesh, (0, 0, 1), (0, 0, z)) for z in (3, 5))
    _, faults = moved(mesh, ("low", low, -2.5), ("high", high, -4.6), least_wall_mm=0.8)
    assert faults == {
        "low": "would leave a wall of 0.50 mm, now 3.00 mm",
        "high": "would leave a wall of 0.40 mm, now 5.00 mm",
    }


@pytest.mark.parametrize(
    ("floor_mm", "roof_mm", "meets"),
    [(1.5, 0.0, True), (1.49, 0.0, False), (0.75, 0.75, True), (0.74, 0.74, False)],
)
def test_faces_across_a_slit_do_not_grow_together(floor_mm, roof_mm, meets):
    mesh = as_trimesh(box(10, 8, 12) - box(6, 20, 1.5, (4, -5, 5)))
    asked = [("floor", facing(mesh, (0, 0, 1), (0, 0, 5)), floor_mm)]
    if roof_mm:
        asked.append(("roof", facing(mesh, (0, 0, -1), (0, 0, 6.5)), roof_mm))
    body, faults = moved(mesh, *asked)
    reason = "would meet the face opposite, which is 1.50 mm away"
    assert faults == (dict.fromkeys((one[0] for one in asked), reason) if meets else {})
    if not meets:
        assert body.volume_mm3 == pytest.approx(960 - 48 * (1.5 - floor_mm - roof_mm))


def test_one_that_gives_way_lets_the_other_grow():
    mesh = as_trimesh(box(10, 8, 12) - box(6, 20, 1.5, (4, -5, 5)))
    floor, roof = facing(mesh, (0, 0, 1), (0, 0, 5)), facing(mesh, (0, 0, -1), (0, 0, 6.5))
    body, faults = moved(mesh, ("floor", floor, 2.0), ("roof", roof, -1.0))
    assert faults == {}
    assert body.volume_mm3 == pytest.approx(960 - 48 * 0.5)


@pytest.mark.parametrize(("step_mm", "is_moved"), [(1.9, True), (3.0, False)])
def test_a_face_does_not_go_past_the_end_of_the_one_that_it_stands_on(step_mm, is_moved):
    # A stair whose riser stands 2 mm behind the front of its tread, and is 5 mm high.
    mesh = as_trimesh(prism([(0, 0), (10, 0), (10, 4), (8, 4), (8, 9), (0, 9)], 6))
    body, faults = moved(mesh, ("riser", facing(mesh, (1, 0, 0), (8, 0, 0)), step_mm))
    if is_moved:
        assert faults == {}
        assert body.volume_mm3 == pytest.approx(6 * (40 + 40 + 5 * step_mm))
    else:
        assert faults == {"riser": "would go past the end of a neighbouring face"}


def faceted(turns_deg, widths):
    """A prism whose back is a run of flat faces, each turned from the last by an angle."""
    angle, at, points = 90.0, np.zeros(2), [(0.0, 0.0)]
    for turn, wide in zip(turns_deg, widths, strict=True):
        angle += turn
        at = at + wide * np.array([np.cos(np.radians(angle)), np.sin(np.radians(angle))])
        points.append(tuple(at.tolist()))
    points += [(-30.0, points[-1][1]), (-30.0, 0.0)]
    return drawn(Manifold.extrude(CrossSection([points]), 12))


@pytest.mark.parametrize(
    ("turns_deg", "free"),
    [
        ((0, 12, 21), 0),  # three faces that turn smoothly into each other stay faces
        ((0, 12, 21, 5), 1),  # four are a free form
        ((0, 12, 23, 5), 0),  # a turn of 23 degrees is an edge
    ],
)
def test_more_than_three_faces_that_turn_smoothly_are_a_free_form(turns_deg, free):
    widths = (5.0, 9.0, 6.0, 8.0)[: len(turns_deg)]
    regions = regions_of(faceted(turns_deg, widths))
    kinds = [region.kind for region in regions]
    assert kinds.count(SurfaceKind.FREE) == free
    assert kinds.count(SurfaceKind.CYLINDER) == kinds.count(SurfaceKind.CONE) == 0
    assert len(kinds) == 5 + (1 if free else len(turns_deg))
    if free:
        (one,) = [region for region in regions if region.kind is SurfaceKind.FREE]
        assert one.area_mm2 == pytest.approx(sum(widths) * 12, rel=1e-5)
        with pytest.raises(ValueError, match="a cylinder or a cone, not a free-form region"):
            round_of(one)


def test_regions_come_in_the_order_of_their_first_triangle():
    body = drawn(box(30, 20, 10) - Manifold.cylinder(30, 4, 4, 24).translate((10, 10, -5)))
    mixed = np.random.default_rng(7).permutation(len(body.triangles))
    shuffled = Body("b", "b.stl", body.vertices_mm.copy(), body.triangles[mixed])
    regions = regions_of(shuffled)
    firsts = [int(region.faces.min()) for region in regions]
    assert firsts == sorted(firsts)
    assert [region.number for region in regions] == list(range(len(regions)))
    (hole,) = [region for region in regions if region.kind is SurfaceKind.CYLINDER]
    assert hole.normal.tolist() == [0, 0, 0], "it looks all ways alike"
    (top,) = [region for region in regions if region.normal[2] > 0.9]
    # 600 mm² about (15, 10) less a polygon of 24 corners about (10, 10).
    lost = 24 / 2 * np.sin(np.pi / 12) * 16
    assert top.area_mm2 == pytest.approx(600 - lost, rel=1e-5)
    assert top.point_mm == pytest.approx([(9000 - 10 * lost) / (600 - lost), 10, 10], abs=1e-4)


@pytest.mark.parametrize(
    ("up", "axes"),
    [
        # x of the file as far as it is level, unless it is nearly up: then z of the file.
        ("0.8/0/0.6", ((0.6, 0, -0.8), (0, 1, 0), (0.8, 0, 0.6))),
        ("0.96/0/0.28", ((-0.28, 0, 0.96), (0, -1, 0), (0.96, 0, 0.28))),
        ("-0.96/0/0.28", ((0.28, 0, 0.96), (0, 1, 0), (-0.96, 0, 0.28))),
        ("0/0/0.00001", ((1, 0, 0), (0, 1, 0), (0, 0, 1))),
    ],
)
def test_the_axes_of_a_print_that_leans(up, axes):
    surface = surface_of(drawn(box(9, 8, 7), "lid"))
    (found,) = printed([surface], {"lid": up})
    assert found.axes == pytest.approx(np.array(axes, float), abs=1e-12)
    assert np.linalg.det(found.axes) == pytest.approx(1)


def test_a_way_up_of_no_length_is_refused_and_told():
    surface = surface_of(drawn(box(9, 8, 7), "lid"))
    with pytest.raises(BodyError) as refused:
        printed([surface], {"lid": "0/0/0.0000001", "lit": "z"})
    assert [str(one) for one in refused.value.problems] == [
        "--up lit=z: expected a body: lid, got lit. Did you mean lid?",
        "--up lid=0/0/0.0000001: expected x, -x, y, -y, z, -z, got 0/0/0.0000001. Or three numbers "
        "with / between them, such as 0/0.5/1.",
    ]
