import numpy as np
import pytest
from support.drawn_bodies import box, drawn, round_bar

from coupons.answering.meshes.section import cut

TILT = (31.0, 17.0, 60.0)


def area(loops, normal) -> float:
    """By the cross product of neighbours: outlines and holes run opposite ways."""
    total = np.zeros(3)
    for loop in loops:
        total += np.cross(loop, np.roll(loop, -1, axis=0)).sum(axis=0) / 2
    return abs(float(total @ normal))


@pytest.mark.parametrize("turn", [(0.0, 0.0, 0.0), TILT])
def test_a_section_has_the_area_that_was_drawn(turn):
    plate = (box(40, 30, 8) - round_bar(10, 20, (20, 15, -5), 64)).rotate(turn)
    body = drawn(plate)
    axes = np.asarray(box(1, 1, 1).rotate(turn).to_mesh64().vert_properties)[:, :3]
    corners = np.asarray(box(1, 1, 1).to_mesh64().vert_properties)[:, :3]
    up, middle = (
        axes[(corners == one).all(axis=1)][0] for one in ([0.0, 0.0, 1.0], [1.0, 1.0, 1.0])
    )
    loops = cut(body, middle, up)
    polygon = 64 / 2 * np.sin(2 * np.pi / 64) * 25
    assert len(loops) == 2
    assert area(loops, up) == pytest.approx(40 * 30 - polygon, abs=1e-2)


def test_a_plane_through_corners_and_one_beside_the_body():
    body = drawn(box(10, 10, 10))
    assert area(cut(body, np.zeros(3), np.array([0, 0, 1.0])), np.array([0, 0, 1.0])) in (
        pytest.approx(100, abs=0.1),
        0.0,
    )
    assert cut(body, np.array([0, 0, 11.0]), np.array([0, 0, 1.0])) == []
