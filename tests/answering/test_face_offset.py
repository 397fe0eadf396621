import numpy as np
import pytest
import trimesh
from scipy.spatial import ConvexHull, HalfspaceIntersection
from support.drawn_bodies import as_trimesh, round_bar
from support.moved_faces import around_z, between, body_of, facing, prism

from coupons.answering.meshes.regions import regions_of
from coupons.answering.relieve.face_offset import MovedFaces, offset_faces

TURNS = [np.eye(4), trimesh.transformations.rotation_matrix(0.7, (1, -2, 0.5))]


def moved_mesh(mesh, *asked, **extra):
    found = offset_faces(body_of(mesh), [MovedFaces(*one) for one in asked], **extra)
    assert not found.faults, found.faults
    return trimesh.Trimesh(found.body.vertices_mm, mesh.faces, process=False)


def faults_of(mesh, *asked, **extra):
    found = offset_faces(body_of(mesh), [MovedFaces(*one) for one in asked], **extra)
    return {name: fault.reason for fault in found.faults for name in fault.names}


@pytest.mark.parametrize("turn", TURNS)
@pytest.mark.parametrize("t_mm", [-0.35, 0.2])
def test_a_box_offset_on_all_sides_has_the_volume_of_the_larger_between(turn, t_mm):
    mesh = as_trimesh(between((3, 4, 5), (13, 24, 35))).apply_transform(turn)
    every = np.arange(len(mesh.faces))
    moved = moved_mesh(mesh, ("all", every, t_mm))
    want = (10 + 2 * t_mm) * (20 + 2 * t_mm) * (30 + 2 * t_mm)
    assert moved.volume == pytest.approx(want, rel=1e-12)


@pytest.mark.parametrize("sides", [24, 97, 256])
@pytest.mark.parametrize("turn", TURNS)
def test_a_cylinder_grows_across_flats_and_keeps_its_axis_and_its_ends(sides, turn):
    mesh = as_trimesh(round_bar(10, 12, sides=sides))
    side = around_z(mesh, 5)
    mesh.apply_transform(turn)
    moved = moved_mesh(mesh, ("pin", side, -0.15))
    apothem = 5 * np.cos(np.pi / sides) - 0.15
    area = sides * apothem**2 * np.tan(np.pi / sides)
    assert moved.volume == pytest.approx(area * 12, rel=1e-10)
    assert moved.center_mass == pytest.approx(mesh.center_mass, abs=1e-9)


def simple_polytope(seed):
    """A convex body with three planes at each corner: half-spaces about the origin."""
    rng = np.random.default_rng(seed)
    normals = rng.normal(size=(14, 3))
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    return normals, rng.uniform(8, 10, size=14)


def hull_of(normals, distance):
    half_spaces = np.column_stack([normals, -distance])
    return ConvexHull(HalfspaceIntersection(half_spaces, np.zeros(3)).intersections)


def outward(hull):
    mesh = trimesh.Trimesh(hull.points, hull.simplices, process=False)
    out = np.einsum("ij,ij->i", mesh.face_normals, mesh.triangles_center) < 0
    faces = hull.simplices.copy()
    faces[out] = faces[out][:, ::-1]
    return trimesh.Trimesh(hull.points, faces, process=False)


@pytest.mark.parametrize("seed", range(5))
def test_a_convex_body_has_the_volume_of_its_moved_half_spaces(seed):
    normals, distance = simple_polytope(seed)
    mesh = outward(hull_of(normals, distance))
    moved = moved_mesh(mesh, ("all", np.arange(len(mesh.faces)), 0.05))
    assert moved.volume == pytest.approx(hull_of(normals, distance + 0.05).volume, rel=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_the_volume_of_a_convex_body_grows_as_steiner_says(seed):
    """V + A t + t² Σ length · tan(angle/2) + …: with edges kept sharp, tan in place of the angle.

    J. Steiner, Über parallele Flächen, 1840: of a rounded body it is half the angle itself.
    """
    mesh = outward(hull_of(*simple_polytope(seed)))
    every = np.arange(len(mesh.faces))
    t = np.array([-0.02, -0.01, 0.01, 0.02])
    volumes = [moved_mesh(mesh, ("all", every, one)).volume - mesh.volume for one in t]
    terms = np.linalg.solve(np.column_stack([t, t**2, t**3, t**4]), volumes)
    ends = mesh.vertices[mesh.face_adjacency_edges]
    length = np.linalg.norm(ends[:, 0] - ends[:, 1], axis=1)
    bend = length @ np.tan(mesh.face_adjacency_angles / 2)
    assert terms[0] == pytest.approx(mesh.area, rel=1e-7)
    assert terms[1] == pytest.approx(bend, rel=1e-4)


def pocketed():
    """A block with a blind pocket, and a peg that stands on it."""
    block = between((0, 0, 0), (40, 30, 10)) - between((5, 5, 4), (17, 25, 11))
    return as_trimesh(block + between((24, 10, 9), (34, 20, 16)))


def test_a_pocket_gets_wider_by_its_offsets_and_nothing_else_moves():
    mesh = pocketed()
    walls = [
        ("east", facing(mesh, (1, 0, 0), (5, 0, 0)), -0.1),
        ("west", facing(mesh, (-1, 0, 0), (17, 0, 0)), -0.1),
        ("north", facing(mesh, (0, 1, 0), (0, 5, 0)), -0.2),
        ("south", facing(mesh, (0, -1, 0), (0, 25, 0)), -0.2),
    ]
    moved = moved_mesh(mesh, *walls)
    assert moved.volume == pytest.approx(mesh.volume - 6 * (12.2 * 20.4 - 12 * 20), rel=1e-12)
    still = np.ones(len(mesh.vertices), bool)
    still[mesh.faces[np.concatenate([faces for _, faces, _ in walls])]] = False
    assert still.any()
    assert moved.vertices[still].tobytes() == mesh.vertices[still].tobytes()


def test_a_peg_gets_thinner_and_its_foot_stays_in_the_plane_that_it_stands_on():
    mesh = pocketed()
    moved = moved_mesh(
        mesh,
        ("a", facing(mesh, (1, 0, 0), (34, 0, 0)), -0.14),
        ("b", facing(mesh, (-1, 0, 0), (24, 0, 0)), -0.14),
    )
    assert moved.volume == pytest.approx(mesh.volume - 0.28 * 10 * 6, rel=1e-12)
    assert len(facing(moved, (0, 0, 1), (0, 0, 10), 1e-9)) == len(
        facing(mesh, (0, 0, 1), (0, 0, 10))
    )


def dovetail():
    """A tongue that is wider at its top: flanks at 60° to the plane it stands on."""
    lean = 8 / np.tan(np.radians(60))
    outline = [
        (-20, 0),
        (20, 0),
        (20, 5),
        (6, 5),
        (6 + lean, 13),
        (-6 - lean, 13),
        (-6, 5),
        (-20, 5),
    ]
    return as_trimesh(prism(outline, 25))


@pytest.mark.parametrize("turn", TURNS)
def test_the_flanks_of_a_dovetail_move_along_their_normals(turn):
    mesh = dovetail()
    flanks = [(s * np.sin(np.radians(60)), -np.cos(np.radians(60)), 0) for s in (1, -1)]
    faces = [facing(mesh, flank) for flank in flanks]
    assert all(len(one) for one in faces)
    mesh.apply_transform(turn)
    moved = moved_mesh(mesh, *(("flank", one, -0.12) for one in faces))
    # Each flank moves sideways by 0.12 / sin 60°, over a height of 8 and a length of 25.
    lost = 2 * 0.12 / np.sin(np.radians(60)) * 8 * 25
    assert moved.volume == pytest.approx(mesh.volume - lost, rel=1e-12)


def test_a_four_sided_sleeve_gets_wider_inside_alone():
    mesh = as_trimesh(between((-10, -10, 0), (10, 10, 20)) - between((-7, -6, -1), (7, 6, 21)))
    inside = [
        facing(mesh, normal, through)
        for normal, through in [
            ((1, 0, 0), (-7, 0, 0)),
            ((-1, 0, 0), (7, 0, 0)),
            ((0, 1, 0), (0, -6, 0)),
            ((0, -1, 0), (0, 6, 0)),
        ]
    ]
    moved = moved_mesh(mesh, *((f"side {n}", one, -0.1) for n, one in enumerate(inside)))
    assert moved.volume == pytest.approx(20 * (400 - 14.2 * 12.2), rel=1e-12)


@pytest.mark.parametrize("sides", [24, 64, 128])
def test_a_hole_with_a_chamfered_mouth_keeps_its_chamfer_in_place(sides):
    from manifold3d import CrossSection, Manifold

    shape = [(0, -1), (3, -1), (3, 9), (4, 10), (4, 11), (0, 11)]
    cutter = Manifold.revolve(CrossSection([np.array(shape, float)]), sides)
    mesh = as_trimesh(between((-8, -8, 0), (8, 8, 10)) - cutter)
    moved = moved_mesh(mesh, ("hole", around_z(mesh, 3), -0.1))
    grown = 0.1 / np.cos(np.pi / sides)  # over corners
    polygon = sides / 2 * np.sin(2 * np.pi / sides)  # area over the square of the radius

    def cone_mm3(low, high):
        return polygon * (high - low) * (high**2 + high * low + low**2) / 3

    def hole_mm3(radius):  # straight up to the cone at 45°, then the cone
        return polygon * radius**2 * (9 + radius - 3) + cone_mm3(radius, 4)

    want = mesh.volume - (hole_mm3(3 + grown) - hole_mm3(3))
    assert moved.volume == pytest.approx(want, rel=1e-9)


def test_an_oblique_hole_keeps_its_axis():
    turn = trimesh.transformations.rotation_matrix(np.radians(25), (1, 0, 0))
    cutter = round_bar(6, 60, sides=96).translate((0, 0, -30)).transform(turn[:3])
    mesh = as_trimesh(between((-15, -15, -5), (15, 15, 5)) - cutter)
    upright = mesh.copy().apply_transform(np.linalg.inv(turn))
    hole = around_z(upright, 3)
    moved = moved_mesh(mesh, ("hole", hole, -0.1)).apply_transform(np.linalg.inv(turn))
    flats = np.einsum("ij,ij->i", moved.triangles[hole][:, 0], moved.face_normals[hole])
    assert flats == pytest.approx(-(3 * np.cos(np.pi / 96) + 0.1), abs=1e-9)


@pytest.mark.parametrize("turn", TURNS)
def test_the_offset_taken_back_restores_the_body(turn):
    mesh = pocketed().apply_transform(turn)
    faces = np.flatnonzero(np.abs(mesh.face_normals @ turn[:3, 0]) > 0.99)
    there = moved_mesh(mesh, ("x", faces, -0.17))
    back = moved_mesh(there, ("x", faces, 0.17))
    assert abs(back.volume - mesh.volume) < 1e-6
    assert back.vertices == pytest.approx(mesh.vertices, abs=1e-9)


def test_places_of_32_bits_change_nothing_that_counts():
    mesh = as_trimesh(round_bar(10, 12, sides=128).translate((150, 130, 20)))
    mesh.vertices = mesh.vertices.astype(np.float32).astype(float)
    side = around_z(mesh, 5, (150, 130))
    moved = moved_mesh(mesh, ("pin", side, -0.15))
    out = moved.triangles[side][:, 0] - (150, 130, 0)
    flats = np.einsum("ij,ij->i", out, mesh.face_normals[side])
    assert flats == pytest.approx(5 * np.cos(np.pi / 128) - 0.15, abs=2e-4)


def test_slivers_in_an_edge_do_not_steer_the_corners():
    """A corner in the middle of an edge, with a triangle of no height to it, as programs export."""
    vertices = [(0, 0, 0), (10, 0, 0), (10, 10, 0), (0, 10, 0), (0, 0, 5), (10, 0, 5), (10, 10, 5)]
    vertices += [(0, 10, 5), (5, 0, 5)]
    sides = [(0, 2, 1), (0, 3, 2), (1, 2, 6), (1, 6, 5), (2, 3, 7), (2, 7, 6), (3, 0, 4), (3, 4, 7)]
    # The front knows of the corner in its upper edge; the top does not, but for the sliver.
    front, top, sliver = [(0, 1, 8), (0, 8, 4), (1, 5, 8)], [(4, 5, 6), (4, 6, 7)], [(4, 8, 5)]
    faces = np.array([*sides, *front, *top, *sliver])
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    assert mesh.is_watertight
    moved = moved_mesh(mesh, ("top", np.array([11, 12]), -0.3))
    assert moved.volume == pytest.approx(10 * 10 * 4.7, rel=1e-9)


REFUSED = [
    ("a plate through its back", -3.5, "would go through its wall, which is 3.00 mm thick"),
    ("thinner than two lines", -2.5, "would leave a wall of 0.50 mm, now 3.00 mm"),
]


@pytest.mark.parametrize(("what", "offset_mm", "words"), REFUSED)
def test_a_face_is_not_moved_through_its_wall(what, offset_mm, words):
    mesh = as_trimesh(between((0, 0, 0), (30, 20, 3)))
    top = facing(mesh, (0, 0, 1))
    assert faults_of(mesh, ("top", top, offset_mm), least_wall_mm=0.8) == {"top": words}, what


def test_a_wall_is_seen_where_only_a_small_pocket_makes_it_thin():
    mesh = as_trimesh(between((0, 0, 0), (100, 100, 6)) - between((70, 20, -1), (73, 23, 5)))
    top = facing(mesh, (0, 0, 1), (0, 0, 6))
    assert faults_of(mesh, ("top", top, -0.3), least_wall_mm=0.8) == {
        "top": "would leave a wall of 0.70 mm, now 1.00 mm"
    }


def test_a_wall_is_seen_where_two_bars_cross_without_a_corner_over_either():
    slot = between((-50, -1, -1), (50, 1, 4)) + between((-1, -50, 5), (1, 50, 11))
    mesh = as_trimesh(between((-30, -30, 0), (30, 30, 10)) - slot)
    floor = facing(mesh, (0, 0, 1), (0, 0, 5))
    assert faults_of(mesh, ("floor", floor, -0.5), least_wall_mm=0.8) == {
        "floor": "would leave a wall of 0.50 mm, now 1.00 mm"
    }


def test_two_sides_of_a_wall_count_together():
    mesh = as_trimesh(between((0, 0, 0), (30, 20, 1)))
    both = [("top", facing(mesh, (0, 0, 1)), -0.6), ("floor", facing(mesh, (0, 0, -1)), -0.6)]
    words = "would go through its wall, which is 1.00 mm thick"
    assert faults_of(mesh, *both) == {"top": words, "floor": words}


def test_a_face_may_grow_where_its_wall_is_thin():
    mesh = as_trimesh(between((0, 0, 0), (30, 20, 0.5)))
    assert not faults_of(mesh, ("top", facing(mesh, (0, 0, 1)), 0.1), least_wall_mm=0.8)


def test_faces_that_would_cross_are_named():
    mesh = as_trimesh(between((0, 0, 0), (30, 20, 10)) - between((10, -1, 5), (10.4, 21, 11)))
    left, right = facing(mesh, (1, 0, 0), (10, 0, 0)), facing(mesh, (-1, 0, 0), (10.4, 0, 0))
    found = faults_of(mesh, ("left", left, 0.25), ("right", right, 0.25))
    words = "would meet the face opposite, which is 0.40 mm away"
    assert found == {"left": words, "right": words}


def test_a_peg_that_would_grow_into_its_neighbour_is_named():
    pegs = (
        between((0, 0, 0), (40, 20, 5))
        + between((5, 5, 4), (9, 9, 20))
        + between((9.3, 3, 4), (14, 12, 18))
    )
    mesh = as_trimesh(pegs)
    near = facing(mesh, (1, 0, 0), (9, 0, 0))
    found = faults_of(mesh, ("peg", near, 0.5))
    assert found == {"peg": "would meet the face opposite, which is 0.30 mm away"}
    assert not faults_of(mesh, ("peg", near, 0.2))


def test_a_corner_that_would_go_into_a_slope_is_named():
    """No face looks at the other here: only triangles that go through one another tell."""
    slope = prism([(22, 0), (30, 0), (30, 20), (12, 20)], 40).transform(
        [[1, 0, 0, 0], [0, 0, -1, 30], [0, 1, 0, 0]]
    )
    mesh = as_trimesh(
        between((-20, -10, -5), (40, 30, 0.5)) + between((0, 0, 0), (9, 20, 12)) + slope
    )
    near = facing(mesh, (0, 0, 1), (0, 0, 12))
    side = facing(mesh, (1, 0, 0), (9, 0, 0))
    assert not faults_of(mesh, ("top", near, 1.0), ("side", side, 1.0))
    found = faults_of(mesh, ("side", side, 8.0))
    assert found == {"side": "would go through another face of the body"}


def test_a_face_with_two_offsets_is_named():
    mesh = as_trimesh(between((0, 0, 0), (30, 20, 10)))
    top = facing(mesh, (0, 0, 1))
    found = faults_of(mesh, ("slot", top, -0.1), ("rest", top, -0.2))
    assert set(found) == {"slot", "rest"}
    assert "two different offsets of one face" in found["slot"]


def test_a_part_of_a_plane_does_not_move_alone():
    mesh = as_trimesh(between((0, 0, 0), (30, 20, 10)))
    found = faults_of(mesh, ("half", facing(mesh, (0, 0, 1))[:1], -0.1))
    assert found == {"half": "lies in one plane with a neighbouring face that moves differently"}


def test_planes_that_cannot_all_be_kept_are_refused():
    mesh = trimesh.creation.cone(10, 10, sections=12)
    mesh.merge_vertices()
    slant = mesh.face_normals[mesh.face_normals[:, 2] > 0.1]
    one = np.flatnonzero(mesh.face_normals @ slant[0] > 1 - 1e-9)
    found = faults_of(mesh, ("side", one, -0.1))
    assert found == {"side": "meets more faces in one corner than can keep their planes"}


def test_no_offset_leaves_every_corner_as_it_was():
    mesh = pocketed()
    moved = moved_mesh(mesh, ("x", facing(mesh, (1, 0, 0)), 0.0))
    assert moved.vertices.tobytes() == mesh.vertices.tobytes()


@pytest.mark.parametrize("seed", range(12))
def test_faces_are_cut_anew_where_a_hole_grows_among_others(seed):
    """Plates with holes close to each other: narrow triangles between them would turn over."""
    rng = np.random.default_rng(seed)
    plate = between((0, 0, 0), (60, 40, 6))
    places = [(12 + 12 * i + rng.uniform(-1, 1), 10 + 10 * j) for i in range(4) for j in range(3)]
    for x, y in places:
        plate -= round_bar(rng.uniform(6, 8), 8, (x, y, -1), sides=int(rng.integers(20, 60)))
    mesh = as_trimesh(plate.rotate((20, 30, 40)))
    body = body_of(mesh)
    holes = [one for one in regions_of(body) if one.cylinder is not None]
    assert len(holes) == 12
    asked = [MovedFaces(f"hole {n}", one.faces, -0.3) for n, one in enumerate(holes)]
    found = offset_faces(body, asked)
    assert not found.faults, found.faults
    moved = trimesh.Trimesh(found.body.vertices_mm, found.body.triangles, process=False)
    assert moved.is_watertight
    areas = [
        one.strips * (one.flat_mm / 2 + t) ** 2 * np.tan(np.pi / one.strips)
        for t in (0.0, 0.3)
        for one in (hole.cylinder for hole in holes)
    ]
    grown = (sum(areas[12:]) - sum(areas[:12])) * 6
    assert moved.volume == pytest.approx(mesh.volume - grown, rel=1e-9)
    # No triangle lies folded over another: the areas add up.
    ends = 2 * (60 * 40 - sum(areas[12:])) + 2 * 6 * (60 + 40)
    walls = sum(
        6 * 2 * one.strips * (one.flat_mm / 2 + 0.3) * np.tan(np.pi / one.strips)
        for one in (hole.cylinder for hole in holes)
    )
    assert moved.area == pytest.approx(ends + walls, rel=1e-9)


@pytest.mark.slow
@pytest.mark.parametrize("fine", [4, 12])
@pytest.mark.parametrize("t_mm", [-0.3, 0.3])
def test_finely_divided_faces_give_way_to_a_moved_edge(fine, t_mm):
    plate = between((0, 0, 0), (30, 20, 6)) - between((8, 5, 2), (22, 15, 7))
    plate += round_bar(4, 6, (4, 10, 5), 24)
    mesh = as_trimesh(plate.rotate((20, 30, 40)).refine(fine))
    body = body_of(mesh)
    (pin,) = [one for one in regions_of(body) if one.cylinder is not None]
    walls = [
        one for one in regions_of(body) if one.cylinder is None and abs(one.area_mm2 - 40) < 0.5
    ]  # the two walls of the pocket of 10 by 4 mm
    assert len(walls) == 2
    asked = [MovedFaces("pin", pin.faces, t_mm)]
    asked += [MovedFaces("pocket", one.faces, t_mm) for one in walls]
    found = offset_faces(body, asked)
    assert not found.faults, found.faults
    moved = trimesh.Trimesh(found.body.vertices_mm, found.body.triangles, process=False)
    one = pin.cylinder
    areas = [24 * (one.flat_mm / 2 + t) ** 2 * np.tan(np.pi / 24) for t in (0, t_mm)]
    want = mesh.volume + 5 * (areas[1] - areas[0]) + 2 * t_mm * 10 * 4
    assert moved.volume == pytest.approx(want, rel=1e-9)
    assert (moved.face_normals * mesh.face_normals).sum(axis=1).min() > 0.5
