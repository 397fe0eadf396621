"""Flat patches and the seams between them, against what was drawn."""

import numpy as np
import pytest
from support.drawn_bodies import box, drawn
from support.moved_faces import body_of, prism

from coupons.answering.meshes.body import Body
from coupons.answering.meshes.patches import flat_patches, joined, patch_corners, seams_of


def patches_of(solid):
    return flat_patches(drawn(solid))


def wedge():
    """A roof 12 mm long over a triangle of 6 by 8 mm with its right angle at the origin."""
    return box(6, 12, 8) - box(20, 20, 20, (0, -1, 0)).rotate(
        (0, np.degrees(np.arctan2(8, 6)), 0)
    ).translate((0, 0, 8))


def test_patches_of_a_wedge_have_the_planes_that_were_drawn():
    found = patches_of(wedge())
    # The slanted face is square to (0.8, 0, 0.6): it goes from (0, 0, 8) to (6, 0, 0), 10 mm long.
    drawn_as = {
        (-1, 0, 0): (0, 8 * 12),
        (0, 0, -1): (0, 6 * 12),
        (0, -1, 0): (0, 24),
        (0, 1, 0): (12, 24),
        (0.8, 0, 0.6): (4.8, 10 * 12),
    }
    got = {
        tuple(np.round(normal, 5) + 0.0): (height, area)
        for normal, height, area in zip(
            found.normals, found.heights_mm, found.areas_mm2, strict=True
        )
    }
    assert got.keys() == drawn_as.keys()
    for normal, known in drawn_as.items():
        assert got[normal] == pytest.approx(known, abs=1e-5)


def patch_with(found, normal):
    (number,) = np.flatnonzero(found.normals @ normal > 1 - 1e-5)
    return int(number)


def test_seams_of_a_wedge_have_lengths_ways_and_angles():
    found = patches_of(wedge())
    seams = seams_of(found)
    assert len(seams.patches) == 9
    assert (seams.patches[:, 0] < seams.patches[:, 1]).all()
    left, under, front, slope = (
        patch_with(found, n) for n in ((-1, 0, 0), (0, 0, -1), (0, -1, 0), (0.8, 0, 0.6))
    )
    at = {frozenset(pair): n for n, pair in enumerate(seams.patches.tolist())}
    known = [
        # Two faces; of their seam the length, the way and a point; the turn from one to the other.
        (left, under, 12, (0, 1, 0), (0, None, 0), 90.0),
        (slope, under, 12, (0, 1, 0), (6, None, 0), 180 - np.degrees(np.arctan2(8, 6))),
        (slope, left, 12, (0, 1, 0), (0, None, 8), 180 - np.degrees(np.arctan2(6, 8))),
        (front, slope, 10, (0.6, 0, -0.8), (None, 0, None), 90.0),
        (front, under, 6, (1, 0, 0), (None, 0, 0), 90.0),
        (front, left, 8, (0, 0, 1), (0, 0, None), 90.0),
    ]
    for one, other, length, way, point, turn in known:
        n = at[frozenset((one, other))]
        assert seams.length_mm[n] == pytest.approx(length, abs=1e-4)
        assert abs(seams.way[n] @ way) == pytest.approx(1, abs=1e-6)
        for got, wanted in zip(seams.start_mm[n], point, strict=True):
            assert wanted is None or got == pytest.approx(wanted, abs=1e-5)
        assert np.degrees(seams.angle[n]) == pytest.approx(turn, abs=1e-3)
        ends = found.body.vertices_mm[found.body.edges.vertices[seams.edges[n]]]
        assert np.linalg.norm(ends[1] - ends[0]) == pytest.approx(length, abs=1e-4)


def test_a_seam_of_several_edges_starts_at_its_longest():
    # The long edge of a plate is divided at 3 mm of 20.
    outline = [(0, 0), (3, 0), (20, 0), (20, 9), (0, 9)]
    mesh = prism(outline, 4).to_mesh64()
    vertices, faces = np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts)
    body = Body("plate", "plate.stl", vertices.copy(), faces.astype(np.int64))
    assert len(vertices) == 10, "the kernel keeps the corner in the middle of the edge"
    found = flat_patches(body)
    seams = seams_of(found)
    front, top = patch_with(found, (0, -1, 0)), patch_with(found, (0, 0, 1))
    (n,) = [k for k, pair in enumerate(seams.patches.tolist()) if {front, top} == set(pair)]
    assert seams.length_mm[n] == pytest.approx(20)
    ends = body.vertices_mm[body.edges.vertices[seams.edges[n]]]
    assert sorted(ends[:, 0]) == [3, 20]
    assert seams.start_mm[n].tolist() == ends[0].tolist()
    assert len(seams.patches) == 12


def test_seams_around_patches_are_those_that_they_have():
    seams = seams_of(patches_of(wedge()))
    for some in ([0], [3, 1], [4, 2, 0]):
        wanted = sorted(
            n for patch in some for n, pair in enumerate(seams.patches.tolist()) if patch in pair
        )
        assert sorted(seams.around(np.array(some)).tolist()) == wanted


def test_corners_of_patches_come_in_the_order_that_was_asked():
    found = patches_of(wedge())
    wanted = np.array([3, 0, 2])
    corners, begins = patch_corners(found, wanted)
    assert begins[0] == 0
    assert begins[-1] == len(corners)
    for n, patch in enumerate(wanted):
        own = corners[begins[n] : begins[n + 1]]
        assert len(own) == 3 * np.sum(found.label == patch)
        assert own @ found.normals[patch] == pytest.approx(found.heights_mm[patch], abs=1e-5)


def test_short_seams_have_a_unit_way_too():
    seams = seams_of(patches_of(box(0.5, 0.4, 0.3)))
    assert np.linalg.norm(seams.way, axis=1) == pytest.approx(np.ones(12))
    assert sorted(seams.length_mm) == pytest.approx([0.3] * 4 + [0.4] * 4 + [0.5] * 4, abs=1e-6)


def test_a_triangle_without_area_stays_in_its_face():
    # The middle of the top's diagonal belongs to one of its two triangles and to one without area.
    at = [(x, y, z) for z in (0, 2) for x, y in ((0, 0), (2, 0), (2, 2), (0, 2))]
    sides = [(0, 1, 5), (0, 5, 4), (1, 2, 6), (1, 6, 5), (2, 3, 7), (2, 7, 6), (3, 0, 4), (3, 4, 7)]
    top = [(4, 5, 6), (4, 6, 8), (4, 8, 7), (8, 6, 7)]
    faces = np.array([(0, 2, 1), (0, 3, 2), *sides, *top])
    body = Body("cube", "cube.stl", np.array([*at, (1, 1, 2)], float), faces)
    assert len(body.edges.opened) == len(body.edges.turned) == 0
    assert (body.areas_mm2 == 0).sum() == 1
    found = flat_patches(body)
    assert len(found.normals) == 6
    assert sorted(found.areas_mm2) == pytest.approx([4] * 6)
    assert found.heights_mm[patch_with(found, (0, 0, 1))] == pytest.approx(2)


def test_numbers_that_pairs_join_are_one_group():
    label = joined(7, np.array([(0, 3), (3, 5), (1, 6)]))
    groups = {frozenset(np.flatnonzero(label == n).tolist()) for n in set(label.tolist())}
    assert groups == {frozenset((0, 3, 5)), frozenset((1, 6)), frozenset((2,)), frozenset((4,))}


@pytest.mark.parametrize(
    ("at_mm", "off_mm", "patches"),
    [
        # 32 bits may have moved a corner at 1000 mm by 1000·2⁻²³ mm; four times that is allowed:
        # 2e-5 + 4.77e-4 mm in all. At 10 mm it is 2.5e-5 mm.
        (0, 2.3e-5, 6),
        (0, 2.7e-5, 7),
        (990, 4.8e-4, 6),
        (990, 5.1e-4, 7),
    ],
)
def test_neighbours_off_one_plane_by_less_than_their_rounding_are_flat(at_mm, off_mm, patches):
    # A roof whose halves are 5 mm wide: its ridge stands half as high over the line between its
    # rims as either rim lies below the plane of the other half.
    outline = np.array([(0, 0), (10, 0), (10, 8), (5, 8 + off_mm / 2), (0, 8)])
    outline[:, 0] += at_mm
    assert len(flat_patches(body_of(as_mesh(prism(outline, 6)))).normals) == patches


class as_mesh:  # noqa: N801 - stands for a mesh of the library, with corners as they are
    def __init__(self, solid):
        mesh = solid.to_mesh64()
        self.vertices = np.asarray(mesh.vert_properties)[:, :3]
        self.faces = np.asarray(mesh.tri_verts)


@pytest.mark.parametrize(("strips", "is_one"), [(15, True), (16, False)])
def test_strips_each_in_line_with_the_next_are_no_plane_once_they_bend(strips, is_one):
    # Strips of 1.5 mrad on a radius of 5 mm: each lies 5·0.0015² = 1.1e-5 mm off its neighbour.
    # An arc of half angle h stands 2/3·5·h²/2 off its mean plane at its rims, which may be
    # 10·(2e-5 + 4·5·2⁻²³) = 2.2e-4 mm: that is h = 0.0116, or 15.5 strips.
    half = strips * 1.5e-3 / 2
    angles = np.linspace(-half, half, strips + 1)
    front = [(5 * np.cos(a), 5 * np.sin(a)) for a in angles]
    outline = [*front, (4.0, front[-1][1]), (4.0, front[0][1])]
    found = flat_patches(body_of(as_mesh(prism(outline, 2.0))))
    ahead = found.normals[:, 0] > 0.99
    # Of a patch that is broken up each triangle is one.
    assert int(ahead.sum()) == (1 if is_one else 2 * strips)
    assert sorted(set(found.label.tolist())) == list(range(len(found.normals)))
