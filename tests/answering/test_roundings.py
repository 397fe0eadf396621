"""Roundings that go with the faces beside them, compared with the body as it would be drawn."""

import numpy as np
import pytest
from manifold3d import CrossSection, Manifold
from support.drawn_bodies import drawn
from support.moved_faces import between

from coupons.answering.meshes.regions import SurfaceKind, regions_of
from coupons.answering.relieve.face_offset import MovedFaces, offset_faces
from coupons.answering.relieve.roundings import carried

SIDES = 48
FLAT = np.cos(np.pi / SIDES)
"""How far a strip is from the axis, per radius of the circle through its corners."""


def turned(points):
    return Manifold.revolve(CrossSection([np.array(points, float)]), SIDES)


def arc(middle, radius, start_deg, stop_deg, parts):
    angles = np.radians(np.linspace(start_deg, stop_deg, parts + 1))
    return [(middle[0] + radius * np.cos(a), middle[1] + radius * np.sin(a)) for a in angles]


def rounded_pin(radius, rounding, parts=8):
    end = arc((radius - rounding, 20 - rounding), rounding, 0, 90, parts)
    return turned([(0, 0), (radius, 0), *end, (0, 20)])


def rounded_hole(radius, rounding, parts=6):
    low = arc((radius + rounding, rounding), rounding, 270, 180, parts)
    high = arc((radius + rounding, 10 - rounding), rounding, 180, 90, parts)
    return turned([*low, *high, (15, 10), (15, 0)][::-1])


def ball_ended(radius, parts=12):
    """A pin with a half ball at its end, stretched as the pin gets thinner."""
    end = [(x * radius / 3, 20 + z) for x, z in arc((0, 0), 3, 0, 90, parts)]
    return turned([(0, 0), (radius, 0), *end[:-1], (0, 23)])


def moved(solid, offset_mm, is_moved):
    body = drawn(solid)
    regions = regions_of(body)
    offsets = {one.number: offset_mm for one in regions if is_moved(one)}
    assert offsets
    asked = [MovedFaces("face", regions[number].faces, mm) for number, mm in offsets.items()]
    asked += carried(regions, offsets, dict.fromkeys(offsets, "face"))
    found = offset_faces(body, asked)
    assert not found.faults
    return found.body


def is_wall(radius):
    return lambda one: one.cylinder is not None and abs(one.cylinder.corner_mm - 2 * radius) < 1e-3


@pytest.mark.parametrize("turn", [(0, 0, 0), (31, 17, 60)])
@pytest.mark.parametrize("by_mm", [-0.3, 0.2])
def test_the_rounded_end_of_a_pin_keeps_its_radius(by_mm, turn):
    found = moved(rounded_pin(3, 0.8).rotate(turn), by_mm * FLAT, is_wall(3))
    wanted = rounded_pin(3 + by_mm, 0.8)
    assert found.volume_mm3 == pytest.approx(wanted.volume(), rel=2e-6)


@pytest.mark.parametrize("by_mm", [0.3, -0.2])
def test_the_rounded_mouths_of_a_hole_keep_their_radius(by_mm):
    """The faces of a hole that gets wider move into their material."""
    found = moved(rounded_hole(4, 1.2), -by_mm * FLAT, is_wall(4))
    assert found.volume_mm3 == pytest.approx(rounded_hole(4 + by_mm, 1.2).volume(), rel=2e-6)


def test_a_pin_with_a_ball_for_its_end_keeps_its_length():
    """Every corner moves square to the axis by what the wall moves, the tip stays on it."""
    found = moved(ball_ended(3.0), -0.15 * FLAT, is_wall(3))
    assert np.ptp(found.vertices_mm[:, 2]) == pytest.approx(23, abs=0.05)
    wall = found.vertices_mm[found.vertices_mm[:, 2] < 1]
    assert np.hypot(*wall[:, :2].T).max() == pytest.approx(2.85, abs=1e-5)


def rounded_block(x, y, z, radius=2.0):
    ball = Manifold.sphere(radius, SIDES)
    corners = [
        ball.translate((i * (x / 2 - radius), j * (y / 2 - radius), k * (z / 2 - radius)))
        for i in (-1, 1)
        for j in (-1, 1)
        for k in (-1, 1)
    ]
    return Manifold.batch_hull(corners)


def looks_along(*axes):
    """Tell the flat faces that are square to one of some axes of the block."""
    return lambda one: (
        one.kind is SurfaceKind.PLANE and any(abs(one.normal[axis]) > 1 - 1e-6 for axis in axes)
    )


@pytest.mark.parametrize("by_mm", [-0.3, 0.2])
def test_a_block_with_all_edges_rounded_gets_narrower_as_it_is(by_mm):
    found = moved(rounded_block(30, 20, 14), by_mm, looks_along(0))
    wanted = rounded_block(30 + 2 * by_mm, 20, 14)
    assert found.volume_mm3 == pytest.approx(wanted.volume(), rel=2e-6)
    assert np.ptp(found.vertices_mm, axis=0) == pytest.approx((30 + 2 * by_mm, 20, 14), abs=1e-4)


def test_a_block_with_all_edges_rounded_gets_less_on_all_its_sides():
    """Around the upright edges the shape stays parallel; seen from above it is an offset."""
    found = moved(rounded_block(30, 20, 14), -0.2, looks_along(0, 1))
    middle = np.abs(found.vertices_mm[:, 2]) < 5.1
    assert np.ptp(found.vertices_mm, axis=0) == pytest.approx((29.6, 19.6, 14), abs=1e-4)
    away = np.abs(found.vertices_mm[middle][:, :2]) - (13, 8)
    at_edge = (away > 1e-6).all(axis=1)
    assert np.linalg.norm(away[at_edge], axis=1).max() == pytest.approx(1.8, abs=2e-3)


def test_a_sharp_chamfer_keeps_its_place():
    pin = turned([(0, 0), (3, 0), (3, 19), (2, 20), (0, 20)])
    found = moved(pin, -0.3 * FLAT, is_wall(3))
    assert found.volume_mm3 == pytest.approx(
        turned([(0, 0), (2.7, 0), (2.7, 19.3), (2, 20), (0, 20)]).volume(), rel=2e-6
    )


def test_a_slender_taper_beside_a_pin_is_a_face_of_its_own():
    """It leans by 5.7°, and keeps its place: the pin gets longer as it gets thinner."""
    pin = turned([(0, 0), (3, 0), (3, 15), (2.5, 20), (0, 20)])
    found = moved(pin, -0.2 * FLAT, is_wall(3))
    wanted = turned([(0, 0), (2.8, 0), (2.8, 17), (2.5, 20), (0, 20)])
    assert found.volume_mm3 == pytest.approx(wanted.volume(), rel=2e-6)


def test_what_does_not_turn_about_the_pin_stays():
    """A pin runs into the middle of a wide face: the face is no rounding of it."""
    body = drawn(between((-10, -10, -5), (10, 10, 0)) + rounded_pin(3, 0.8))
    regions = regions_of(body)
    offsets = {one.number: -0.1 for one in regions if is_wall(3)(one)}
    found = list(carried(regions, offsets, dict.fromkeys(offsets, "pin")))
    assert {one.name for one in found} == {"pin"}
    heights = np.concatenate([body.corners_mm[one.triangles][..., 2].ravel() for one in found])
    assert heights.min() == pytest.approx(19.2, abs=1e-5)
