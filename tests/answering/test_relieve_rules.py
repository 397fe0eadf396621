"""What is asked of faces and why it is refused, each limit from both sides, steps by hand."""

from dataclasses import replace

import numpy as np
import pytest
import trimesh
from manifold3d import CrossSection, Manifold
from support.drawn_bodies import box, drawn, round_bar, rounded_plate
from support.moved_faces import between

from coupons.answering.meet.meetings import meet
from coupons.answering.meshes.regions import SurfaceKind, regions_of
from coupons.answering.relieve import relieve as relieve_module
from coupons.answering.relieve import relieved_files
from coupons.answering.relieve.asked_holes import lone_side, lone_wanted, odd_holes
from coupons.answering.relieve.face_sizes import between_mm, flat_share, height_mm
from coupons.answering.relieve.relieve import Side, Wanted, odd_faces, relieve
from coupons.answering.relieve.relieved_files import relieve_into_files
from coupons.answering.relieve.roundings import carried

UP = np.array([0.0, 0, 1])

# Many small bodies: together they take longer than a quick test may.
pytestmark = pytest.mark.slow


def faces(body, normal, *places):
    """The flat faces that look along a normal or against it, at these places along it."""
    normal = np.asarray(normal, float)
    return tuple(
        region
        for place in places
        for region in regions_of(body)
        if region.kind is SurfaceKind.PLANE
        and abs(region.normal @ normal) > 1 - 1e-6
        and abs(region.point_mm @ normal - place) < 1e-3
    )


def side(body, regions, *, internal=False, up=UP, letters="ab", at_mm=None):
    return Side(body.name, letters, tuple(regions), internal, np.asarray(up, float), at_mm)


def rounds(body, is_inner=None):
    return [
        region
        for region in regions_of(body)
        if region.cylinder is not None and is_inner in (None, region.cylinder.is_inner)
    ]


def bar(wide=8.0):
    return drawn(box(wide, 40, 12, (-wide / 2, 0, 0)), "bar")


def wanted(one, size_mm, **more):
    more = {"sizes_mm": {one.is_internal: size_mm}, "gap_mm": 0.0, "is_absolute": True} | more
    inner, outer = (one, None) if one.is_internal else (None, one)
    return Wanted("joint", inner, outer, size_mm, **more)


def why(pair, *bodies):
    return odd_faces(pair, {body.name: body for body in bodies})


@pytest.mark.parametrize(
    ("size_mm", "is_told"), [(8.59, False), (8.61, True), (7.41, False), (7.39, True)]
)
def test_a_listed_size_is_that_of_the_faces_within_six_tenths(size_mm, is_told):
    body = bar()
    pair = wanted(side(body, faces(body, (1, 0, 0), -4, 4)), size_mm)
    assert why(pair, body) == (
        f"bar ab measures 8.00 mm, the list says {size_mm:g} mm: put back the row as "
        "`coupons meet` wrote it"
        if is_told
        else ""
    )
    assert why(replace(pair, is_lone=True), body) == ""


def test_faces_of_a_side_look_opposite_ways():
    body = bar()
    (near,), (far,), (top,) = (
        faces(body, way, at) for way, at in (((1, 0, 0), -4), ((1, 0, 0), 4), ((0, 0, 1), 12))
    )
    apart = "bar ab are not one cylinder, or flat faces opposite one another"
    assert why(wanted(side(body, (near, far)), 8.0), body) == ""
    for regions in ((near,), (near, near), (near, top), (near, far, top)):
        assert why(wanted(side(body, regions), 8.0), body) == apart


@pytest.mark.parametrize(("lean", "is_told"), [(1.3e-3, False), (1.5e-3, True)])
def test_faces_of_a_side_are_parallel_within_a_millionth_of_the_cosine(lean, is_told):
    # The cosine of 1.414 mrad is one less a millionth.
    wedge = Manifold.extrude(
        CrossSection([[(-4.0, 0.0), (4.0, 0.0), (4.0 - 12 * lean, 12.0), (-4.0, 12.0)]]), 40
    )
    body = drawn(wedge, "bar")
    both = [one for one in regions_of(body) if abs(one.normal[0]) > 0.9]
    assert bool(why(wanted(side(body, both), 8.0), body)) is is_told


def fork(x=0.0, wider=0.0, lean_deg=0.0):
    """Two walls with a hole of 5 mm; the upper one's is beside, wider or leans."""
    solid = box(20, 20, 20, (-10, -10, 0)) - box(23, 30, 8, (-15, -15, 6))
    solid -= round_bar(5, 7, (0, 0, -1), 24)
    drill = round_bar(5 + wider, 12, (0, 0, -6), 24).rotate((0, lean_deg, 0))
    return drawn(solid - drill.translate((x, 0, 17)), "fork")


@pytest.mark.parametrize(
    ("change", "is_one"),
    [
        ({}, True),
        # Axes within 5 µm, and diameters as well,
        ({"x": 0.0048}, True),
        ({"x": 0.0052}, False),
        ({"wider": 0.0048}, True),
        ({"wider": 0.0052}, False),
        ({"wider": -0.0052}, False),
        # and parallel within a millionth of the cosine, 0.081 degrees: then the middle of the one
        # hole, 14 mm up, still lies on the axis of the other.
        ({"lean_deg": 0.09}, False),
    ],
)
def test_pieces_of_a_hole_are_one_cylinder(change, is_one):
    body = fork(**change)
    both = rounds(body)
    assert len(both) == 2
    for order in (both, both[::-1]):
        assert (why(wanted(side(body, order, internal=True), 5.0), body) == "") is is_one


def test_a_pin_and_a_hole_of_one_diameter_are_not_one_side():
    ring = drawn(round_bar(8, 10, sides=24) - round_bar(5, 4, (0, 0, 6), 24), "ring")
    stud = drawn(box(20, 20, 5, (-10, -10, -5)) + round_bar(5, 4, (0, 0, 0), 24), "stud")
    mixed = side(ring, [*rounds(ring, True), *rounds(stud)], internal=True)
    assert "not one cylinder" in why(wanted(mixed, 5.0), ring)


def test_round_and_flat_faces_are_not_one_side():
    body = fork()
    mixed = side(body, [rounds(body)[0], *faces(body, (1, 0, 0), 10)], internal=True)
    assert "not one cylinder" in why(wanted(mixed, 5.0), body)
    mixed = side(body, [*faces(body, (1, 0, 0), 10), rounds(body)[0]], internal=True)
    assert "not one cylinder" in why(wanted(mixed, 5.0), body)


def test_slanted_faces_are_not_drawn_in_whole_layers():
    body = bar()
    one = side(body, faces(body, (1, 0, 0), -4, 4))
    slanted = wanted(one, 18.0, is_slanted=True)
    assert why(slanted, body) == "bar ab is slanted: it is not drawn in whole layers"
    assert why(replace(slanted, is_absolute=False), body) == ""


def test_sizes_are_between_the_means_of_faces_by_area():
    body = drawn(box(10, 8, 6) + box(4, 8, 2, (0, 0, 6)), "stair")
    low, upper, top = (
        np.flatnonzero(
            (np.abs(body.normals[:, 2]) > 0.9)
            & np.isclose(body.corners_mm[:, :, 2].mean(axis=1), z)
        )
        for z in (0, 6, 8)
    )
    assert height_mm(body, top, UP) == pytest.approx(8)
    assert height_mm(body, top, -UP) == pytest.approx(-8)
    # 6 mm over 6·8 mm², 8 mm over 4·8.
    both = np.concatenate([upper, top])
    assert height_mm(body, both, UP) == pytest.approx(6 * 0.6 + 8 * 0.4, abs=1e-6)
    assert between_mm(body, low, top, UP) == between_mm(body, top, low, UP) == pytest.approx(8)


@pytest.mark.parametrize("sides", [18, 24, 90])
def test_a_taper_is_measured_at_the_height_that_is_asked(sides):
    # 8 mm wide at z = 0, 12 at 20.
    body = drawn(Manifold.cylinder(20, 4, 6, sides), "plug")
    (region,) = [one for one in regions_of(body) if one.cone is not None]
    for at_mm, size in ((None, 10.0), (np.array([0.0, 0, 5]), 9.0), (np.array([3.0, 1, 20]), 12.0)):
        one = side(body, [region], at_mm=at_mm)
        assert one.size_in(body) == pytest.approx(size, abs=1e-4)
        assert one.is_round
    # A strip's plane passes a point of the axis at cos(half a strip) of the radius there, less for
    # its lean: the wall goes out by 0.1·cos(half) a mm in the middle of a strip.
    half = np.cos(np.pi / sides)
    assert flat_share(region.cone) == pytest.approx(half / np.hypot(1, 0.1 * half), abs=1e-6)


def one_of(found):
    (one,) = found
    return one


def steps_of(pair, *bodies, least=None):
    found = relieve([regions_of(body) for body in bodies], [pair], least or {})
    assert not found.refused, found.refused
    return found


def test_each_side_moves_by_half_of_what_its_size_lacks():
    body = bar()
    found = steps_of(wanted(side(body, faces(body, (1, 0, 0), -4, 4)), 7.7), body)
    assert [step.offset_mm for step in found.moved] == pytest.approx([-0.15, -0.15])
    moved = found.bodies["bar"]
    assert moved.box_mm[:, 0] == pytest.approx([-3.85, 3.85])
    assert moved.volume_mm3 == pytest.approx(7.7 * 40 * 12, rel=1e-6)


@pytest.mark.parametrize(("up", "box_mm"), [((1, 0, 0), (-4, 3.7)), ((-1, 0, 0), (-3.7, 4))])
def test_across_layers_the_whole_step_is_taken_above(up, box_mm):
    body = bar()
    one = side(body, faces(body, (1, 0, 0), -4, 4), up=up)
    found = steps_of(wanted(one, 7.7, one_face=frozenset({False})), body)
    assert one_of(found.moved).offset_mm == pytest.approx(-0.3)
    assert found.bodies["bar"].box_mm[:, 0] == pytest.approx(box_mm)


def test_a_hole_grows_into_the_material_by_the_circle_that_is_drawn():
    body = fork()
    found = steps_of(wanted(side(body, rounds(body), internal=True), 5.4), body)
    assert [step.offset_mm for step in found.moved] == pytest.approx([-0.2, -0.2], abs=1e-5)
    # Flats of 24 strips move by less: by the cosine of 7.5 degrees.
    for step in found.moved:
        assert step.facet_mm == pytest.approx(-0.2 * np.cos(np.pi / 24), abs=1e-5)
    polygon = 24 / 2 * np.sin(np.pi / 12) / 4
    grown = (5.4**2 - 25) * polygon * 12
    assert found.bodies["fork"].volume_mm3 == pytest.approx(body.volume_mm3 - grown, rel=1e-6)


def test_what_has_its_size_already_does_not_move():
    body = bar()
    pair = wanted(side(body, faces(body, (1, 0, 0), -4, 4)), 8.0)
    found = steps_of(pair, body)
    assert (found.moved, found.bodies) == ((), {})
    nothing = replace(pair, sizes_mm={})
    assert steps_of(nothing, body).moved == ()
    # A few parts in a thousand million are no step.
    near = replace(pair, sizes_mm={False: 8.0 + 4e-10})
    assert steps_of(near, body).moved == ()


@pytest.mark.parametrize(("gap_mm", "move_mm"), [(0.3, -0.025), (0.05, 0.0375)])
def test_two_bodies_share_what_their_gap_lacks(gap_mm, move_mm):
    # 0.1 mm on either side is drawn; each of four faces takes a quarter of the rest.
    channel = drawn(box(30, 40, 14, (-15, 0, -4)) - box(8.2, 60, 20, (-4.1, -10, 0)), "channel")
    tongue = drawn(box(8, 40, 12, (-4, 0, 1)), "tongue")
    inner = side(channel, faces(channel, (1, 0, 0), -4.1, 4.1), internal=True)
    outer = side(tongue, faces(tongue, (1, 0, 0), -4, 4))
    facing = tuple(
        ((one,), tuple(two for two in outer.regions if two.normal @ one.normal < 0))
        for one in inner.regions
    )
    pair = Wanted("joint", inner, outer, 8.0, {True: 8, False: 8}, gap_mm, facing)
    found = steps_of(pair, channel, tongue)
    assert [step.offset_mm for step in found.moved] == pytest.approx([move_mm] * 4, abs=1e-6)
    assert pair.gap_in(found.bodies) == pytest.approx(gap_mm, abs=1e-6)
    assert pair.gap_in({"channel": channel, "tongue": tongue}) == pytest.approx(0.2, abs=1e-6)


def test_a_joint_that_is_refused_beforehand_keeps_its_reason():
    body = bar()
    pair = wanted(side(body, faces(body, (1, 0, 0), -4, 4)), 7.7)
    found = relieve([regions_of(body)], [pair], {}, {"joint": "not asked"})
    assert (found.refused, found.moved, found.bodies) == ({"joint": "not asked"}, (), {})


@pytest.mark.parametrize(("least_mm", "is_refused"), [(3.49, False), (3.51, True)])
def test_a_wall_keeps_the_least_thickness_of_its_own_body(least_mm, is_refused):
    body = bar(4.0)
    pair = wanted(side(body, faces(body, (1, 0, 0), -2, 2)), 3.5)
    found = relieve([regions_of(body)], [pair], {"bar": least_mm, "other": 9.0})
    assert bool(found.refused) is is_refused
    if is_refused:
        reason = "bar ab would leave a wall of 3.50 mm, now 4.00 mm"
        assert found.refused == {"joint": reason}


def test_a_wall_that_is_used_up_is_told_without_a_least_thickness_too():
    body = bar(0.5)
    pair = wanted(side(body, faces(body, (1, 0, 0), -0.25, 0.25)), -0.05)
    found = relieve([regions_of(body)], [pair], {})
    reason = "bar ab would go through its wall, which is 0.50 mm thick"
    assert found.refused == {"joint": reason}


def holed(*diameters):
    plate = box(20 * len(diameters), 20, 5)
    for n, diameter in enumerate(diameters):
        plate -= round_bar(diameter, 9, (10 + 20 * n, 10, -2), 24)
    return meet([drawn(plate, "plate"), drawn(box(5, 5, 5, (0, 0, 90)), "far")])


def test_a_lone_hole_is_found_by_its_label_and_body():
    met = holed(4.0, 6.0)
    for label in met.lone_labels:
        found = lone_side(met, (label,), "plate")
        assert found.letters == label
        assert (found.body, found.is_internal) == ("plate", True)
        assert found.up.tolist() == [0, 0, 1]
    sizes = {
        lone_side(met, (label,), "plate").size_in(met.bodies[0].body) for label in ("U1", "U2")
    }
    assert sorted(sizes) == pytest.approx([4, 6], abs=1e-4)
    for labels, body in (
        (("U3",), "plate"),
        (("U1",), "far"),
        (("U1", "U2"), "plate"),
        ((), "plate"),
    ):
        assert lone_side(met, labels, body) is None


@pytest.mark.parametrize(
    ("size_mm", "within_mm", "beyond_mm"),
    [
        # A small hole may change by 0.6 mm, a large one by a quarter.
        (2.0, (1.41, 2.59), (1.39, 2.61)),
        (8.0, (6.01, 9.99), (5.99, 10.01)),
    ],
)
def test_a_lone_hole_changes_by_no_more_than_another_would(size_mm, within_mm, beyond_mm):
    met = holed(size_mm)
    hole = lone_side(met, ("U1",), "plate")
    for mm in within_mm:
        pair = lone_wanted("hole", hole, mm)
        assert odd_holes(met, [pair]) == {}
        found = relieve([met.bodies[0].surface.regions], [pair], {})
        assert hole.size_in(found.bodies["plate"]) == pytest.approx(mm, abs=1e-5)
    for mm in beyond_mm:
        pair = lone_wanted("hole", hole, mm)
        assert odd_holes(met, [pair]) == {
            "hole": f"plate U1 measures {size_mm:.2f} mm and would be drawn with {mm:.2f} mm: "
            "another hole seems to be meant"
        }
        assert odd_holes(met, [replace(pair, is_lone=False)]) == {}


def rounded():
    """A plate of 30 × 20 × 6 mm whose upright edges are rounded with 4 mm, 24 strips around."""
    return drawn(rounded_plate(30, 20, 6, 4, 24), "plate")


def by_facing(body):
    regions = regions_of(body)
    flat = {
        name: one_of(
            one.number
            for one in regions
            if one.kind is SurfaceKind.PLANE and one.normal @ way > 0.9
        )
        for name, way in (("x", (1, 0, 0)), ("y", (0, 1, 0)), ("-x", (-1, 0, 0)))
    }
    (corner,) = [
        one for one in regions if one.cylinder is not None and (one.point_mm[:2] > 0).all()
    ]
    return regions, flat, corner


def test_a_rounding_beside_one_moved_face_is_shifted_with_it():
    body = rounded()
    regions, flat, corner = by_facing(body)
    found = list(carried(regions, {flat["x"]: -0.3}, {flat["x"]: "side"}))
    assert [one.name for one in found] == ["side", "side"], "above and below along y"
    own = one_of(one for one in found if one.triangles is corner.faces)
    # By −0.3 along x: each strip by as much of it as it faces that way.
    assert own.offset_mm == pytest.approx(-0.3 * body.normals[corner.faces, 0], abs=1e-6)


def test_a_rounding_between_two_faces_that_move_alike_moves_like_them():
    body = rounded()
    regions, flat, corner = by_facing(body)
    names = {flat["x"]: "one", flat["y"]: "two"}
    found = {
        id(one.triangles): one for one in carried(regions, {flat["x"]: 0.2, flat["y"]: 0.2}, names)
    }
    assert found[id(corner.faces)].offset_mm == pytest.approx(np.full(len(corner.faces), 0.2))
    differ = {
        id(one.triangles): one for one in carried(regions, {flat["x"]: 0.2, flat["y"]: -0.1}, names)
    }
    normals = body.normals[corner.faces]
    wanted_mm = normals @ (0.2, -0.1, 0)
    assert differ[id(corner.faces)].offset_mm == pytest.approx(wanted_mm, abs=1e-6)
    assert len(differ) == 3, "the corners beside both, and beside each of the two"


def test_a_rounding_that_moves_itself_or_beside_nothing_that_moves_is_not_carried():
    body = rounded()
    regions, flat, corner = by_facing(body)
    offsets = {flat["x"]: -0.3, corner.number: -0.3}
    found = list(carried(regions, offsets, dict.fromkeys(offsets, "side")))
    assert len(found) == 1
    assert found[0].triangles is not corner.faces
    assert list(carried(regions, {}, {})) == []
    assert list(carried(regions, {flat["x"]: 0.0}, {flat["x"]: "side"})) == []


def test_a_whole_hole_and_a_sharp_edge_beside_a_face_are_not_carried():
    plate = drawn(box(20, 20, 6) - round_bar(5, 20, (10, 10, -5), 24), "plate")
    regions = regions_of(plate)
    (top,) = [one.number for one in regions if one.normal[2] > 0.9]
    assert list(carried(regions, {top: 0.2}, {top: "top"})) == []


def files_of(pairs, *bodies, least=0.8, refused=None):
    walls = {body.name: least for body in bodies}
    return relieve_into_files([regions_of(body) for body in bodies], pairs, walls, {}, refused)


def test_files_hold_the_volumes_and_gaps_that_were_asked():
    body = bar()
    pair = wanted(side(body, faces(body, (1, 0, 0), -4, 4)), 7.7)
    written = files_of([pair, replace(pair, joint="left")], body, refused={"left": "not asked"})
    assert written.names == {"bar": "bar.stl"}
    assert written.volumes_mm3["bar"] == pytest.approx((3840, 7.7 * 480), rel=1e-5)
    assert written.gaps_mm[0] == pytest.approx(7.7, abs=1e-4)
    assert np.isnan(written.gaps_mm[1])
    assert written.relieved.refused == {"left": "not asked"}


@pytest.mark.parametrize(("stop_at", "is_refused"), [(20.15, True), (20.21, False)])
def test_a_face_goes_into_no_other_body_and_one_beside_is_not_blamed(stop_at, is_refused):
    # The bar grows from 20 to 20.2 at either end of x; a stop stands at one of them, in the middle.
    # In its top is a pocket, 4 mm wide and 8 by 5 mm deep, whose walls move as well.
    body = drawn(box(40, 10, 10, (-20, 0, 0)) - box(8, 4, 6, (-4, 3, 5)), "bar")
    stop = drawn(between((stop_at, 2, 2), (stop_at + 5, 8, 8)), "stop")
    ends = wanted(side(body, faces(body, (1, 0, 0), -20, 20), letters="ends"), 40.4)
    walls = side(body, faces(body, (0, 1, 0), 3, 7), internal=True, letters="walls")
    written = files_of([ends, replace(wanted(walls, 4.2), joint="pocket")], body, stop)
    refused = {"joint": "bar ends would go into stop"} if is_refused else {}
    assert written.relieved.refused == refused
    assert written.volumes_mm3["bar"][1] == pytest.approx(
        (40 if is_refused else 40.4) * 100 - 8 * 4.2 * 5, rel=1e-5
    )


@pytest.mark.parametrize("low_mm", [2, 9.5])
def test_a_face_whose_neighbour_is_stretched_into_another_body_by_another_face_is_not_blamed(
    low_mm,
):
    # The stop stands over the top as well, whose triangles run from the pocket to the ends.
    body = drawn(box(40, 10, 10, (-20, 0, 0)) - box(8, 4, 6, (-4, 3, 5)), "bar")
    stop = drawn(between((20.1, 2, low_mm), (25, 8, 14)), "stop")
    ends = wanted(side(body, faces(body, (1, 0, 0), -20, 20), letters="ends"), 40.4)
    walls = side(body, faces(body, (0, 1, 0), 3, 7), internal=True, letters="walls")
    written = files_of([ends, replace(wanted(walls, 4.2), joint="pocket")], body, stop)
    assert written.relieved.refused == {"joint": "bar ends would go into stop"}


def test_a_face_that_stretches_its_neighbour_into_another_body_is_blamed_alone():
    # A blade stands just past the end of the bar, in its middle height and as wide as the bar: when
    # the end goes by, it cuts the long sides alone. The pocket is in one of these.
    body = drawn(box(40, 10, 10, (-20, 0, 0)) - box(8, 6, 4, (-4, 5, 3)), "bar")
    blade = drawn(
        between((20.05, -2, 4), (20.15, 0.5, 6)) + between((20.05, 9.5, 4), (20.15, 12, 6)), "blade"
    )
    ends = wanted(side(body, faces(body, (1, 0, 0), -20, 20), letters="ends"), 40.4)
    walls = side(body, faces(body, (0, 0, 1), 3, 7), internal=True, letters="walls")
    written = files_of([ends, replace(wanted(walls, 4.2), joint="pocket")], body, blade)
    assert written.relieved.refused == {"joint": "bar ends would go into blade"}


def test_what_stood_in_another_body_already_may_stay_there():
    body = drawn(box(40, 10, 10, (-20, 0, 0)), "bar")
    stop = drawn(between((19, 2, 2), (25, 8, 8)), "stop")
    pair = wanted(side(body, faces(body, (1, 0, 0), -20, 20)), 40.2)
    assert files_of([pair], body, stop).relieved.refused == {}


def pressed():
    """A pin that stands out of both ends of its hole, both 5 mm wide."""
    plate = drawn(box(20, 20, 5, (-10, -10, 0)) - round_bar(5, 9, (0, 0, -2), 24), "plate")
    pin = drawn(round_bar(5, 15, (0, 0, -5), 24), "pin")
    hole, bar_side = side(plate, rounds(plate), internal=True), side(pin, rounds(pin))
    return plate, pin, Wanted("press", hole, bar_side, 5.0, {False: 5.1}, -0.1)


def test_a_pin_that_is_to_be_pressed_may_go_into_the_wall_of_its_hole():
    plate, pin, pair = pressed()
    written = files_of([pair], plate, pin)
    assert written.relieved.refused == {}
    assert written.gaps_mm[0] == pytest.approx(-0.1, abs=1e-4)
    assert set(written.files) == {"pin.stl"}
    # The same pin, grown for another joint that says nothing of this hole, may not.
    grown = wanted(pair.external, 5.1)
    assert files_of([grown], plate, pin).relieved.refused == {"joint": "pin ab would go into plate"}


def two_bars():
    """Two bars, each with a joint of its own that makes it 0.3 mm narrower."""
    bodies = [drawn(box(8, 40, 12, (20 * n, 0, 0)), name) for n, name in enumerate(("one", "two"))]
    pairs = [
        replace(wanted(side(body, faces(body, (1, 0, 0), at, at + 8)), 7.7), joint=body.name)
        for body, at in zip(bodies, (0, 20), strict=True)
    ]
    return bodies, pairs


def opened(body):
    return trimesh.Trimesh(body.vertices_mm, body.triangles[1:], process=False)


def doubled(body):
    far = body.vertices_mm + np.array([0, 90, 0])
    both = np.concatenate([body.vertices_mm, far])
    return trimesh.Trimesh(
        both, np.concatenate([body.triangles, body.triangles + len(far)]), process=False
    )


def shifted(by_mm):
    return lambda body: trimesh.Trimesh(body.vertices_mm + by_mm, body.triangles, process=False)


@pytest.mark.parametrize(
    ("spoilt", "reason"),
    [
        (opened, "two would not be a closed surface"),
        (doubled, "two would fall into 2 bodies"),
        (shifted(0.000205), "two would lose triangles as its file is read"),
        (shifted(0.000195), ""),
    ],
)
def test_a_file_that_is_read_back_otherwise_leaves_the_joints_of_its_body(
    monkeypatch, spoilt, reason
):
    bodies, pairs = two_bars()
    write = relieved_files.file_bytes

    def spoiling(body, name, metadata):
        narrowed = np.ptp(body.box_mm[:, 0]) < 7.9
        if body.name == "two" and narrowed:
            return spoilt(body).export(file_type="stl")
        return write(body, name, metadata)

    monkeypatch.setattr(relieved_files, "file_bytes", spoiling)
    written = files_of(pairs, *bodies)
    assert written.relieved.refused == ({"two": reason} if reason else {})
    assert set(written.files) == ({"one.stl"} if reason else {"one.stl", "two.stl"})


def test_a_file_that_cannot_be_read_back_is_told_as_reading_tells_it(monkeypatch):
    bodies, pairs = two_bars()
    write = relieved_files.file_bytes

    def cut_short(body, name, metadata):
        return write(body, name, metadata)[: -10 if body.name == "one" else None]

    monkeypatch.setattr(relieved_files, "file_bytes", cut_short)
    refused = files_of(pairs, *bodies).relieved.refused
    assert refused == {
        "one": "one would not be a whole STL file, but one that is damaged (it ends within a "
        "triangle)"
    }


@pytest.mark.parametrize(
    ("is_round", "off_mm", "is_refused"),
    [
        # A flat gap may differ by 2 µm, a round one by 5.
        (False, 0.0018, False),
        (False, 0.0023, True),
        (False, -0.0023, True),
        (True, 0.0047, False),
        (True, 0.0053, True),
        (True, -0.0053, True),
    ],
)
def test_a_size_in_the_file_is_what_was_asked(monkeypatch, is_round, off_mm, is_refused):
    body = fork() if is_round else bar()
    regions = rounds(body) if is_round else faces(body, (1, 0, 0), -4, 4)
    now_mm = 5.0 if is_round else 8.0
    one = side(body, regions, internal=is_round)
    steps = relieve_module._growth_mm
    monkeypatch.setattr(relieve_module, "_growth_mm", lambda *given: steps(*given) + off_mm)
    refused = files_of([wanted(one, now_mm - 0.2)], body).relieved.refused
    got_mm, asked_mm = now_mm - 0.2 + off_mm, now_mm - 0.2
    assert refused == (
        {"joint": f"{body.name} ab would be {got_mm:.3f} mm, asked {asked_mm:.3f} mm"}
        if is_refused
        else {}
    )
