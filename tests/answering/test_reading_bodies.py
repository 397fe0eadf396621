"""Reading mesh files, each limit from both sides, and what a refusal says."""

import struct

import numpy as np
import pytest
import trimesh
from manifold3d import Manifold
from support.drawn_bodies import (
    as_trimesh,
    box,
    drawn,
    read_one,
    round_bar,
    threemf,
    threemf_object,
    write,
)

from coupons.answering.meshes import box_tree, mesh, raw_meshes
from coupons.answering.meshes.body import Body
from coupons.answering.meshes.body_files import file_bytes, file_names
from coupons.answering.meshes.mesh import read_again, read_bodies
from coupons.answering.meshes.raw_meshes import read_raw
from coupons.answering.meshes.section import cut
from coupons.answering.meshes.shells import winding
from coupons.answering.meshes.soundness import crossings, crossings_between, faults
from coupons.answering.meshes.surface import closed_runs, surface_of
from coupons.errors import BodyError

CUBE = box(10, 10, 10)  # 12 triangles


def refused(path, units=None) -> str:
    with pytest.raises(BodyError) as caught:
        read_bodies([path], units)
    return str(caught.value)


@pytest.mark.parametrize("kind", ["stl", "obj", "ply", "3mf", "text"])
def test_a_file_of_just_as_many_triangles_as_allowed_is_read(tmp_path, monkeypatch, kind):
    path = tmp_path / f"cube.{'stl' if kind == 'text' else kind}"
    if kind == "3mf":
        path.write_bytes(threemf(threemf_object(CUBE, 1), '<item objectid="1"/>'))
    elif kind == "text":
        path.write_text(as_trimesh(CUBE).export(file_type="stl_ascii"))
    else:
        write(CUBE, path)
    monkeypatch.setattr(raw_meshes, "MOST_TRIANGLES", 12)
    assert len(read_raw(path)[0].corners) == 12
    monkeypatch.setattr(raw_meshes, "MOST_TRIANGLES", 11)
    got = "more than 11 triangles" if kind == "3mf" else "12"
    assert refused(path) == (
        f"{path.name}: expected at most 11 triangles, got {got}. "
        "Export it with a coarser tolerance; 0.005 mm is enough for a fit."
    )


def test_a_file_of_more_bytes_than_are_read_is_refused(tmp_path, monkeypatch):
    path = write(CUBE, tmp_path / "cube.stl")  # 84 + 12·50 bytes
    monkeypatch.setattr(raw_meshes, "_MOST_BYTES", 684)
    assert len(read_raw(path)) == 1
    monkeypatch.setattr(raw_meshes, "_MOST_BYTES", 683)
    assert "cube.stl: expected at most 2,000,000 triangles, got " in refused(path)


@pytest.mark.parametrize("by", [-1, 1])
def test_a_binary_file_holds_what_it_says(tmp_path, by):
    data = write(CUBE, tmp_path / "cube.stl").read_bytes()
    path = tmp_path / "odd.stl"
    path.write_bytes(data[:80] + struct.pack("<I", 12 + by) + data[84:])
    assert refused(path) == (
        "odd.stl: expected a whole STL file, got one that is damaged (it ends within a triangle). "
        "Export it again."
    )


def test_text_may_have_a_long_first_line(tmp_path):
    text = as_trimesh(CUBE).export(file_type="stl_ascii").split("\n", 1)[1]
    path = tmp_path / "long.stl"
    for more, is_read in ((1900, True), (2100, False)):
        path.write_text(f"SOLID {'x' * more}\n{text}")
        if is_read:
            assert len(read_raw(path)[0].corners) == 12
        else:
            assert "a whole STL file" in refused(path)


def test_what_has_no_unit_nor_name_says_so(tmp_path):
    (raw,) = read_raw(write(CUBE, tmp_path / "cube.ply"))
    assert (raw.name, raw.unit, raw.corners.shape) == ("", "", (12, 3, 3))


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("a.step", b"", "a.step: expected a file in .stl, .3mf, .obj, .ply, got .step. Export"),
        ("a", b"", "a: expected a file in .stl, .3mf, .obj, .ply, got none. Export the body"),
        ("a.obj", b"v 0 0 0\n", "a.obj: expected a body of triangles, got none. Export the body"),
        (
            "a.obj",
            b"v 0 0 0\nv 9 0 0\nv 0 inf 0\nf 1 2 3\n",
            "a.obj: expected finite coordinates, got infinite or missing ones.",
        ),
        ("a.3mf", b"x", "a.3mf: expected a whole 3MF file, got one that is damaged ("),
    ],
)
def test_a_file_that_holds_no_body_is_told_with_what_came(tmp_path, name, data, said):
    (tmp_path / name).write_bytes(data)
    assert refused(tmp_path / name, "mm").startswith(said)


def test_what_a_reader_says_of_damage_is_told_with_eighty_characters_of_it(tmp_path):
    number = "7" * 200
    (tmp_path / "a.3mf").write_bytes(threemf("", f'<item objectid="{number}"/>'))
    fault = f"object {number[:73]}"
    assert len(fault) == 80
    assert refused(tmp_path / "a.3mf") == (
        f"a.3mf: expected a whole 3MF file, got one that is damaged ({fault}). Export it again."
    )


@pytest.mark.parametrize(
    ("long", "is_mm"), [(5.0, True), (4.99, False), (1500.0, True), (1501.0, False)]
)
def test_lengths_from_five_to_fifteen_hundred_are_taken_for_mm(tmp_path, long, is_mm):
    path = write(box(long, 3, 2), tmp_path / "bar.stl")
    if is_mm:
        assert read_one(path).box_mm[1, 0] == pytest.approx(long)
    else:
        assert refused(path) == (
            f"bar.stl: expected a unit, got none, and a longest side of {long:g} "
            f"({long:.4g} mm if in mm, {10 * long:.4g} mm if in cm, {1000 * long:.4g} mm if in m, "
            f"{25.4 * long:.4g} mm if in in). Say it, such as --units mm."
        )
        assert read_one(path, "mm").box_mm[1, 0] == pytest.approx(long)


@pytest.mark.parametrize(("unit", "mm"), [("cm", 10), ("m", 1000), ("in", 25.4), ("mm", 1)])
def test_a_unit_that_is_said_counts_where_the_file_has_none(tmp_path, unit, mm):
    path = write(box(20, 3, 2), tmp_path / "bar.stl")
    assert read_one(path, unit).box_mm[1] == pytest.approx(np.array([20, 3, 2]) * mm, rel=1e-6)
    package = tmp_path / "bar.3mf"
    package.write_bytes(
        threemf(threemf_object(box(2, 3, 2), 1), '<item objectid="1"/>', "centimeter")
    )
    assert read_one(package, unit).box_mm[1, 0] == pytest.approx(20), "the file's own counts"
    assert read_bodies([package]).notes == ("bar.3mf is in centimeter: read in mm.",)


@pytest.mark.parametrize(
    ("unit", "mm"),
    [
        # Those of the format: the inch is 25.4 mm and the foot 12 of them, both by definition.
        ("micron", 0.001),
        ("millimeter", 1),
        ("centimeter", 10),
        ("inch", 25.4),
        ("foot", 12 * 25.4),
        ("meter", 1000),
    ],
)
def test_units_of_a_package_are_those_of_the_format(tmp_path, unit, mm):
    (tmp_path / "bar.3mf").write_bytes(
        threemf(threemf_object(box(8, 3, 2), 1), '<item objectid="1"/>', unit)
    )
    read = read_bodies([tmp_path / "bar.3mf"], is_sound=True)
    assert read.bodies[0].box_mm[1] == pytest.approx(np.array([8, 3, 2]) * mm)
    assert read.notes == (() if mm == 1 else (f"bar.3mf is in {unit}: read in mm.",))


@pytest.mark.parametrize(("far_m", "is_read"), [(999.9, True), (1000.1, False)])
@pytest.mark.parametrize("sign", [1, -1])
def test_a_body_lies_within_a_kilometre(tmp_path, far_m, is_read, sign):
    # Its far corner; the near one is 10 m less.
    at = 1000 * (far_m - 10 if sign > 0 else -far_m)
    path = write(box(1e4, 1e4, 1e4, (at, 0, 0)), tmp_path / "far.ply")
    if is_read:
        assert read_one(path, "mm").volume_mm3 == pytest.approx(1e12, rel=1e-3)
    else:
        assert refused(path, "mm").startswith(
            "far.ply: expected a body within 1 km of the origin, got a corner at 1 km. Move it"
        )


def test_bodies_of_one_name_are_numbered_and_of_one_file_told(tmp_path):
    solids = Manifold.compose([box(9, 9, 9, (20 * n, 0, 0)) for n in (2, 0, 1)])
    path = write(solids, tmp_path / "feet.stl")
    read = read_bodies([path])
    assert [one.name for one in read.bodies] == ["feet 1", "feet 2", "feet 3"]
    assert [one.file for one in read.bodies] == ["feet.stl"] * 3
    corners = read_raw(path)[0].corners
    order = list(dict.fromkeys(np.floor(corners[:, 0, 0] / 20).astype(int).tolist()))
    found = [int(one.box_mm[0, 0] // 20) for one in read.bodies]
    assert found == order, "in the order of the file"
    assert read.notes == ("feet.stl holds 3 bodies: feet 1, feet 2, feet 3.",)
    assert read_bodies([write(CUBE, tmp_path / "one.stl")]).notes == ()


def test_as_many_bodies_as_allowed_are_read(tmp_path, monkeypatch):
    path = write(Manifold.compose([CUBE, box(9, 9, 9, (20, 0, 0))]), tmp_path / "two.stl")
    monkeypatch.setattr(mesh, "MOST_BODIES", 2)
    assert len(read_bodies([path]).bodies) == 2
    monkeypatch.setattr(mesh, "MOST_BODIES", 1)
    assert refused(path).startswith("two.stl: expected at most 1 bodies, got 2. Give only")


def test_five_hundred_bodies_are_met_and_no_more():
    body = drawn(CUBE)
    one = ("foot", "feet.stl", body.vertices_mm, body.triangles, None, 0.0)
    assert [each.name for each in mesh._with_own_names([one] * 500)][-1] == "foot (500)"
    with pytest.raises(BodyError, match=r"feet\.stl: expected at most 500 bodies, got 501\. Give"):
        mesh._with_own_names([one] * 501)


@pytest.mark.parametrize("kind", ["stl", "3mf"])
def test_a_file_written_from_a_body_is_read_again_as_the_body(tmp_path, kind):
    body = drawn(box(30, 20, 10) - round_bar(5, 30, (10, 8, -5), 24), "plate")
    path = tmp_path / f"plate.{kind}"
    path.write_bytes(file_bytes(body, path.name, {}))
    again, (as_others,) = read_again(path, body), read_bodies([path]).bodies
    assert np.array_equal(again.corners_mm, as_others.corners_mm)
    assert again.volume_mm3 == as_others.volume_mm3


def _two_corners_as_one(mesh):
    mesh.vertices = mesh.vertices[[0, 0, *range(2, 8)]]


def _other_triangles(mesh):
    mesh.faces = mesh.faces[::-1]


def _a_torn_corner(mesh):
    mesh.unmerge_vertices()
    mesh.vertices[0] += 1e-3


@pytest.mark.parametrize("spoil", [_two_corners_as_one, _other_triangles, _a_torn_corner])
def test_a_file_that_another_program_reads_otherwise_is_not_read_again_as_the_body(tmp_path, spoil):
    solid = box(30, 20, 10)
    mesh = as_trimesh(solid)
    spoil(mesh)
    assert read_again(write(mesh, tmp_path / "spoilt.stl"), drawn(solid)) is None


def test_two_shells_are_not_read_again_as_one_body(tmp_path):
    solid = box(30, 20, 10) + box(5, 5, 5, (40, 0, 0))
    assert read_again(write(solid, tmp_path / "two.stl"), drawn(solid)) is None


def test_bodies_found_sound_before_are_not_looked_at_again(tmp_path):
    body = as_trimesh(CUBE)
    opened = trimesh.Trimesh(body.vertices, body.faces[1:], process=False)
    path = write(opened, tmp_path / "opened.stl")
    assert "closed surface" in refused(path)
    (read,) = read_bodies([path], is_sound=True).bodies
    assert len(read.edges.opened) == 3


def hollow(*cavities):
    """A cube of 30 mm with cavities, each a cube with its corner and side."""
    solid = box(30, 30, 30)
    for at, side in cavities:
        solid -= box(side, side, side, at)
    return solid


def test_a_cavity_belongs_to_the_smallest_body_around_it(tmp_path):
    # In a large hollow cube stands a smaller one with a cavity of its own.
    outer = hollow(((5, 5, 5), 20))
    inner = box(10, 10, 10, (10, 10, 10)) - box(4, 4, 4, (13, 13, 13))
    path = write(Manifold.compose([outer, inner, box(3, 3, 3, (50, 0, 0))]), tmp_path / "nest.stl")
    found = sorted(body.volume_mm3 for body in read_bodies([path]).bodies)
    assert found == pytest.approx([27, 1000 - 64, 27000 - 8000])


def test_a_flat_shell_beside_a_body_is_told_to_have_no_volume(tmp_path):
    cube = as_trimesh(CUBE)
    sheet = np.array([(20, 0, 0), (29, 0, 0), (20, 9, 0)], float)
    both = trimesh.util.concatenate(
        [cube, trimesh.Trimesh(sheet, [(0, 1, 2), (0, 2, 1)], process=False)]
    )
    assert "expected a body with volume, got none" in refused(write(both, tmp_path / "flat.stl"))


@pytest.mark.parametrize("at", [(40, 0, 0), (25, 5, 5), (-10, -10, -10)])
def test_a_cavity_beside_its_body_is_refused(tmp_path, at):
    parts = [as_trimesh(box(30, 30, 30)), as_trimesh(box(8, 8, 8, at))]
    parts[1] = trimesh.Trimesh(parts[1].vertices, parts[1].faces[:, ::-1], process=False)
    path = write(trimesh.util.concatenate(parts), tmp_path / "lost.stl")
    assert refused(path) == (
        "lost.stl: expected outward normals, got inward ones. Turn its faces around (flip the "
        "normals), and export it again."
    )


def test_a_cavity_in_the_notch_of_a_body_is_in_its_box_and_not_in_it(tmp_path):
    angle = as_trimesh(box(30, 30, 30) - box(20, 20, 40, (10, 10, -5)))
    void = as_trimesh(box(8, 8, 8, (15, 15, 10)))
    void = trimesh.Trimesh(void.vertices, void.faces[:, ::-1], process=False)
    path = write(trimesh.util.concatenate([angle, void]), tmp_path / "notch.stl")
    assert "expected outward normals" in refused(path)


@pytest.mark.parametrize("turn", [(0, 0, 0), (31, 17, 60)])
def test_a_surface_goes_once_around_a_point_inside_and_not_around_one_outside(turn):
    body = drawn((box(10, 10, 10, (-5, -5, -5)) - round_bar(4, 20, (0, 0, -10))).rotate(turn))
    axes = np.asarray(box(1, 1, 1).rotate(turn).to_mesh64().vert_properties)[:, :3]
    plain = np.asarray(box(1, 1, 1).to_mesh64().vert_properties)[:, :3]
    frame = np.array([axes[(plain == np.eye(3)[k]).all(axis=1)][0] for k in range(3)])
    for point, times in (((4, 4, 4), 1), ((3, 0, 1), 1), ((0, 0, 1), 0), ((6, 0, 0), 0)):
        assert winding(body.corners_mm, point @ frame) == pytest.approx(times, abs=1e-6)
    cube = drawn(CUBE)
    # One face of a cube, seen from its middle, fills a sixth of all directions.
    top = cube.corners_mm[cube.normals[:, 2] > 0.5]
    assert winding(top, np.array([5.0, 5, 5])) == pytest.approx(1 / 6)


def spiked(depth_mm):
    """A cube of 10 mm whose top is a pit; its bottom goes beyond the cube's floor by a depth."""
    at = [(0, 0, 0), (10, 0, 0), (10, 10, 0), (0, 10, 0)]
    # Its bottom lies beside the floor's diagonal, in the middle of a triangle.
    vertices = np.array([*at, *((x, y, 10) for x, y, _ in at), (6.5, 5.5, -depth_mm)], float)
    sides = [(0, 1, 5), (0, 5, 4), (1, 2, 6), (1, 6, 5), (2, 3, 7), (2, 7, 6), (3, 0, 4), (3, 4, 7)]
    pit = [(4, 5, 8), (5, 6, 8), (6, 7, 8), (7, 4, 8)]
    faces = np.array([(0, 2, 1), (0, 3, 2), *sides, *pit])
    return Body("pit", "pit.stl", vertices, faces)


@pytest.mark.parametrize(("depth_mm", "crosses"), [(0.5, True), (0.0005, False), (-0.5, False)])
def test_a_pit_through_the_floor_crosses_it(depth_mm, crosses):
    body = spiked(depth_mm)
    found = crossings(body)
    assert bool(len(found)) is crosses
    if crosses:
        pairs = {frozenset(pair) for pair in found.tolist()}
        # Each of the four sides of the pit goes through the one triangle of the floor.
        assert all(pair & {0, 1} and pair & {10, 11, 12, 13} for pair in pairs)
        (told,) = faults(body)
        place = body.corners_mm[found[0, 0]].mean(axis=0)
        assert told.got == (
            f"one that crosses itself in {len(found)} places, the first at "
            "({:.2f}, {:.2f}, {:.2f})".format(*place)
        )


def test_crossings_are_found_in_small_portions_too(monkeypatch):
    # Two bars that cross each other twice, as one surface.
    bars = [box(30, 3, 3), box(3, 30, 3, (5, -10, 1)), box(3, 30, 3, (20, -10, 1))]
    parts = [drawn(one) for one in bars]
    shift = np.cumsum([0, *(len(one.vertices_mm) for one in parts)])
    body = Body(
        "bars",
        "bars.stl",
        np.concatenate([one.vertices_mm for one in parts]),
        np.concatenate([one.triangles + by for one, by in zip(parts, shift, strict=False)]),
    )
    found = {frozenset(pair) for pair in crossings(body).tolist()}
    assert len(found) > 20
    monkeypatch.setattr(box_tree, "_AT_ONCE", 5)
    assert {frozenset(pair) for pair in crossings(body).tolist()} == found
    some = crossings(body, 3)
    assert 3 < len(some) < len(found)
    assert crossings(body, len(found)).shape == (len(found), 2)


def test_crossings_of_two_bodies_are_pairs_of_their_own_triangles():
    plate, peg = drawn(box(20, 20, 4)), drawn(box(2, 2, 10, (9, 8, -3)))
    every = np.arange(12)
    found = crossings_between(peg, every, plate)
    # The four sides of the peg go through the plate's top and bottom, each triangle of which...
    upright = np.abs(peg.normals[:, 2]) < 0.5
    level = np.abs(plate.normals[:, 2]) > 0.5
    assert len(found) > 0
    assert upright[found[:, 0]].all()
    assert level[found[:, 1]].all()
    assert set(found[:, 0].tolist()) == set(np.flatnonzero(upright).tolist())
    some = np.flatnonzero(peg.normals[:, 0] > 0.5)
    assert set(crossings_between(peg, some, plate)[:, 0].tolist()) == set(some.tolist())
    back = crossings_between(plate, every, peg)
    assert {(a, b) for a, b in back.tolist()} == {(b, a) for a, b in found.tolist()}


@pytest.mark.parametrize(("deep_mm", "crosses"), [(0.01, True), (0.0009, False), (-1.0, False)])
def test_bodies_that_stand_in_each_other_by_less_than_a_micron_only_touch(deep_mm, crosses):
    plate = drawn(box(20, 20, 4))
    # A corner of a cube, turned to stand on it, goes so deep into the top.
    corner = Manifold.cube((6, 6, 6)).rotate((45, 0, 0)).rotate((0, -35.264389682754654, 0))
    lowest = drawn(corner).box_mm[0, 2]
    spike = drawn(corner.translate((8.3, 6.1, 4 - lowest - deep_mm)))
    assert bool(len(crossings_between(spike, np.arange(12), plate))) is crosses


def test_faults_name_the_body_where_its_file_does_not():
    body = drawn(CUBE, "lid")
    opened = Body("lid", "parts.stl", body.vertices_mm.copy(), body.triangles[2:].copy())
    found = list(faults(opened))
    assert found[0].where == "parts.stl lid"
    assert found[0].got.startswith("4 open edges, the first at (")
    first = body.vertices_mm[opened.edges.opened[0]].mean(axis=0)
    assert "({:.2f}, {:.2f}, {:.2f})".format(*first) in found[0].got
    own = Body("lid", "lid.stl", body.vertices_mm.copy(), body.triangles[2:].copy())
    assert next(faults(own)).where == "lid.stl"
    assert list(faults(body)) == []


def test_a_sheet_without_volume_is_no_body():
    flat = Body(
        "sheet",
        "sheet.stl",
        np.array([(0, 0, 0), (9, 0, 0), (0, 9, 0)], float),
        np.array([(0, 1, 2), (0, 2, 1)]),
    )
    assert [one.expected for one in faults(flat)] == ["a body with volume"]


@pytest.mark.parametrize(("side_mm", "is_body"), [(0.0101, True), (0.0099, False)])
def test_a_speck_of_a_millionth_of_a_cubic_millimetre_is_a_body(side_mm, is_body):
    cube = box(1, 1, 1).to_mesh64()
    corners = side_mm * np.asarray(cube.vert_properties)[:, :3]
    body = Body("speck", "speck.stl", corners, np.asarray(cube.tri_verts, dtype=np.int64))
    told = [(one.expected, one.got, one.todo) for one in faults(body)]
    assert told == (
        [] if is_body else [("a body with volume", "none", "Export the solid, not its sketch")]
    )


def test_a_moved_body_is_written_into_a_file_named_as_its_own():
    def body(name, file):
        one = drawn(CUBE, name)
        return Body(name, file, one.vertices_mm, one.triangles)

    bodies = [
        body("lid", "Lid.STL"),
        body("peg", "parts.3mf"),
        body("foot", "parts.3mf"),
        body("arm", "x/lid.stl"),
        body("leg", "y/LID.stl"),
        body("rib", "rib.ply"),
    ]
    names = file_names(bodies)
    assert names["lid"].lower() == "lid.stl"
    assert names["arm"] == "lid-2.stl"
    assert names["leg"].lower() == "lid-3.stl"
    assert [names[n] for n in ("peg", "foot", "rib")] == ["peg.3mf", "foot.3mf", "rib.3mf"]


@pytest.mark.parametrize("ending", [".stl", ".3mf"])
def test_a_written_body_is_read_back_as_it_was(tmp_path, ending):
    body = drawn(CUBE - round_bar(4, 30, (5, 5, -5)), "lid")
    path = tmp_path / f"lid{ending}"
    path.write_bytes(file_bytes(body, path.name, {}))
    read = read_one(path)
    assert (read.name, len(read.triangles)) == ("lid", len(body.triangles))
    np.testing.assert_array_equal(read.corners_mm, body.corners_mm)
    if ending == ".stl":
        assert path.read_bytes()[:80].rstrip(b"\0 ").decode() == "coupon body lid, units: mm"


def test_outlines_of_a_face_run_with_its_material_on_the_left():
    surface = surface_of(drawn(box(40, 30, 8) - round_bar(10, 20, (20, 15, -5), 64)))
    (top,) = [one for one in surface.regions if one.normal[2] > 0.9]
    areas = []
    for line in surface.outlines_mm(top):
        x, y = line[:, 0], line[:, 1]
        areas.append(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2)
    # The outer outline runs counter-clockwise, that of the hole the other way.
    hole = 64 / 2 * np.sin(2 * np.pi / 64) * 25
    assert sorted(areas) == pytest.approx([-hole, 1200], rel=1e-5)
    low, high = surface.boxes_mm
    for region in surface.regions:
        corners = region.corners_mm.reshape(-1, 3)
        assert low[region.number].tolist() == corners.min(axis=0).tolist()
        assert high[region.number].tolist() == corners.max(axis=0).tolist()
        assert (surface.label[region.faces] == region.number).all()


def test_runs_of_edges_close_and_those_of_two_are_none():
    edges = [(0, 1), (1, 2), (2, 0), (5, 6), (6, 5), (7, 8), (8, 9), (9, 4), (4, 7)]
    runs = closed_runs(np.array(edges)[np.random.default_rng(4).permutation(len(edges))])
    rolled = sorted(tuple(np.roll(run, -int(run.argmin())).tolist()) for run in runs)
    assert rolled == [(0, 1, 2), (4, 7, 8, 9)]


def test_two_outlines_that_touch_in_a_corner_are_each_closed():
    eight = [(0, 1), (1, 2), (2, 0), (0, 3), (3, 4), (4, 0)]
    runs = closed_runs(np.array(eight))
    assert sorted(len(run) for run in runs) in ([3, 3], [6])
    steps = {(a, b) for run in runs for a, b in zip(run, np.roll(run, -1), strict=True)}
    assert steps == set(eight)


@pytest.mark.parametrize("height_mm", [0.5, 3.0, 7.5])
def test_a_cut_through_a_cone_has_its_area_at_that_height(height_mm):
    body = drawn(Manifold.cylinder(10, 8, 4, 48))
    (line,) = cut(body, np.array([0, 0, height_mm]), np.array([0, 0, 1.0]))
    assert line[:, 2] == pytest.approx(height_mm)
    radius = 8 - 0.4 * height_mm
    doubled = np.cross(line, np.roll(line, -1, axis=0)).sum(axis=0)[2]
    assert abs(doubled) / 2 == pytest.approx(24 * np.sin(np.pi / 24) * radius**2, rel=1e-5)


def test_a_plane_in_a_face_is_moved_a_ten_thousandth_aside():
    body = drawn(CUBE)
    (line,) = cut(body, np.array([0, 0, 0.0]), np.array([0, 0, -1.0]))
    assert line[:, 2] == pytest.approx(1e-4, abs=1e-9)
    assert cut(body, np.array([0, 0, 10.0]), np.array([0, 0, -1.0])) == []
    # A plane that is a little aside already stays where it is.
    (line,) = cut(body, np.array([0, 0, 2e-5]), np.array([0, 0, 1.0]))
    assert line[:, 2] == pytest.approx(2e-5, abs=1e-12)
