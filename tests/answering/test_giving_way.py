"""Corners in the middle of faces that moved edges run over, and how triangles are cut anew."""

import numpy as np
import pytest

from coupons.answering.meshes.body import Body, triangle_heights_mm
from coupons.answering.relieve import recut as module
from coupons.answering.relieve.face_offset import (
    MovedFaces,
    _Work,
    offset_faces,
)
from coupons.answering.relieve.recut import Moving, _Cutter, recut


def cube_with_a_corner_in_its_top(middle):
    corners = [(x, y, z) for z in (0, 2) for x, y in ((0, 0), (2, 0), (2, 2), (0, 2))]
    sides = [(0, 1, 5), (0, 5, 4), (1, 2, 6), (1, 6, 5), (2, 3, 7), (2, 7, 6), (3, 0, 4), (3, 4, 7)]
    top = [(4, 5, 8), (5, 6, 8), (6, 7, 8), (7, 4, 8)]
    faces = np.array([(0, 2, 1), (0, 3, 2), *sides, *top])
    return Body("cube", "cube.stl", np.array([*corners, middle], float), faces)


@pytest.mark.parametrize(("offset_mm", "x", "y"), [(-0.3, 1.9, 0.2), (-0.25, 1.92, 0.1)])
def test_a_corner_that_an_edge_runs_over_gives_way(offset_mm, x, y):
    body = cube_with_a_corner_in_its_top((x, y, 2))
    right = np.flatnonzero(body.normals[:, 0] > 0.5)
    found = offset_faces(body, [MovedFaces("right", right, offset_mm)])
    assert not found.faults
    assert found.body.volume_mm3 == pytest.approx(4 * (2 + offset_mm))
    assert found.body.box_mm[1, 0] == pytest.approx(2 + offset_mm)
    assert found.body.vertices_mm[8, 2] == 2


def test_heights_of_triangles_are_their_least():
    # Sides 3, 4 and 5 mm: on the longest it is 3·4/5 high. Then one of 8, 5 and 5 mm: 3.
    corners = np.array([(0, 0, 0), (3, 0, 0), (0, 4, 0), (0, 0, 1), (8, 0, 1), (4, 3, 1)], float)
    body = Body("", "", corners, np.array([(0, 1, 2), (3, 4, 5), (0, 0, 0)]))
    assert triangle_heights_mm(body.corners_mm[[1, 0]]) == pytest.approx([3, 2.4])
    assert triangle_heights_mm(body.corners_mm[[2]]) == pytest.approx([0])


@pytest.mark.parametrize(("high", "is_trusted"), [(1.5, False), (1.9, False), (2.1, True)])
def test_a_triangle_twice_as_high_as_a_plane_is_thick_steers_its_corners(high, is_trusted):
    # Corners are in a plane within 2e-5 mm and four times what 32 bits move them, 2·2⁻²³ mm.
    flat_mm = 2e-5 + 8 * 2.0**-23
    body = cube_with_a_corner_in_its_top((1, high * flat_mm, 2))
    work = _Work(body, [MovedFaces("front", np.flatnonzero(body.normals[:, 1] < -0.5), 0.1)])
    assert (10 in work.around, 10 in work.solid) == (True, is_trusted)


UP = np.array([0.0, 0, 1])


def moving(from_mm, to_mm, triangles, ways=None, flat=None, some=None):
    triangles = np.array(triangles)
    count = len(triangles)
    return Moving(
        np.array(from_mm, float),
        np.array(to_mm, float),
        triangles,
        np.arange(count) if some is None else np.array(some),
        np.zeros(count, bool) if flat is None else np.array(flat),
        np.tile(UP, (count, 1)) if ways is None else np.array(ways, float),
        1e-3,
    )


@pytest.mark.parametrize("roll", [0, 1, 2])
@pytest.mark.parametrize("shift", [(0, 0, 0), (50, -70, 30)])
def test_a_triangle_is_as_high_as_it_is_over_its_longest_side(roll, shift):
    # Sides of 3, 4 and 5 mm in a plane that leans by 3 : 4; on the longest it is 2.4 mm high.
    at = np.roll([(0, 0, 0), (3, 0, 0), (0, 3.2, 2.4)], roll, axis=0) + np.array(shift, float)
    faces = [(0, 1, 2)]
    cutter = _Cutter(moving(at, at, faces), np.array(faces))
    lean = np.array([0, -0.6, 0.8])
    assert cutter._height([0, 1, 2], lean) == pytest.approx(2.4)
    assert cutter._height([2, 1, 0], lean) == pytest.approx(-2.4)
    assert cutter._height([0, 1, 2], UP) == pytest.approx(0.8 * 2.4)
    assert cutter._height([0, 0, 1], lean) == 0
    first, second, third = cutter._longest_first([0, 1, 2])
    assert np.linalg.norm(at[first] - at[second]) == pytest.approx(5)
    assert (first, second, third) in ((0, 1, 2), (1, 2, 0), (2, 0, 1))


def square(corner, height=0.0):
    """A square of 10 mm in two triangles, whose corner at (10, 0) goes elsewhere."""
    at = [(0, 0, 0), (10, 0, 0), (10, 10, 0), (0, 10, 0)]
    to = [at[0], (*corner, height), *at[2:]]
    return at, to, [(0, 1, 2), (0, 2, 3)]


@pytest.mark.parametrize(("beyond_mm", "is_turned"), [(-0.002, False), (-0.0005, True), (1, True)])
def test_a_triangle_with_no_more_height_than_a_plane_is_thick_is_turned_over(beyond_mm, is_turned):
    # The diagonal from (0, 0) to (10, 10): a corner so far across it, square to it.
    at, to, faces = square((5 - beyond_mm / 2**0.5, 5 + beyond_mm / 2**0.5))
    found = moving(at, to, faces)
    assert found.turned(found.to_mm, found.triangles).tolist() == ([0] if is_turned else [])
    assert found.turned(found.from_mm, found.triangles).tolist() == []
    # One that had no height before needs none; one that may face anywhere is not looked at.
    thin = moving(at, to, faces, flat=[True, False])
    assert thin.turned(thin.to_mm, thin.triangles).tolist() == [0] * (beyond_mm > 0.001)
    loose = moving(at, to, faces, ways=[(0, 0, 0), UP])
    assert loose.turned(loose.to_mm, loose.triangles).tolist() == []
    other = moving(at, to, faces, some=[1], flat=[False])
    assert other.turned(other.to_mm, other.triangles).tolist() == []


@pytest.mark.parametrize(("along", "is_cut"), [(0.91, True), (0.89, False)])
def test_triangles_of_two_faces_are_not_cut_into_one_another(along, is_cut):
    """The neighbour across the diagonal looks another way: the corner is past its face's end."""
    at, to, faces = square((4, 6))
    ways = [UP, ((1 - along**2) ** 0.5, 0, along)]
    triangles, left = recut(moving(at, to, faces, ways=ways))
    assert (triangles != faces).any() == is_cut
    assert left.tolist() == ([] if is_cut else [0])


@pytest.mark.parametrize(("off_mm", "is_cut"), [(0.0035, True), (0.0045, False)])
def test_triangles_are_cut_anew_only_in_one_plane(off_mm, is_cut):
    # Four times as far off as corners of one plane may be.
    at, to, faces = square((4, 6))
    at[3], to[3] = (0, 10, off_mm), (0, 10, off_mm)
    triangles, left = recut(moving(at, to, faces))
    assert (len(left) == 0) is is_cut
    assert (triangles != faces).any() == is_cut


def test_a_cut_along_an_edge_that_is_there_already_is_left():
    """A third triangle has the other diagonal as its edge: four would meet there."""
    at, to, faces = square((4, 6))
    for third in ((1, 3, 4), (3, 1, 4)):
        found = moving([*at, (5, 5, 9)], [*to, (5, 5, 9)], [*faces, third])
        triangles, left = recut(found)
        assert triangles.tolist() == [list(one) for one in (*faces, third)]
        assert left.tolist()[:1] == [0]


@pytest.mark.parametrize("corner", [(-6, 16), (-4, 2), (4, 16)])
def test_what_goes_out_of_its_face_stays_turned_over_and_the_surface_closed(corner):
    at, to, faces = square(corner)
    below = [one[::-1] for one in faces]
    found = moving(at, to, [*faces, *below], ways=[UP, UP, -UP, -UP], some=[0, 1], flat=[False] * 2)
    triangles, left = recut(found)
    assert len(left) > 0
    assert triangles[2:].tolist() == [list(one) for one in below]

    def rim(some):
        runs = {(a, b) for t in some for a, b in zip(t, (*t[1:], t[0]), strict=True)}
        return {(a, b) for a, b in runs if (b, a) not in runs}

    assert rim(triangles[:2].tolist()) == {(0, 1), (1, 2), (2, 3), (3, 0)}


def fan(count):
    """A strip of narrow triangles along x over which the corners of one rim are pushed."""
    low = [(float(n), 0.0, 0.0) for n in range(count + 1)]
    high = [(n + 0.5, 1.0, 0.0) for n in range(count)]
    faces = [(n, n + 1, count + 1 + n) for n in range(count)]
    faces += [(count + 1 + n, n + 1, count + 2 + n) for n in range(count - 1)]
    return low, high, faces


@pytest.mark.parametrize("first", [0, 6, 11, 15])
@pytest.mark.parametrize("shift", [0.9, 2.3, -1.7])
def test_many_corners_that_slide_along_have_the_strip_between_cut_step_by_step(shift, first):
    """The upper rim slides by several triangles: none is left turned over, and the area stays."""
    low, high, faces = fan(12)
    faces = faces[first:] + faces[:first]
    # Its ends stay; between them it is spread on one side and squeezed on the other.
    xs = np.interp(np.arange(12), [0, 3, 8, 11], [0.5, 3.5 + shift, 8.5 + 0.9 * shift, 11.5])
    found = moving([*low, *high], [*low, *((float(x), 1.0, 0.0) for x in xs)], faces)
    triangles, left = recut(found)
    assert len(left) == 0
    a, b, c = np.moveaxis(found.to_mm[triangles], 1, 0)
    areas = np.cross(b - a, c - a)[:, 2] / 2
    assert (areas > 0).all()
    assert areas.sum() == pytest.approx((12 + 11) / 2)


def test_steps_are_tried_in_turn(monkeypatch):
    """What one step cannot cut is tried again in more."""
    low, high, faces = fan(12)
    to = [*low, *((x + 2.9 * np.sin(np.pi * n / 11), y, z) for n, (x, y, z) in enumerate(high))]
    found = moving([*low, *high], to, faces)
    assert len(recut(found)[1]) == 0
    monkeypatch.setattr(module, "_STEPS", ())
    triangles, left = recut(found)
    assert (triangles == faces).all()
    assert len(left) == len(found.turned(found.to_mm, found.triangles))
