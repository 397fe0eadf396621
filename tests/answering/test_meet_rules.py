"""Tapers, free forms, lapped joints and shims: what contacts and joints say of them, by hand."""

import json

import numpy as np
import pytest
from manifold3d import CrossSection, Manifold
from scipy.optimize import brentq
from support.drawn_bodies import box, drawn, round_bar, write
from support.meeting_cases import comb, dovetail, rail, screws, taper, turned, z_gap

from coupons.answering.meet.grouping import grouped, is_twin
from coupons.answering.meet.list_rows import (
    across,
    facets_at,
    gaps_mm,
    list_csv,
    longest_mm,
    rows,
    sizes_mm,
    ways_of,
)
from coupons.answering.meet.lone import lone_holes
from coupons.answering.meet.meetings import LETTERS, meet
from coupons.answering.meet.met_files import LIST, RECORD, meet_again, read_record, record_of
from coupons.answering.meet.opposite_faces import contacts
from coupons.answering.meet.pairing import Pair, paired
from coupons.answering.meshes.regions import SurfaceKind
from coupons.answering.meshes.surface import surface_of
from coupons.errors import BodyError

# Many small bodies: together they take longer than a quick test may.
pytestmark = pytest.mark.slow


def met(solids, ups=None, **more):
    return meet([drawn(solid, name) for name, solid in solids.items()], ups, **more)


def touching(one, other, reach_mm=0.6, kind=None):
    surfaces = tuple(surface_of(drawn(solid, name)) for solid, name in ((one, "a"), (other, "b")))
    found = contacts(surfaces, (0, 1), reach_mm)
    return [each for each in found if kind in (None, each.kind)]


@pytest.mark.parametrize("is_turned_over", [False, True])
def test_a_taper_in_a_taper_has_diameters_area_and_gap_by_hand(is_turned_over):
    solids = list(taper(0.2, 0.1, 64, pin_sides=48).values())
    (found,) = touching(*solids[::-1] if is_turned_over else solids, kind=SurfaceKind.CONE)
    lean = np.arctan(0.05)
    # Both walls stand from z = 4 to 20, so that the middle is at 12, where the hole is 9.2 wide.
    plug = 9.2 - 0.2 / np.cos(lean)
    assert found.depth_mm == pytest.approx(16, abs=1e-3)
    assert found.point_mm == pytest.approx([0, 0, 12], abs=1e-3)
    assert found.gap_mm == pytest.approx(0.2, abs=1e-4)
    assert found.arc_deg == pytest.approx(360)
    # The wall of a frustum: its middle circle times its length along the slope.
    assert found.area_mm2 == pytest.approx(np.pi * plug * 16 / np.cos(lean), rel=1e-4)
    external = 0 if is_turned_over else 1
    hole, pin = facets_at(found, external)
    for one, corner, sides in ((hole, 9.2, 64), (pin, plug, 48)):
        half = np.pi / sides
        assert one.corner_mm == pytest.approx(corner, abs=1e-3)
        assert one.flat_mm == pytest.approx(corner * np.cos(half), abs=1e-3)
        area = sides / 2 * np.sin(2 * half) * corner**2 / 4
        assert one.area_mm == pytest.approx(2 * np.sqrt(area / np.pi), abs=1e-3)
        assert one.sagitta_mm == pytest.approx(corner / 2 * (1 - np.cos(half)), abs=1e-4)
        assert one.strips == sides
    (pair,) = paired([found]).pairs
    assert pair.external == external
    assert pair.sizes_mm == pytest.approx((9.2, plug), abs=1e-3)
    assert pair.slant_deg == pytest.approx(np.degrees(lean), abs=1e-2)
    assert pair.gap_mm == pytest.approx(0.2, abs=1e-4)


def long_taper(low, high, from_mm, to_mm):
    return Manifold.cylinder(to_mm - from_mm, low / 2, high / 2, 96).translate((0, 0, from_mm))


@pytest.mark.parametrize("meets", [True, False])
def test_the_gap_of_tapers_of_unlike_angles_is_that_in_the_middle_of_what_they_share(meets):
    # The hole widens by 0.1 a mm from 10 at z = 0 to 18 at 80. The plug stands from 56 to 80 and
    # widens by 0.107, 0.2° more on each side: at 68, where the hole is 16.8, it is 1.15 or 1.25
    # less.
    plug = 16.8 - (1.15 if meets else 1.25)
    hole = box(60, 60, 80, (-30, -30, 0)) - long_taper(10, 18, 0, 80)
    bar = long_taper(plug - 12 * 0.107, plug + 12 * 0.107, 56, 80)
    found = touching(hole, bar, kind=SurfaceKind.CONE)
    assert len(found) == meets
    for one in found:
        assert one.gap_mm == pytest.approx(1.15 * np.cos(np.arctan(0.05)), abs=2e-3)
        assert one.depth_mm == pytest.approx(24, abs=1e-3)


@pytest.mark.parametrize(("unlike_deg", "meets"), [(0.27, True), (0.3, False)])
def test_tapers_of_one_angle_within_a_two_hundredth_meet(unlike_deg, meets):
    # 0.005 rad is 0.286°.
    hole = box(40, 40, 20, (-20, -20, 0)) - long_taper(8, 12, 0, 20)
    slope = np.tan(np.arctan(0.1) + np.radians(unlike_deg))
    bar = long_taper(9.8 - 20 * slope, 9.8 + 20 * slope, 0, 20)
    assert len(touching(hole, bar, kind=SurfaceKind.CONE)) == meets


def test_tapers_that_point_apart_do_not_meet():
    hole = box(40, 40, 20, (-20, -20, 0)) - long_taper(9.9, 10.1, 0, 20)
    bar = long_taper(9.9, 9.7, 0, 20)
    assert touching(hole, bar, kind=SurfaceKind.CONE) == []
    assert len(touching(hole, long_taper(9.7, 9.9, 0, 20), kind=SurfaceKind.CONE)) == 1


def test_tapers_that_only_follow_one_another_do_not_meet():
    hole = box(40, 40, 20, (-20, -20, 0)) - long_taper(8, 10, 0, 20)
    ahead = long_taper(9.9, 11.9, 20.3, 40.3)
    assert touching(hole, ahead, kind=SurfaceKind.CONE) == []


def ball(radius_mm, at):
    return Manifold.sphere(radius_mm, 100).translate(at)


def test_free_forms_meet_where_they_face_each_other_within_a_cosine_of_nine_tenths():
    # Two balls of 10 mm radius, 0.1 mm apart. From a point of the one at an angle t from the line
    # between them, the nearest of the other lies towards its middle, at an angle f from that line;
    # the normals there have the scalar product −cos(t + f). Within t the cap has 2πr²(1 − cos t).
    def off(t):
        f = np.arctan2(10 * np.sin(t), 20.1 - 10 * np.cos(t))
        return np.cos(t + f) - 0.9

    cap = 2 * np.pi * 100 * (1 - np.cos(brentq(off, 0, 1)))
    (found,) = touching(ball(10, (0, 0, 0)), ball(10, (0, 0, 20.1)), 3.0)
    assert found.kind is SurfaceKind.FREE
    # Triangles of half a millimetre or so make the rim of 2.3 mm radius uncertain.
    assert found.area_mm2 == pytest.approx(cap, rel=0.2)
    assert found.point_mm[:2] == pytest.approx([0, 0], abs=0.1)
    assert 9.6 < found.point_mm[2] < 10
    # At a reach of 0.6 the gap along the normal ends it sooner: (20.1 − 10 cos t − …) all round.
    (near,) = touching(ball(10, (0, 0, 0)), ball(10, (0, 0, 20.1)), 0.3)
    assert near.area_mm2 < 0.75 * cap
    assert 0.1 < near.gap_mm < 0.25


def lap():
    """Two bars that cross: each is let into the other by half of its height."""
    along = box(60, 10, 10, (-30, -5, 0)) - box(8.2, 20, 5, (-4.1, -10, 5))
    over = box(8, 60, 10, (-4, -30, 0.1)) - box(20, 10.3, 5, (-10, -5.15, 0))
    return along, over


def test_two_bars_let_into_each_other_are_two_slots():
    one, other = (surface_of(drawn(each, name)) for each, name in zip(lap(), "ab", strict=True))
    made, _ = grouped(paired(contacts((one, other), (0, 1), 0.6)), (one, other))
    assert sorted((each.internal, each.external_side) for each in made) == [
        ("slot", 0),
        ("slot", 1),
    ]
    sizes = {each.external_side: each.pairs[0].sizes_mm for each in made}
    assert sizes[1] == pytest.approx((8.2, 8), abs=1e-4)
    assert sizes[0] == pytest.approx((10.3, 10), abs=1e-4)


@pytest.mark.parametrize("is_turned_over", [False, True])
def test_flanks_that_lean_name_the_body_between_them(is_turned_over):
    solids = list(dovetail(0.2).values())
    surfaces = tuple(
        surface_of(drawn(each, "x")) for each in (solids[::-1] if is_turned_over else solids)
    )
    (group,) = grouped(paired(contacts(surfaces, (0, 1), 0.6)), surfaces)[0]
    assert (group.internal, group.external) == ("slot", "tongue")
    assert group.external_side == (0 if is_turned_over else 1)
    (pair,) = group.pairs
    # At z = 4 the slot is 12 wide, and each side goes out by tan 15° a mm. The flanks of both
    # bodies stand from 4 to 11.5 over one another; halfway between them, in the middle of the
    # contact, the sizes are taken: 12 + 2·tan 15°·(z − 4).
    one, other = pair.contacts
    assert one.area_mm2 == pytest.approx(other.area_mm2, rel=1e-6)
    middle = pair.middle_mm[2]
    between = 12 + 2 * np.tan(np.radians(15)) * (middle - 4)
    assert pair.sizes_mm[0] == pytest.approx(between, abs=0.06)
    level_mm = 0.2 / np.cos(np.radians(15))
    assert pair.sizes_mm[0] - pair.sizes_mm[1] == pytest.approx(level_mm, abs=1e-5)


@pytest.mark.parametrize(("shift_mm", "many"), [(0.0, 1), (2.0, 0)])
def test_flanks_of_a_wedge_stand_level(shift_mm, many):
    """A wedge of 20° in all whose one flank is met only further up is none."""
    slope = np.tan(np.radians(10))
    flat = [(-4, 0), (4, 0), (4 + 12 * slope, 12), (-4 - 12 * slope, 12)]
    wedge = Manifold.extrude(CrossSection([flat]), 30).rotate((90, 0, 0))
    block = box(40, 30, 12, (-20, -30, 0)) - wedge
    # Of the block only 5 mm of each flank are left, of the right one further up.
    left = block ^ box(20, 30, 5, (-20, -30, 2))
    right = block ^ box(20, 30, 5, (0, -30, 2 + shift_mm))
    foot = box(40, 5, 12, (-20, 5, 0))
    frame = left + right + foot + box(5, 40, 12, (-20, -30, 0)) + box(5, 40, 12, (15, -30, 0))
    found = paired(touching(frame, wedge.scale((0.98, 1, 1))))
    assert len(found.pairs) == many
    assert len(found.left) == 2 - 2 * many


def test_bodies_that_meet_are_not_apart_and_one_alone_is_nothing():
    assert met(rail(0.2)).apart == ()
    alone = met({"box": box(5, 5, 5)})
    assert (alone.apart, alone.joints, alone.rests, alone.free) == ((), (), (), ())


@pytest.mark.parametrize("is_turned_over", [False, True])
def test_the_nearest_of_several_is_told_with_its_distance(is_turned_over):
    # By corners the far plate's are nearer to the stud than those of the wide one under it.
    solids = {
        "stud": box(1, 1, 1, (0, 0, 3.5)),
        "wide": box(200, 200, 2, (-100, -100, -0.5)),
        "block": box(4, 4, 4, (6, 0, 3)),
    }
    names = list(solids)[::-1] if is_turned_over else list(solids)
    found = met({name: solids[name] for name in names})
    told = {one.body: (one.nearest, round(one.distance_mm, 5)) for one in found.apart}
    assert told == {"stud": ("wide", 2.0), "wide": ("block", 1.5), "block": ("wide", 1.5)}


@pytest.mark.parametrize("away_mm", [0.7, 5.0])
def test_bodies_corner_to_corner_are_as_far_apart_as_their_corners(away_mm):
    by = away_mm / 3**0.5
    found = met({"one": box(3, 3, 3), "two": box(3, 3, 3, (3 + by, 3 + by, 3 + by))})
    assert [(one.body, one.nearest) for one in found.apart] == [("one", "two"), ("two", "one")]
    assert [one.distance_mm for one in found.apart] == pytest.approx([away_mm] * 2, abs=1e-5)


@pytest.mark.parametrize("back", [False, True])
def test_a_middle_far_from_all_corners_is_the_nearest_place(back):
    # Above the middle of a wide plate; the corners of a small block are nearer than the plate's.
    solids = {
        "plate": box(80, 80, 2, (-40, -40, -3)),
        "block": box(2, 2, 2, (3, 3, 3)),
        "stud": box(2, 2, 2),
    }
    names = list(solids)[::-1] if back else list(solids)
    found = met({name: solids[name] for name in names})
    told = {one.body: (one.nearest, round(one.distance_mm, 4)) for one in found.apart}
    # From the stud the plate is 1 mm away, the block the diagonal of a cube of 1 mm.
    assert told["stud"] == ("plate", 1.0)
    assert told["block"] == ("stud", round(3**0.5, 4))


def test_letters_follow_the_bodies_and_the_larger_area():
    found = met(comb(0.2))
    assert [joint.letter for joint in found.joints] == list(LETTERS[: len(found.joints)])
    areas = [joint.group.area_mm2 for joint in found.joints]
    assert areas == sorted(areas, reverse=True)
    assert [rest.letter for rest in found.rests] == [f"R{n + 1}" for n in range(len(found.rests))]
    assert found.joints[0].labels == ("A1", "A2")


@pytest.mark.parametrize(("reach_mm", "meets"), [(0.1, True), (0.09, False)])
def test_reach_reaches_from_body_to_body(reach_mm, meets):
    found = met(z_gap(0.2), reach_mm=reach_mm)
    assert found.reach_mm == reach_mm
    assert bool(found.joints) is meets


def shim(wide_mm, thick_mm=0.2, gap_mm=0.4, low=True):
    """Two plates 20 mm wide, and between them a shim on the lower or under the upper one."""
    z = 4.0 if low else 4.0 + gap_mm - thick_mm
    return {
        "lower": box(20, 20, 4),
        "upper": box(20, 20, 4, (0, 0, 4 + gap_mm)),
        "shim": box(wide_mm, 20, thick_mm, (0, 0, z)),
    }


@pytest.mark.parametrize(
    ("wide_mm", "is_veiled"), [(20, True), (10.1, True), (9.9, False), (4, False)]
)
def test_plates_with_a_shim_over_half_of_their_face_do_not_meet(wide_mm, is_veiled):
    found = met(shim(wide_mm))
    pairs = [rest.bodies for rest in found.rests]
    assert ((0, 1) not in pairs) is is_veiled
    assert (0, 2) in pairs
    assert (1, 2) in pairs


def test_a_plate_beside_that_meets_only_one_of_two_veils_nothing():
    # Its foot stands on the lower plate, nearer than the upper plate is, and misses the upper.
    solids = shim(20) | {"shim": box(20, 20, 8, (0, 0, -8.1))}
    found = met(solids)
    assert sorted(rest.bodies for rest in found.rests) == [(0, 1), (0, 2)]


def test_a_shim_whose_top_leans_meets_one_plate_alone_and_veils_nothing():
    solids = shim(20)
    outline = [(0.0, 0.0), (20.0, 0.0), (20.0, 0.3), (0.0, 0.05)]  # by 0.7 degrees
    leaning = Manifold.extrude(CrossSection([outline]), 20).rotate((90, 0, 0))
    found = met(solids | {"shim": leaning.translate((0, 20, 4))})
    assert sorted(rest.bodies for rest in found.rests) == [(0, 1), (0, 2)]


def test_what_lies_on_one_another_is_not_veiled():
    # Plates that touch, and a third that stands 0.1 mm in both.
    solids = {
        "lower": box(20, 20, 4),
        "upper": box(20, 20, 4, (0, 0, 4)),
        "key": box(20, 20, 0.2, (0, 0, 3.9)),
    }
    assert (0, 1) in [rest.bodies for rest in met(solids).rests]


def test_the_greatest_extent_of_a_contact_is_along_its_edges():
    lower = box(20, 9, 4)
    (flat,) = touching(lower, box(20, 9, 4, (0, 0, 4.1)), kind=SurfaceKind.PLANE)
    assert longest_mm(flat) == pytest.approx(20)
    (turned_face,) = touching(
        lower.rotate((0, 0, 30)),
        box(20, 9, 4, (0, 0, 4.1)).rotate((0, 0, 30)),
        kind=SurfaceKind.PLANE,
    )
    assert longest_mm(turned_face) == pytest.approx(20, abs=1e-3), "not across corners"
    assert turned_face.depth_mm == pytest.approx(9, abs=1e-4)
    (bore,) = touching(
        box(20, 20, 7, (-10, -10, 0)) - round_bar(6, 20, (0, 0, -5)),
        round_bar(5.8, 20, (0, 0, -5)),
        kind=SurfaceKind.CYLINDER,
    )
    assert longest_mm(bore) == pytest.approx(7, abs=1e-4)


def test_the_width_of_a_contact_is_that_of_its_narrowest_strip():
    # A right triangle of 6 and 8 mm: its narrowest strip is its height on the long side, 4.8 mm.
    prism = Manifold.extrude(CrossSection([[(0.0, 0.0), (8.0, 0.0), (0.0, 6.0)]]), 3)
    (found,) = touching(prism, box(20, 20, 3, (-5, -5, 3.2)), kind=SurfaceKind.PLANE)
    assert found.depth_mm == pytest.approx(4.8, abs=1e-4)
    assert found.area_mm2 == pytest.approx(24, abs=1e-4)
    assert found.point_mm == pytest.approx([8 / 3, 2, 3], abs=1e-4)


def test_the_middle_of_a_contact_counts_off_its_holes():
    plate = box(20, 10, 3) - box(4, 4, 9, (2, 3, -3))
    (found,) = touching(plate, box(20, 10, 3, (0, 0, 3.2)), kind=SurfaceKind.PLANE)
    # 200 mm² at (10, 5) less 16 mm² at (4, 5).
    assert found.point_mm == pytest.approx([(2000 - 64) / 184, 5, 3], abs=1e-4)
    assert found.area_mm2 == pytest.approx(184)


def test_two_holes_of_a_joint_give_their_way_and_their_pitch():
    found = met(screws(2, 0.2))
    (joint,) = found.joints
    first, second = ways_of(joint.group)
    assert abs(first[2]) == pytest.approx(1)
    assert np.abs(second) == pytest.approx([1, 0, 0], abs=1e-6)
    assert np.linalg.norm(joint.group.pitch) == pytest.approx(16, abs=1e-4)
    assert (sizes_mm(joint.group), gaps_mm(joint.group)) == (
        pytest.approx((4,), abs=1e-4),
        pytest.approx((0.2,), abs=1e-4),
    )


def test_pins_of_one_pattern_are_alike_and_stand_on_parallel_axes():
    (joint,) = met(screws(2, 0.2)).joints
    one, other = joint.group.pairs

    def changed(way=other.way, sizes=other.sizes_mm, external=other.external):
        return Pair(other.contacts, external, np.asarray(way, float), sizes, other.gap_mm)

    assert is_twin(one, other) is True
    assert is_twin(one, changed(external=1 - other.external)) is False
    for lean, is_one in ((0.0099, True), (0.0101, False)):
        assert is_twin(one, changed(way=(lean, 0, np.sqrt(1 - lean**2)))) is is_one
        assert is_twin(one, changed(way=(lean, 0, -np.sqrt(1 - lean**2)))) is is_one
    for side in (0, 1):
        for by, is_one in ((0.019, True), (0.021, False), (-0.019, True), (-0.021, False)):
            sizes = list(other.sizes_mm)
            sizes[side] += by
            assert is_twin(one, changed(sizes=tuple(sizes))) is is_one


def names(row):
    return (row["internal"], row["external"], row["size_mm"], row["across"])


def test_a_joint_with_diagonal_ways_lists_them_with_a_comma():
    pocket = box(60, 45, 12, (-30, -22.5, 0)) - box(40, 25, 20, (-20, -12.5, 4))
    panel = box(39.8, 24.7, 8, (-19.9, -12.35, 4))
    for turn_deg, ways in ((0, "xy"), (45, "x+y,x-y"), (90, "yx")):
        solids = {"frame": pocket, "panel": panel}
        found = met({name: solid.rotate((0, 0, turn_deg)) for name, solid in solids.items()})
        (row,) = rows(found)
        assert names(row) == ("pocket", "plate", "40x25", ways)
        assert row["drawn_gap_mm"] == "0.2x0.3"
        joint = found.joints[0]
        assert across(joint.group, *(found.bodies[n] for n in joint.bodies)) == ways


def recorded(folder, solids, ups=None, **changes):
    """Meet bodies, write their list and record, and change the record."""
    paths = [write(solid, folder / f"{name}.stl") for name, solid in solids.items()]
    record = record_of(paths, folder, units=None, ups=ups or {}, reach_mm=0.5, list_data=b"name\n")
    text = json.loads(record.model_dump_json()) | changes
    (folder / RECORD).write_text(json.dumps(text))
    return folder / LIST


def many_joints(count):
    """A comb with so many slots and teeth."""
    wide = 12 * count
    rack, teeth = box(wide, 20, 12), box(wide, 20, 3, (0, 0, 12.5))
    for n in range(count):
        rack -= box(6.2, 30, 8, (2.9 + 12 * n, -5, 4))
        teeth += box(6, 20, 8, (3 + 12 * n, 0, 4.7))
    return {"rack": rack, "teeth": teeth}


@pytest.mark.parametrize(
    ("version", "count", "is_read"), [(1, 17, True), (1, 18, False), (2, 18, True)]
)
def test_a_list_with_other_letters_is_not_read_as_one_of_ours(tmp_path, version, count, is_read):
    listed = recorded(tmp_path, many_joints(count), version=version)
    if is_read:
        again = meet_again(listed)
        assert len(again.met.joints) == count
        assert again.met.reach_mm == 0.5
        assert [path.name for path in again.paths] == ["rack.stl", "teeth.stl"]
    else:
        with pytest.raises(BodyError) as refused:
            meet_again(listed)
        assert str(refused.value) == (
            f"{LIST}: expected a list with the letters of this version, got an older one. Run "
            "`coupons meet` again, and copy your fits into the new list."
        )


@pytest.mark.parametrize("version", [0, 3])
def test_a_record_has_a_version_that_is_known(tmp_path, version):
    recorded(tmp_path, rail(0.2), version=version)
    with pytest.raises(BodyError, match=rf"^{RECORD} version: expected a record of bodies that"):
        read_record(tmp_path / RECORD)


def test_a_record_keeps_what_was_said_and_the_digest_of_its_list(tmp_path):
    recorded(tmp_path, rail(0.2), {"lid": "-z"})
    record = read_record(tmp_path / RECORD)
    assert (record.version, record.units, record.ups, record.reach_mm) == (
        2,
        None,
        {"lid": "-z"},
        0.5,
    )
    assert [file.path for file in record.files] == ["channel.stl", "tongue.stl"]
    # SHA-256 of the five bytes "name\n", as sha256sum gives it.
    assert record.list_sha256.startswith("f80b1fa8")


@pytest.mark.parametrize(("apart_mm", "holes"), [(0.0, 1), (0.0049, 1), (0.0052, 2)])
def test_pieces_of_a_hole_stand_on_one_axis(apart_mm, holes):
    fork = box(20, 20, 12, (-10, -10, 0)) - box(30, 30, 4, (-8, -15, 4))
    for low, x in ((-1, 0.0), (8, apart_mm)):
        fork -= round_bar(4, 5, (x, 0, low), 48)
    found = lone_holes((surface_of(drawn(fork, "fork")),), ())
    assert len(found) == holes
    assert sum(one.depth_mm for one in found) == pytest.approx(8, abs=1e-3)


@pytest.mark.parametrize(("wider_mm", "holes"), [(0.0018, 1), (0.0022, 2)])
def test_pieces_of_a_hole_are_of_one_diameter(wider_mm, holes):
    fork = box(20, 20, 12, (-10, -10, 0)) - box(30, 30, 4, (-8, -15, 4))
    for low, more in ((-1, 0.0), (8, wider_mm)):
        fork -= round_bar(4 + more, 5, (0, 0, low), 48)
    assert len(lone_holes((surface_of(drawn(fork, "fork")),), ())) == holes


@pytest.mark.parametrize(
    ("deep_mm", "is_through"), [(1.9, False), (2.04, False), (2.06, True), (9.0, True)]
)
def test_a_bottom_far_behind_the_wall_of_a_hole_is_not_its_own(deep_mm, is_through):
    """A hole of 4 mm into a wide hollow whose floor lies so far behind its end."""
    base = box(20, 20, 8, (-10, -10, 0)) + box(20, 20, 20, (-10, -10, -20))
    base -= box(14, 14, deep_mm, (-7, -7, -deep_mm))
    base -= round_bar(4, 30, (0, 0, 0), 48)
    (found,) = lone_holes((surface_of(drawn(base, "base")),), ())
    assert found.is_through is is_through
    (over,) = lone_holes((surface_of(drawn(base.rotate((180, 0, 0)), "base")),), ())
    assert over.is_through is is_through


def test_the_list_of_nothing_is_its_head():
    head = list_csv(met({"box": box(5, 5, 5)}))
    assert head.count("\n") == 1
    assert head.startswith("name,internal,external,size_mm,across,fit,")


def test_a_bore_is_turned():
    ring = turned([(4, 0), (6, 0), (6, 8), (4, 8)])
    (hole,) = lone_holes((surface_of(drawn(ring, "ring")),), ())
    assert hole.cylinder.corner_mm == pytest.approx(8, abs=1e-4)
    assert (hole.body, hole.is_through) == (0, True)
