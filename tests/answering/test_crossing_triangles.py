"""Triangles that pass through each other, against edges that are cut with triangles one by one."""

import numpy as np
import pytest
from manifold3d import Manifold
from support.drawn_bodies import box, drawn, round_bar

from coupons.answering.meshes.body import Body
from coupons.answering.meshes.soundness import (
    _smooth_sheets,
    _squared_up,
    crossings,
    crossings_between,
)

# Many small bodies: together they take longer than a quick test may.
pytestmark = pytest.mark.slow


def loose(seed, many, size=1.0):
    """Triangles anywhere in a cube of 6 mm, none of which has a corner of another."""
    rng = np.random.default_rng(seed)
    corners = rng.uniform(0, 6, (many, 1, 3)) + size * rng.uniform(-3, 3, (many, 3, 3))
    return Body("cloud", "cloud.stl", corners.reshape(-1, 3), np.arange(3 * many).reshape(-1, 3))


def is_cut(start, stop, triangle):
    """Solve for the place in the triangle and on the edge where the two meet."""
    a, b, c = triangle
    system = np.column_stack([b - a, c - a, start - stop])
    if abs(np.linalg.det(system)) < 1e-12:
        return False
    u, v, t = np.linalg.solve(system, start - a)
    return min(u, v, 1 - u - v) > 0 and 0 < t < 1


def pass_through(one, other):
    edges = [(0, 1), (1, 2), (2, 0)]
    return any(is_cut(one[i], one[j], other) or is_cut(other[i], other[j], one) for i, j in edges)


@pytest.mark.parametrize("seed", [1, 2])
def test_crossings_are_those_of_every_pair_of_triangles_cut_by_itself(seed):
    body = loose(seed, 30)
    at = body.corners_mm
    wanted = {frozenset((i, j)) for i in range(30) for j in range(i) if pass_through(at[i], at[j])}
    found = crossings(body)
    assert len(found) == len(wanted) > 20
    assert {frozenset(pair) for pair in found.tolist()} == wanted


def test_crossings_of_two_bodies_are_those_of_every_pair_cut_by_itself():
    one, other = loose(3, 24), loose(4, 26)
    some = np.array([1, 4, 5, 9, 10, 11, 17, 20, 22, 23])
    wanted = {
        (i, j)
        for i in some.tolist()
        for j in range(26)
        if pass_through(one.corners_mm[i], other.corners_mm[j])
    }
    found = crossings_between(one, some, other)
    assert len(found) == len(wanted) > 15
    assert {tuple(pair) for pair in found.tolist()} == wanted
    far = Body("far", "", other.vertices_mm + 100, other.triangles.copy())
    assert crossings_between(one, some, far).shape == (0, 2)


def test_triangles_that_pass_each_other_by_do_not_cross():
    # Each straddles the plane of the other, side by side.
    corners = np.array(
        [[(0, 0, -1), (4, 0, -1), (2, 0, 3)], [(5, -2, 0), (9, -2, 0), (7, 3, 0.5)]], float
    )
    body = Body("two", "", corners.reshape(-1, 3), np.arange(6).reshape(-1, 3))
    assert len(crossings(body)) == 0
    corners[1, :, 0] -= 4.5
    near = Body("two", "", corners.reshape(-1, 3), np.arange(6).reshape(-1, 3))
    assert crossings(near).tolist() in ([[0, 1]], [[1, 0]])


@pytest.mark.parametrize("turn", [(0, 0, 0), (31, 17, 60), (0, 0, 45)])
def test_a_body_is_laid_square_by_its_largest_faces(turn):
    body = drawn((box(30, 20, 4) - round_bar(5, 9, (9, 9, -2), 24)).rotate(turn))
    frame = _squared_up(body, _smooth_sheets(body))
    assert frame @ frame.T == pytest.approx(np.eye(3), abs=1e-9)
    assert np.linalg.det(frame) == pytest.approx(1)
    flat = np.abs(body.normals @ frame)
    # Its six faces lie square to the axes, and the largest to the first.
    large = body.areas_mm2 > 10
    assert flat[large].max(axis=1) == pytest.approx(np.ones(int(large.sum())), abs=1e-5)
    assert np.ptp(body.vertices_mm @ frame, axis=0)[0] == pytest.approx(4, abs=1e-4)


def test_a_ball_whose_sheet_looks_all_ways_stays_as_it_is():
    body = drawn(Manifold.sphere(5, 64))
    sheet = _smooth_sheets(body)
    assert len(set(sheet.tolist())) == 1
    assert _squared_up(body, sheet).tolist() == np.eye(3).tolist()


def test_sheets_end_at_edges():
    body = drawn(round_bar(10, 8, sides=24))
    sheet = _smooth_sheets(body)
    # Ends and wall; strips turn by 15 degrees.
    assert len(set(sheet.tolist())) == 3
    for n in set(sheet.tolist()):
        up = np.abs(body.normals[sheet == n, 2])
        assert (up > 0.9).all() or (up < 0.1).all()
    # A tube laid square: of its wall there is no one way, of its ends there is.
    frame = _squared_up(body, sheet)
    assert np.abs(frame[:, 0]) == pytest.approx([0, 0, 1], abs=1e-6)
