"""Pairs of boxes from a tree against every pair tried."""

import numpy as np
import pytest

from coupons.answering.meshes import box_tree as module
from coupons.answering.meshes.box_tree import (
    box_tree,
    overlapping,
    overlapping_and_facing,
    overlapping_within,
)


def boxes(seed, many, size=0.3):
    rng = np.random.default_rng(seed)
    low = rng.uniform(0, 4, (many, 3))
    return low, low + rng.uniform(0, size, (many, 3))


def normals(seed, many):
    found = np.random.default_rng(seed).normal(size=(many, 3))
    return found / np.linalg.norm(found, axis=1)[:, None]


def as_list(portions):
    return [pair for i, j in portions for pair in zip(i.tolist(), j.tolist(), strict=True)]


def naive(one, other, reach):
    (low, high), (below, above) = one, other
    return {
        (i, j)
        for i in range(len(low))
        for j in range(len(below))
        if (low[i] <= above[j] + reach).all() and (below[j] <= high[i] + reach).all()
    }


@pytest.mark.parametrize("reach", [0.0, 0.25, -0.05])
@pytest.mark.parametrize(("many", "others"), [(1, 1), (1, 9), (90, 1), (64, 64), (57, 130)])
def test_pairs_are_those_of_every_pair_tried(many, others, reach):
    one, other = boxes(1, many, 0.8), boxes(2, others, 0.8)
    found = as_list(overlapping(box_tree(*one), box_tree(*other), reach))
    assert len(found) == len(set(found))
    assert set(found) == naive(one, other, reach)


def test_boxes_that_touch_overlap_and_those_beyond_reach_do_not():
    low = np.array([(0.0, 0, 0), (1, 0, 0), (2.25, 0, 0)])
    tree = box_tree(low, low + 1)
    assert {pair for pair in as_list(overlapping(tree, tree)) if pair[0] < pair[1]} == {(0, 1)}
    within = as_list(overlapping(tree, tree, 0.25))
    assert {pair for pair in within if pair[0] < pair[1]} == {(0, 1), (1, 2)}


def test_pairs_are_found_in_small_portions_too(monkeypatch):
    one, other = boxes(3, 80, 0.8), boxes(4, 70, 0.8)
    monkeypatch.setattr(module, "_AT_ONCE", 7)
    portions = list(overlapping(box_tree(*one), box_tree(*other), 0.3))
    assert max(len(i) for i, _ in portions) <= 7
    assert set(as_list(portions)) == naive(one, other, 0.3)


@pytest.mark.parametrize("below", [-0.9, 0.0, 0.7])
def test_pairs_that_face_different_ways_are_those_of_every_pair_tried(below):
    one, other = boxes(5, 70, 1.2), boxes(6, 80, 1.2)
    a, b = normals(7, 70), normals(8, 80)
    trees = box_tree(*one, normals=a), box_tree(*other, normals=b)
    found = as_list(overlapping_and_facing(*trees, below))
    assert len(found) == len(set(found))
    assert set(found) == {(i, j) for i, j in naive(one, other, 0.0) if a[i] @ b[j] < below}


def test_each_pair_of_one_surface_comes_once_unless_both_lie_in_one_smooth_sheet():
    many = 120
    own = boxes(9, many, 1.5)
    sheet = np.random.default_rng(10).integers(0, 4, many)
    # Three sheets face up, down and aside; in the last one triangles face one way or its reverse.
    way = np.array([(0.0, 0, 1), (0, 0, -1), (1, 0, 0), (0.6, -0.8, 0)])[sheet]
    folded = np.random.default_rng(11).random(many) < 0.5
    way[(sheet == 3) & folded] *= -1
    found = as_list(overlapping_within(box_tree(*own, sheet, way), 0.1))
    assert len({frozenset(pair) for pair in found}) == len(found)
    near = {frozenset(pair) for pair in naive(own, own, -0.1) if pair[0] != pair[1]}
    got = {frozenset(pair) for pair in found}
    for pair in near:
        i, j = pair
        if sheet[i] != sheet[j]:
            assert pair in got
        else:  # like a cloth on a table it cannot cross itself, but where it is folded over
            assert (pair in got) is bool(way[i] @ way[j] < 0)
    assert got <= near


def test_a_sheet_that_bends_about_an_axis_by_less_than_a_right_angle_does_not_cross_itself():
    low = np.zeros((2, 3))
    sheet = np.zeros(2, dtype=int)
    for turn_deg, crosses in ((80, False), (89, False), (91, True), (100, True)):
        a = np.radians(turn_deg)
        way = np.array([(1.0, 0, 0), (np.cos(a), np.sin(a), 0)])
        found = as_list(overlapping_within(box_tree(low, low + 1, sheet, way), 0.1))
        assert bool(found) is crosses


def grid(side):
    at = np.arange(float(side))
    return np.stack(np.meshgrid(at, at, at, indexing="ij"), axis=-1).reshape(-1, 3)


def test_neighbours_in_the_list_are_neighbours_in_space():
    """Of 8 × 8 × 8 boxes each run of 8 fills a cube of 2 × 2 × 2, of 64 one of 4 × 4 × 4."""
    low = grid(8)[np.random.default_rng(12).permutation(512)]
    order = box_tree(low, low + 0.5).order
    assert sorted(order.tolist()) == list(range(512))
    for run in (8, 64):
        spans = np.ptp(low[order].reshape(-1, run, 3), axis=1)
        assert (spans == round(run ** (1 / 3)) - 1).all()


def test_sheets_stand_one_after_the_other_each_in_the_order_of_space():
    low = np.concatenate([grid(4), grid(4) + np.array([100, 0, 0])])
    sheet = np.repeat([1, 0], 64)
    mixed = np.random.default_rng(13).permutation(128)
    low, sheet = low[mixed], sheet[mixed]
    tree = box_tree(low, low + 0.5, sheet, np.zeros((128, 3)))
    assert len(set(sheet[tree.order[:64]].tolist())) == 1
    assert sheet[tree.order[0]] == 1, "the sheet that lies first in space"
    spans = np.ptp(low[tree.order].reshape(-1, 64, 3), axis=1)
    assert (spans == 3).all()
    assert tree.sheets[-1].label.tolist() == [-1]
    assert tree.sheets[-2].label.tolist() == [1, 0]


def test_a_tree_is_half_as_long_at_each_level():
    low, high = boxes(14, 11)
    tree = box_tree(low, high)
    assert [len(level) for level in tree.lows] == [11, 6, 3, 2, 1]
    assert tree.lows[-1][0] == pytest.approx(low.min(axis=0))
    assert tree.highs[-1][0] == pytest.approx(high.max(axis=0))
    assert tree.sheets == ()


def test_boxes_in_one_place_are_a_tree_too():
    low = np.ones((5, 3))
    tree = box_tree(low, low)
    assert len(as_list(overlapping(tree, tree))) == 25
