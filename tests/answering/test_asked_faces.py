"""Joints of several pairs, wedges and layers: from where bodies meet to the relieved files.

Distances in the files are measured with the geometry kernel, volumes with the mesh library.
"""

import numpy as np
import pytest
import trimesh
from manifold3d import Manifold, Mesh
from support.drawn_bodies import drawn, round_bar
from support.meeting_cases import taper
from support.moved_faces import between, prism

from coupons.answering.chances.drawing import FaceMove
from coupons.answering.meet.meetings import meet
from coupons.answering.meshes.mesh import read_bodies
from coupons.answering.relieve.asked_faces import DrawnFacePair, wanted_pair
from coupons.answering.relieve.relieved_files import relieve_into_files
from coupons.terms import INTERNAL, Form

TURN = (31, 17, 60)


def moved(forms, gap_mm, size_mm, faces=2):
    """What an answer would say: the bodies of these forms move, and share the gap."""
    share = gap_mm / len(forms)
    drawn_mm = [size_mm + share if form in INTERNAL else size_mm - share for form in forms]
    return DrawnFacePair(
        gap_mm,
        tuple(
            FaceMove(form, -share / faces, faces, size)
            for form, size in zip(forms, drawn_mm, strict=True)
        ),
    )


def relieved(tmp_path, bodies, gaps, forms=(Form.TONGUE,), faces=2, ups=None):
    """Meet bodies that have one joint, give each pair its gap, and read the files."""
    met = meet(bodies, ups or {})
    (joint,) = met.joints
    pairs = joint.group.pairs
    wanted = [
        wanted_pair(met, joint, n, "joint", moved(forms, gap, size, faces), size)
        for n, (gap, size) in enumerate(
            zip(gaps, (pair.sizes_mm[0] for pair in pairs), strict=True)
        )
    ]
    walls = {body.name: 0.8 for body in bodies}
    divided = [one.surface.regions for one in met.bodies]
    written = relieve_into_files(divided, wanted, walls, {})
    assert not written.relieved.refused, written.relieved.refused
    read = {}
    for body in bodies:
        read[body.name] = body
        if body.name in written.names:
            path = tmp_path / written.names[body.name]
            path.write_bytes(written.files[path.name])
            (read[body.name],) = read_bodies([path]).bodies
    assert written.gaps_mm == pytest.approx(gaps, abs=2e-3 if not pairs[0].is_round else 5e-3)
    return joint, [read[body.name] for body in bodies]


def solid(body) -> Manifold:
    return Manifold(Mesh(body.vertices_mm.astype(np.float32), body.triangles.astype(np.uint32)))


def volume(body) -> float:
    return float(trimesh.Trimesh(body.vertices_mm, body.triangles).volume)


def turned(*solids):
    return [
        drawn(one.rotate(TURN), name) for one, name in zip(solids, ("inner", "outer"), strict=True)
    ]


def test_a_plate_in_a_pocket_gets_both_gaps(tmp_path):
    pocket = between((-25, -20, 0), (25, 20, 12)) - between((-20, -12.5, 4), (20, 12.5, 13))
    plate = between((-20, -12.5, 4), (20, 12.5, 12))
    joint, (inner, outer) = relieved(tmp_path, turned(pocket, plate), (0.3, 0.24))
    assert joint.group.internal == "pocket"
    assert volume(outer) == pytest.approx(39.7 * 24.76 * 8, rel=1e-5)
    assert volume(inner) == pytest.approx(50 * 40 * 12 - 40 * 25 * 8, rel=1e-5)


def test_a_sleeve_on_a_bar_moves_inside(tmp_path):
    sleeve = between((-15, -12, 0), (15, 12, 20)) - between((-10, -8, -1), (10, 8, 21))
    bar = between((-10, -8, -10), (10, 8, 30))
    joint, bodies = relieved(tmp_path, turned(sleeve, bar), (0.2, 0.2), (Form.SLOT,))
    assert joint.group.internal == "sleeve"
    assert volume(bodies[0]) == pytest.approx(20 * (30 * 24 - 20.2 * 16.2), rel=1e-5)
    # Between parallel faces the kernel's distance is that of one side.
    assert solid(bodies[0]).min_gap(solid(bodies[1]), 1) == pytest.approx(0.1, abs=2e-3)


def test_two_pins_get_thinner_about_their_own_axes(tmp_path):
    places = ((-12, 0), (12, 0))
    base, lid = between((-20, -10, 0), (20, 10, 10)), between((-20, -10, 10), (20, 10, 13))
    for x, y in places:
        base -= round_bar(5, 12, (x, y, -1), 48)
        lid += round_bar(5, 8, (x, y, 2.5), 48)
    bodies = [drawn(base, "inner"), drawn(lid, "outer")]
    joint, (_, outer) = relieved(tmp_path, bodies, (0.4, 0.4), (Form.PIN,))
    assert joint.group.internal == "holes"
    ends = outer.vertices_mm[outer.vertices_mm[:, 2] < 2.6]
    for x, y in places:
        own = ends[np.abs(ends[:, 0] - x) < 5][:, :2] - (x, y)
        assert np.linalg.norm(own, axis=1) == pytest.approx(2.3, abs=1e-4)


def test_the_flanks_of_a_dovetail_get_their_gap_along_the_normals(tmp_path):
    lean = 8 / np.tan(np.radians(60))
    tail = [(-6, 5), (6, 5), (6 + lean, 13), (-6 - lean, 13)]
    tongue = prism([(-20, 0), (20, 0), (20, 5), *tail[1:], (-6, 5), (-20, 5)], 25)
    slot = prism([(-20, 5), (20, 5), (20, 18), (-20, 18)], 25) - prism(
        [(-6, 5), (6, 5), (6 + lean, 13), (-6 - lean, 13)], 25
    )
    joint, (inner, outer) = relieved(tmp_path, turned(slot, tongue), (0.24,))
    assert joint.group.pairs[0].slant_deg > 0
    lost = 2 * 0.12 / np.sin(np.radians(60)) * 8 * 25
    whole = 25 * (40 * 5 + 8 * (12 + lean))
    assert volume(outer) == pytest.approx(whole - lost, rel=1e-5)
    assert volume(inner) == pytest.approx(25 * (40 * 13 - 8 * (12 + lean)), rel=1e-5)


@pytest.mark.parametrize("sides", [24, 96])
@pytest.mark.parametrize("forms", [(Form.PIN,), (Form.HOLE,), (Form.HOLE, Form.PIN)])
@pytest.mark.parametrize("per_mm", [1 / 10, 2 * np.tan(np.radians(5))])
def test_a_taper_gets_its_gap_along_the_normals(tmp_path, sides, forms, per_mm):
    bodies = taper(0.1, per_mm, sides)
    joint, (inner, outer) = relieved(
        tmp_path, turned(bodies["socket"], bodies["plug"]), (0.3,), forms
    )
    assert joint.group.pairs[0].slant_deg == pytest.approx(
        np.degrees(np.arctan(per_mm / 2)), abs=1e-3
    )
    # The volume of a frustum between two rims of a regular polygon, in closed form; a drawn
    # difference square to the surface is larger across.
    flat = sides / 2 * np.sin(2 * np.pi / sides)
    across = 1 / np.cos(np.arctan(per_mm / 2))

    def frustum(low, high, wide):
        a, b = ((wide + per_mm * z) / 2 for z in (low, high))
        return flat * (high - low) * (a * a + a * b + b * b) / 3

    hole = 8 + (0.2 / len(forms) * across if Form.HOLE in forms else 0)
    pin = 8 - 0.1 * across - (0.2 / len(forms) * across if Form.PIN in forms else 0)
    assert volume(inner) == pytest.approx(30 * 30 * 20 - frustum(0, 20, hole), rel=1e-5)
    assert volume(outer) == pytest.approx(frustum(4, 26, pin), rel=1e-5)
    if sides == 96:  # their flats face each other: the kernel's distance is that of two flats
        apart = solid(inner).min_gap(solid(outer), 1)
        slope = per_mm / 2 * np.cos(np.pi / sides)
        assert apart == pytest.approx(
            (hole - pin) / 2 * np.cos(np.pi / sides) / np.hypot(1, slope), abs=1e-3
        )


def test_the_tip_of_a_taper_and_its_edge_to_a_collar_stay_sharp(tmp_path):
    cone = Manifold.cylinder(16, 6, 0.0, 48)
    plug = cone + round_bar(12, 6, (0, 0, -6), 48)
    socket = between((-15, -15, 2), (15, 15, 20)) - cone
    _, (_, outer) = relieved(tmp_path, turned(socket, plug), (0.2,), (Form.PIN,))
    # Offset by 0.1 square to its surface, the cone slides along its axis by 0.1 / sin of its angle.
    slid = 0.1 / np.sin(np.arctan(6 / 16))
    flat = 48 / 2 * np.sin(2 * np.pi / 48)
    assert volume(outer) == pytest.approx(flat * 36 * ((6 - slid) + 16 / 3), rel=1e-4)


def test_a_gap_that_is_drawn_already_counts(tmp_path):
    slot = between((-20, -10, 0), (20, 10, 10)) - between((-6.1, -11, 4), (6.1, 11, 11))
    tongue = between((-6, -10, 4), (6, 10, 14))
    _, (_, outer) = relieved(tmp_path, turned(slot, tongue), (0.3,))
    assert volume(outer) == pytest.approx((12.2 - 0.3) * 20 * 10, rel=1e-5)


def test_bodies_that_stand_in_one_another_come_apart(tmp_path):
    slot = between((-20, -10, 0), (20, 10, 10)) - between((-5.9, -11, 4), (5.9, 11, 11))
    tongue = between((-6, -10, 4), (6, 10, 14))
    _, (_, outer) = relieved(tmp_path, turned(slot, tongue), (0.1,))
    assert volume(outer) == pytest.approx((11.8 - 0.1) * 20 * 10, rel=1e-5)


def test_across_layers_the_face_that_is_up_in_the_print_moves(tmp_path):
    slot = between((-20, -10, 0), (20, 10, 10)) - between((-6, -11, 4), (6, 11, 11))
    tongue = between((-6, -10, 4), (6, 10, 14))
    bodies = [drawn(slot, "inner"), drawn(tongue, "outer")]
    for up, low, high in (("x", -6, 5.6), ("-x", -5.6, 6)):
        _, (_, outer) = relieved(tmp_path, bodies, (0.4,), faces=1, ups={"outer": up})
        assert outer.box_mm[:, 0] == pytest.approx((low, high), abs=1e-4)
