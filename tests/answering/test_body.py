"""Bodies as triangles: areas, normals, volumes and edges against what is worked out by hand."""

from collections import Counter

import numpy as np
import pytest
from support.drawn_bodies import box, drawn

from coupons.answering.meshes.body import Body, edges_of, signed_volume

# A corner of a cube cut off: three faces of 3·4/2, 4·2/2 and 2·3/2 mm², and the slanted one.
CORNERS_MM = np.array([(0, 0, 0), (3, 0, 0), (0, 4, 0), (0, 0, 2)], float)
FACES = np.array([(0, 2, 1), (0, 1, 3), (0, 3, 2), (1, 2, 3)])


def cut_corner(shift=(0.0, 0.0, 0.0)) -> Body:
    return Body("corner", "corner.stl", CORNERS_MM + shift, FACES.copy())


def test_areas_and_normals_of_a_corner_cut_off():
    body = cut_corner()
    # The slanted face is square to (1/3, 1/4, 1/2), of length 6.5/10.1…; its doubled area is
    # the length of (4·2, 3·2, 3·4) = (8, 6, 12).
    slanted = np.sqrt(8**2 + 6**2 + 12**2)
    assert body.areas_mm2 == pytest.approx([6, 3, 4, slanted / 2])
    out = [(0, 0, -1), (0, -1, 0), (-1, 0, 0), tuple(np.array([8, 6, 12]) / slanted)]
    assert body.normals == pytest.approx(np.array(out, float))
    assert body.doubled_mm2 == pytest.approx(
        np.array([(0, 0, -12), (0, -6, 0), (-8, 0, 0), (8, 6, 12)])
    )
    assert body.volume_mm3 == pytest.approx(3 * 4 * 2 / 6)
    assert body.box_mm.tolist() == [[0, 0, 0], [3, 4, 2]]
    assert body.corners_mm[1].tolist() == [[0, 0, 0], [3, 0, 0], [0, 0, 2]]


def test_a_triangle_without_area_has_no_normal():
    corners = np.array([(0, 0, 0), (1, 0, 0), (3, 0, 0), (0, 2, 0)], float)
    body = Body("line", "line.stl", corners, np.array([(0, 1, 2), (0, 1, 3)]))
    assert body.areas_mm2.tolist() == [0.0, 1.0]
    assert body.normals.tolist() == [[0, 0, 0], [0, 0, 1]]


def test_a_small_area_still_has_a_normal():
    body = Body("speck", "speck.stl", 1e-4 * CORNERS_MM, FACES.copy())
    assert body.normals[0].tolist() == pytest.approx([0, 0, -1])


@pytest.mark.parametrize("what", ["vertices_mm", "triangles", "corners_mm", "normals", "box_mm"])
def test_arrays_of_a_body_cannot_be_written_to(what):
    with pytest.raises(ValueError, match="read-only"):
        getattr(cut_corner(), what)[0] = 1


def test_faces_that_look_inwards_have_a_negative_volume():
    assert signed_volume(cut_corner().corners_mm[:, ::-1]) == pytest.approx(-4)


def test_a_volume_far_from_the_origin_keeps_its_digits():
    # Taken from the origin, products of 2e6³ would leave no digit of it.
    assert cut_corner((2e6, -2e6, 2e6)).volume_mm3 == pytest.approx(4, rel=1e-6)


@pytest.mark.parametrize("far_mm", [8.0, -8.0, 1000.0])
def test_rounding_is_the_step_of_32_bits_at_the_farthest_coordinate(far_mm):
    shift = far_mm - 3 if far_mm > 0 else far_mm
    body = cut_corner((shift, 0, 0))
    whole = 2.0 ** np.floor(np.log2(abs(far_mm)))  # steps are alike from one power to the next
    step = np.spacing(np.float32(far_mm))
    assert body.rounding_mm == pytest.approx(abs(step) * abs(far_mm) / whole)


def directed(triangles):
    return [(a, b) for t in triangles.tolist() for a, b in zip(t, [*t[1:], t[0]], strict=True)]


def check_closed_edges(triangles):
    edges = edges_of(triangles)
    assert len(edges.opened) == len(edges.turned) == 0
    assert len(edges.triangles) == len(triangles) * 3 / 2
    for (one, other), (low, high) in zip(edges.triangles, edges.vertices, strict=True):
        assert low < high
        assert (low, high) in directed(triangles[one : one + 1])
        assert (high, low) in directed(triangles[other : other + 1])
    every = {frozenset(pair) for pair in directed(triangles)}
    assert {frozenset(pair) for pair in edges.vertices.tolist()} == every


def test_every_edge_of_a_closed_surface_joins_two_triangles():
    check_closed_edges(FACES)
    check_closed_edges(drawn(box(9, 8, 7) - box(3, 3, 9, (2, 2, -1))).triangles)


def as_sets(pairs):
    return Counter(frozenset(pair) for pair in np.asarray(pairs).tolist())


def test_an_open_surface_tells_its_rim_and_joins_what_it_can():
    edges = edges_of(FACES[:3])  # without the slanted face
    assert as_sets(edges.opened) == as_sets([(1, 2), (2, 3), (1, 3)])
    assert len(edges.turned) == 0
    joined = {
        frozenset(v): tuple(t)
        for v, t in zip(edges.vertices.tolist(), edges.triangles.tolist(), strict=True)
    }
    # Face 1 runs from 0 to 1, face 2 from 0 to 3, face 0 from 0 to 2.
    assert joined == {
        frozenset((0, 1)): (1, 0),
        frozenset((0, 3)): (2, 1),
        frozenset((0, 2)): (0, 2),
    }


def test_a_triangle_that_is_turned_over_has_three_such_edges():
    faces = FACES.copy()
    faces[3] = faces[3][::-1]
    edges = edges_of(faces)
    assert as_sets(edges.turned) == as_sets([(1, 2), (2, 3), (1, 3)])
    assert len(edges.opened) == 0
    assert as_sets(edges.vertices) == as_sets([(0, 1), (0, 2), (0, 3)])


def test_three_triangles_at_one_edge_leave_it_open():
    fins = np.array([(0, 1, 2), (1, 0, 3), (0, 1, 4)])
    edges = edges_of(fins)
    assert frozenset((0, 1)) in as_sets(edges.opened)
    assert len(edges.opened) == 7
    assert len(edges.triangles) == 0


def test_four_triangles_at_one_edge_are_two_pairs_if_the_surface_is_closed():
    # Two cut corners that share the edge from 0 to 1.
    other = np.array([(0, 4, 1), (0, 1, 5), (0, 5, 4), (1, 4, 5)])
    edges = edges_of(np.concatenate([FACES, other]))
    at = np.flatnonzero((edges.vertices == (0, 1)).all(axis=1))
    assert sorted(edges.triangles[at, 0].tolist()) == [1, 5]
    assert sorted(edges.triangles[at, 1].tolist()) == [0, 4]
    assert len(edges.opened) == len(edges.turned) == 0


def test_an_edge_of_four_triangles_in_an_open_surface_is_neither_open_nor_turned():
    other = np.array([(0, 4, 1), (0, 1, 5), (0, 5, 4)])  # one face is missing
    edges = edges_of(np.concatenate([FACES, other]))
    assert as_sets(edges.opened) == as_sets([(1, 4), (1, 5), (4, 5)])
    assert len(edges.turned) == 0
    assert frozenset((0, 1)) not in as_sets(edges.vertices), "it is not known which go together"


def test_edges_that_are_known_are_not_looked_for():
    known = edges_of(FACES[:3])
    body = Body("corner", "corner.stl", CORNERS_MM.copy(), FACES.copy(), known)
    assert body.edges is known
    assert len(cut_corner().edges.vertices) == 6
