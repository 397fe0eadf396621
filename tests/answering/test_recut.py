"""Two triangles of a square whose one corner goes across their common edge."""

import numpy as np
import pytest

from coupons.answering.relieve.recut import Moving, recut

SQUARE_MM = np.array([(0, 0, 0), (10, 0, 0), (10, 10, 0), (0, 10, 0)], float)
HALVES = np.array([(0, 1, 2), (0, 2, 3)])


def moving(corner_mm):
    """The square, of which the corner at (10, 0) goes to another place of its plane."""
    to_mm = SQUARE_MM.copy()
    to_mm[1] = (*corner_mm, 0)
    up = np.tile([0.0, 0.0, 1.0], (2, 1))
    return Moving(SQUARE_MM, to_mm, HALVES, np.arange(2), np.zeros(2, bool), up, 1e-3)


def edges_of(triangles):
    return {frozenset(pair) for a, b, c in triangles.tolist() for pair in ((a, b), (b, c), (c, a))}


@pytest.mark.parametrize("corner_mm", [(4, 6), (1, 8)])
def test_a_corner_that_goes_across_the_diagonal_has_the_square_cut_along_the_other(corner_mm):
    move = moving(corner_mm)
    triangles, left = recut(move)
    assert len(left) == 0
    assert edges_of(triangles) == edges_of(HALVES) - {frozenset((0, 2))} | {frozenset((1, 3))}
    a, b, c = np.moveaxis(move.to_mm[triangles], 1, 0)
    assert (np.cross(b - a, c - a)[:, 2] > 0).all(), "both face up as before"


def test_a_corner_that_stays_on_its_side_cuts_nothing():
    triangles, left = recut(moving((8, 3)))
    assert len(left) == 0
    assert (triangles == HALVES).all()


@pytest.mark.parametrize("seed", range(4))
def test_only_triangles_too_high_to_turn_over_are_left_unlooked_at(seed):
    """A net of a flat square whose corners are shaken, against the heights of all triangles."""
    shaken = np.random.default_rng(seed)
    across = np.stack(np.meshgrid(np.arange(9.0), np.arange(9.0)), axis=-1).reshape(-1, 2)
    from_mm = np.column_stack([across + shaken.uniform(-0.3, 0.3, across.shape), np.zeros(81)])
    to_mm = from_mm + shaken.uniform(-0.9, 0.9, (81, 3)) * shaken.choice([0.01, 0.3, 1], (81, 1))
    low = [9 * row + column for row in range(8) for column in range(8)]
    net = np.array([one for k in low for one in ((k, k + 1, k + 10), (k, k + 10, k + 9))])
    move = Moving(
        from_mm,
        to_mm,
        net,
        np.arange(128),
        np.zeros(128, bool),
        np.tile([0, 0, 1.0], (128, 1)),
        0.05,
    )
    turned_at_last = 0
    for share in (0.0, 0.5, 1.0):
        at_mm = (1 - share) * from_mm + share * to_mm
        a, b, c = np.moveaxis(at_mm[net], 1, 0)
        longest = np.max([np.linalg.norm(side, axis=1) for side in (b - a, c - b, a - c)], axis=0)
        expected = np.flatnonzero(np.cross(b - a, c - a)[:, 2] <= 0.05 * longest)
        assert move.turned(at_mm, net).tolist() == expected.tolist()
        turned_at_last = len(expected)
    assert 0 < turned_at_last < 128


def test_where_more_are_turned_over_than_is_worth_a_try_none_is_cut():
    triangles, left = recut(moving((4, 6)), most=0)
    assert (triangles == HALVES).all()
    assert left.tolist() == [0]
    assert len(recut(moving((4, 6)), most=1)[1]) == 0
