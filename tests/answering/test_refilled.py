"""Faces that are moved where triangles and corners are in the way."""

import numpy as np
import pytest
from support.drawn_bodies import as_trimesh, drawn, round_bar, write
from support.moved_faces import around_z, between, body_of, facing
from support.slivers import divided_near_ends

from coupons.answering.meshes.mesh import merged, read_bodies
from coupons.answering.meshes.patches import flat_patches
from coupons.answering.meshes.regions import SurfaceKind, regions_of
from coupons.answering.relieve.face_offset import MovedFaces, offset_faces
from coupons.answering.relieve.filled_outline import filled_sheet
from coupons.answering.relieve.refilled import _faces_at


def rounded_to_32_bits(mesh):
    corners = mesh.triangles.astype(np.float32).astype(np.float64)
    vertices, triangles = merged(corners)
    mesh = mesh.copy()
    mesh.vertices, mesh.faces = vertices, triangles
    return body_of(mesh)


def of_kind(body, kind):
    return [region for region in regions_of(body) if region.kind is kind]


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("turn", [(0, 0, 0), (31, 17, 60)])
def test_slivers_neither_divide_a_face_nor_join_two(seed, turn):
    """A block has six faces, however its edges were divided: 11.8, 34 and 8 mm long."""
    mesh = as_trimesh(between((0, 0, 0), (11.8, 34, 8)).rotate(turn).translate((10, -2, 4)))
    body = rounded_to_32_bits(divided_near_ends(mesh, 60, 0.01, seed))
    areas = sorted(region.area_mm2 for region in of_kind(body, SurfaceKind.PLANE))
    wanted = sorted([11.8 * 34, 11.8 * 34, 11.8 * 8, 11.8 * 8, 34 * 8, 34 * 8])
    assert [area for area in areas if area > 0.01] == pytest.approx(wanted, abs=1e-3)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("turn", [(0, 0, 0), (31, 17, 60)])
def test_a_block_of_slivers_gets_narrower_as_any_other(seed, turn):
    """0.05 mm off both sides of 11.8 mm, over 34 × 8 mm."""
    mesh = as_trimesh(between((0, 0, 0), (11.8, 34, 8)).rotate(turn).translate((10, -2, 4)))
    body = rounded_to_32_bits(divided_near_ends(mesh, 60, 0.01, seed))
    sides = [one for one in of_kind(body, SurfaceKind.PLANE) if abs(one.area_mm2 - 34 * 8) < 0.1]
    found = offset_faces(body, [MovedFaces("side", one.faces, -0.05) for one in sides])
    assert not found.faults
    assert found.body.volume_mm3 == pytest.approx(11.7 * 34 * 8, abs=0.02)
    assert not len(found.body.edges.opened)


@pytest.mark.parametrize(
    ("seed", "turn", "times"),
    [
        (0, (0, 0, 0), 60),
        (1, (31, 17, 60), 60),
        (2, (31, 17, 60), 60),
        # Corners of the end 1 µm from a long edge, far from both of its ends.
        (1, (31, 17, 60), 200),
        (6, (31, 17, 60), 200),
    ],
)
def test_a_pin_of_slivers_gets_thinner_as_any_other(seed, turn, times):
    """Area of a 48-gon in a circle of diameter d: 48/2 (d/2)² sin(360°/48)."""
    mesh = as_trimesh(round_bar(4.8, 17, sides=48).rotate(turn))
    body = rounded_to_32_bits(divided_near_ends(mesh, times, 0.01, seed))
    (wall,) = of_kind(body, SurfaceKind.CYLINDER)
    found = offset_faces(body, [MovedFaces("pin", wall.faces, -0.1 * np.cos(np.pi / 48))])
    assert not found.faults
    area = 24 * 2.3**2 * np.sin(np.pi / 24)
    assert found.body.volume_mm3 == pytest.approx(area * 17, rel=1e-5)


def test_a_corner_beside_a_moved_edge_gives_way_and_one_far_off_does_not():
    """A top with a corner 0.02 mm inside an edge that moves 0.3 mm, and one in its middle."""
    mesh = as_trimesh(between((0, 0, 0), (20, 20, 10)))
    top = facing(mesh, (0, 0, 1))
    faces, places = [tuple(one) for one in mesh.faces], [*mesh.vertices]
    for point in ((19.98, 7.0, 10.0), (4.0, 11.0, 10.0)):
        inside = [n for n in range(len(faces)) if holds(places, faces[n], point)]
        (row,) = inside
        a, b, c = faces[row]
        places.append(np.array(point))
        faces[row] = (a, b, len(places) - 1)
        faces += [(b, c, len(places) - 1), (c, a, len(places) - 1)]
    assert len(top) == 2
    mesh.vertices, mesh.faces = np.array(places), np.array(faces)
    body = body_of(mesh)
    found = offset_faces(body, [MovedFaces("right", facing(mesh, (1, 0, 0)), -0.3)])
    assert not found.faults
    assert found.body.volume_mm3 == pytest.approx(19.7 * 20 * 10, rel=1e-9)
    x_mm = found.body.vertices_mm[-2:, 0]
    assert x_mm[0] < 19.7
    assert x_mm[1] == pytest.approx(4.0, abs=0.3)


def holds(places, face, point):
    a, b, c = (np.asarray(places[n])[:2] - point[:2] for n in face)
    if any(abs(places[n][2] - point[2]) > 1e-9 for n in face):
        return False
    crosses = [u[0] * v[1] - u[1] * v[0] for u, v in ((a, b), (b, c), (c, a))]
    return min(crosses) > 0


def test_a_corner_in_an_edge_keeps_its_place_between_the_ends():
    """Two walls come 0.4 mm closer; a corner 0.1 mm from one lies in the edge between them."""
    mesh = as_trimesh(between((0, 0, 0), (20, 20, 10)))
    places, faces = [*mesh.vertices, np.array((0.1, 0.0, 10.0))], []
    at = len(places) - 1
    ends = {n for n, place in enumerate(mesh.vertices) if place[1] == 0 and place[2] == 10}
    assert len(ends) == 2
    for a, b, c in mesh.faces.tolist():
        for one, two, other in ((a, b, c), (b, c, a), (c, a, b)):
            if {one, two} == ends:
                faces += [(one, at, other), (at, two, other)]
                break
        else:
            faces.append((a, b, c))
    mesh.vertices, mesh.faces = np.array(places), np.array(faces)
    both = [MovedFaces("walls", facing(mesh, way), -0.4) for way in ((1, 0, 0), (-1, 0, 0))]
    found = offset_faces(body_of(mesh), both)
    assert not found.faults
    assert found.body.volume_mm3 == pytest.approx(19.2 * 20 * 10, rel=1e-9)
    # A two-hundredth of the edge from its left end: 0.4 + 19.2/200.
    assert found.body.vertices_mm[at] == pytest.approx((0.496, 0, 10), abs=1e-9)


def test_a_pin_with_a_point_near_its_rim_gets_thinner(tmp_path):
    """Its end is a fan around a corner that lies off the middle, 0.05 mm from the rim."""
    pin = as_trimesh(round_bar(6, 10, sides=32))
    end = facing(pin, (0, 0, 1))
    rim = np.unique(pin.faces[end])
    order = rim[np.argsort(np.arctan2(*pin.vertices[rim][:, 1::-1].T))]
    at = len(pin.vertices)
    fan = [(order[k - 1], order[k], at) for k in range(len(order))]
    kept = np.delete(pin.faces, end, axis=0)
    pin.vertices = np.vstack([pin.vertices, (2.93, 0.0, 10.0)])
    pin.faces = np.vstack([kept, fan])
    (body,) = read_bodies([write(pin, tmp_path / "pin.stl")]).bodies
    wall = around_z(pin, 3.0)
    assert len(wall) == 64
    found = offset_faces(
        body, [MovedFaces("pin", of_kind(body, SurfaceKind.CYLINDER)[0].faces, -0.2)]
    )
    assert not found.faults
    across = 6 - 2 * 0.2 / np.cos(np.pi / 32)
    area = 16 * (across / 2) ** 2 * np.sin(np.pi / 16)
    assert found.body.volume_mm3 == pytest.approx(area * 10, rel=1e-5)


SQUARE = np.array([(0, 0), (4, 0), (4, 3), (2, 3), (1, 3), (0, 3)], float)


def area_of(places, triangles):
    a, b, c = np.moveaxis(places[triangles], 1, 0)
    u, v = b - a, c - a
    return (u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) / 2


@pytest.mark.parametrize("inside", [(), ((1.0, 1.0),), ((1.0, 1.0), (3.0, 2.9999), (2.0, 1.5))])
def test_a_sheet_has_all_its_corners_and_its_area(inside):
    """n corners in the outline and k inside make n + 2k − 2 triangles."""
    places = np.vstack([SQUARE, *[[one] for one in inside]])
    found = filled_sheet([np.arange(6)], np.arange(len(places)), places, 1e-6)
    areas = area_of(places, found)
    assert len(found) == 4 + 2 * len(inside)
    assert set(found.ravel().tolist()) == set(range(len(places)))
    assert areas.min() > 0
    assert areas.sum() == pytest.approx(12, rel=1e-12)


def test_a_sheet_leaves_its_hole_open():
    """A square of 4 with a hole of 1: 8 corners, one hole, so 8 + 2 − 2 triangles."""
    places = np.array(
        [(0, 0), (4, 0), (4, 4), (0, 4), (1, 1), (1, 2), (2, 2), (2, 1), (3, 3)], float
    )
    found = filled_sheet([np.arange(4), np.arange(4, 8)], np.arange(9), places, 1e-6)
    assert len(found) == 10
    assert area_of(places, found).sum() == pytest.approx(15, rel=1e-12)


def test_no_circle_through_a_triangle_of_a_sheet_holds_another_corner():
    places = np.vstack(
        [[(0, 0), (10, 0), (10, 10), (0, 10)], np.random.default_rng(4).uniform(1, 9, (40, 2))]
    )
    found = filled_sheet([np.arange(4)], np.arange(44), places, 1e-6)
    for triangle in found:
        a, b, c = places[triangle]
        middle = np.linalg.solve(2 * np.array([b - a, c - a]), [b @ b - a @ a, c @ c - a @ a])
        away = np.linalg.norm(places - middle, axis=1)
        assert away.min() > np.linalg.norm(a - middle) - 1e-9


@pytest.mark.parametrize("fine", [1, 4])
def test_a_corner_knows_in_how_many_faces_it_is(fine):
    """A block with a slot across it: 16 corners in three faces, and four where the slot ends."""
    solid = between((0, 0, 0), (20, 20, 10)) - between((6, -1, 4), (9, 21, 11))
    body = drawn(solid.refine(fine))
    label = flat_patches(body).label
    counts = _faces_at(body, label)
    naive = [len(set(label[(body.triangles == k).any(axis=1)])) for k in range(len(counts))]
    assert counts.tolist() == naive
    assert (counts == 3).sum() == 16
    assert set(counts.tolist()) == ({3} if fine == 1 else {1, 2, 3})


def test_a_plain_body_is_not_touched_by_any_of_this():
    body = drawn(between((0, 0, 0), (20, 20, 10)))
    top = np.flatnonzero(body.normals[:, 2] > 0.5)
    found = offset_faces(body, [MovedFaces("top", top, -0.3)])
    np.testing.assert_array_equal(found.body.triangles, body.triangles)
