"""Thickness behind faces and air in front of them, against what was drawn."""

import numpy as np
import pytest
from scipy.optimize import linprog
from support.drawn_bodies import box, drawn
from support.moved_faces import prism

from coupons.answering.meshes import walls
from coupons.answering.meshes.body import Body
from coupons.answering.meshes.walls import walls_behind


def facing(body, normal, beyond=-np.inf):
    """Triangles that face this way, those with their middle beyond a height along it."""
    middle = body.corners_mm.mean(axis=1) @ normal
    return np.flatnonzero((body.normals @ normal > 1 - 1e-6) & (middle > beyond))


def depths(body, normal, within_mm, beyond=-np.inf):
    return np.sort(walls_behind(body, facing(body, normal, beyond), within_mm).depth_mm)


@pytest.mark.parametrize(("within_mm", "is_seen"), [(3.001, True), (2.999, False)])
def test_a_plate_is_as_thick_as_drawn_and_thicker_walls_are_left_out(within_mm, is_seen):
    body = drawn(box(20, 10, 3))
    found = walls_behind(body, facing(body, (0, 0, 1)), within_mm)
    assert bool(len(found.depth_mm)) is is_seen
    if is_seen:
        assert found.depth_mm == pytest.approx(3, abs=1e-5)
        assert (body.normals[found.front] @ (0, 0, 1) == 1).all()
        assert (body.normals[found.back] @ (0, 0, -1) == 1).all()


def test_triangles_over_one_another_only_at_a_corner_or_beside_are_no_wall():
    # Two steps of a stair: behind the upper tread lies the floor, 6 mm down, the lower one beside.
    stair = box(10, 10, 6) + box(10, 10, 2, (10, 0, 0))
    body = drawn(stair)
    assert depths(body, (0, 0, 1), 7, beyond=5) == pytest.approx(6, abs=1e-5)
    assert set(np.round(depths(body, (0, 0, 1), 7), 4)) == {2.0, 6.0}


def test_the_least_depth_of_a_wedge_is_at_its_thin_end():
    # From 2 mm at x = 0 to 4 mm at x = 20: the slanted top leans by 5.7°.
    wedge = drawn(prism([(0, 0), (20, 0), (20, 4), (0, 2)], 8))
    found = walls_behind(wedge, facing(wedge, (0, -1, 0)), 5)
    assert found.depth_mm.min() == pytest.approx(2, abs=1e-5)
    # Each triangle of the floor over each of the roof: none is deeper than where both end.
    assert found.depth_mm.max() <= 4 + 1e-5
    slanted = np.array([-2, 20, 0]) / np.hypot(2, 20)
    square = walls_behind(wedge, facing(wedge, slanted), 5).depth_mm
    # Square to the slanted face, from its corner at (0, 2), the floor is 2/cos away.
    assert square.min() == pytest.approx(2 / np.cos(np.arctan(0.1)), abs=1e-4)


@pytest.mark.parametrize(("lean_deg", "is_wall"), [(19.5, True), (20.5, False)])
def test_two_faces_that_lean_to_each_other_by_more_than_twenty_degrees_are_no_wall(
    lean_deg, is_wall
):
    rise = 10 * np.tan(np.radians(lean_deg))
    wedge = drawn(prism([(0, 0), (10, 0), (10, 2 + rise), (0, 2)], 8))
    assert bool(len(depths(wedge, (0, -1, 0), 3))) is is_wall


def test_bars_that_cross_are_a_wall_where_no_corner_is_over_the_other():
    cross = box(30, 4, 2, (-15, -2, 0)) + box(4, 30, 2, (-2, -15, 2))
    body = drawn(cross)
    # Over the middle 4 mm of the lower bar lies the upper one: 4 mm in all.
    top = walls_behind(body, facing(body, (0, 0, 1), 3.9), 4.5)
    assert set(np.round(top.depth_mm, 4)) == {2.0, 4.0}


def test_air_in_front_is_a_negative_depth():
    # A slit of 1.5 mm, open to one side, 6 mm deep.
    body = drawn(box(10, 8, 12) - box(6, 8, 1.5, (4, 0, 5)))
    low = facing(body, (0, 0, 1))
    low = low[body.corners_mm[low, :, 2].max(axis=1) < 6]  # the floor of the slit
    air = walls_behind(body, low, -2.0)
    assert air.depth_mm == pytest.approx(-1.5, abs=1e-5)
    assert (body.normals[air.back] @ (0, 0, -1) == 1).all()
    assert len(walls_behind(body, low, -1.4).depth_mm) == 0
    # Behind the same floor there are 5 mm of plastic, and no air.
    assert walls_behind(body, low, 6.0).depth_mm == pytest.approx(5, abs=1e-5)


def test_faces_that_touch_are_no_wall():
    body = drawn(box(10, 10, 1e-4 * 0.9))
    assert len(walls_behind(body, facing(body, (0, 0, 1)), 1.0).depth_mm) == 0
    film = drawn(box(10, 10, 1.2e-4))
    assert walls_behind(film, facing(film, (0, 0, 1)), 1.0).depth_mm == pytest.approx(
        1.2e-4, rel=1e-3
    )


def least_depth(front, back, sign):
    """The t least far from 0 for which a point of the front less t of its normal is of the back.

    A linear program in the weights of the corners of both; None if there is no such t.
    """
    normal = np.cross(front[1] - front[0], front[2] - front[0])
    normal /= np.linalg.norm(normal)
    equal = np.zeros((5, 7))
    equal[:3] = np.column_stack([front.T, -back.T, -normal])
    equal[3, :3] = equal[4, 3:6] = 1
    bounds = [(0, None)] * 6 + [(None, None)]
    found = linprog(sign * np.eye(7)[6], A_eq=equal, b_eq=(0, 0, 0, 1, 1), bounds=bounds)
    return sign * found.fun if found.success else None


@pytest.mark.parametrize("is_air", [False, True], ids=["plastic", "air"])
def test_depths_of_leaning_triangles_are_those_of_a_linear_program(monkeypatch, is_air):
    rng = np.random.default_rng(1)
    corners = rng.uniform(0, 6, (24, 3, 3))
    corners[..., 2] = rng.uniform(-0.3, 0.3, (24, 3))
    turned = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])[:, 2] < 0
    corners[turned] = corners[turned][:, ::-1]
    corners[12:] = corners[12:, ::-1]  # the backs look down
    sign = -1 if is_air else 1
    corners[:12, :, 2] += sign * 3
    body = Body("", "", corners.reshape(-1, 3), np.arange(72).reshape(-1, 3))
    found = walls_behind(body, np.arange(12), sign * 8.0)
    pairs = zip(found.front.tolist(), found.back.tolist(), strict=True)
    got = dict(zip(pairs, found.depth_mm.tolist(), strict=True))
    wanted = {}
    for i in range(12):
        for j in range(12, 24):
            depth = least_depth(corners[i], corners[j], sign)
            if depth is not None and body.normals[i] @ body.normals[j] < -0.94:
                wanted[i, j] = depth
    assert got.keys() == wanted.keys()
    assert len(wanted) > 20
    assert [got[pair] for pair in wanted] == pytest.approx(list(wanted.values()), abs=1e-6)
    monkeypatch.setattr(walls, "_PORTION", 5)
    in_portions = walls_behind(body, np.arange(12), sign * 8.0)
    assert sorted(in_portions.depth_mm) == sorted(found.depth_mm)
