from dataclasses import replace

import numpy as np
import pytest
from support.looked_at import FIXED, LONG, LOOSE, PAPER, Looked, block, naive_owner, read_png, shade

from coupons.making.output.png import png_bytes
from coupons.making.output.preview import preview_png
from coupons.making.output.raster import nearest_triangles
from coupons.making.output.solids import build_solids
from coupons.making.plan import plan_coupon
from coupons.making.spec.coupon_spec import load_spec


def test_a_picture_comes_back_as_it_was_written():
    pixels = np.random.default_rng(1).integers(0, 256, (7, 11, 3), dtype=np.uint8)
    assert (read_png(png_bytes(pixels)) == pixels).all()


@pytest.mark.parametrize("seed", range(4))
def test_the_nearest_triangle_is_that_of_the_plain_way(seed):
    corners = np.random.default_rng(seed).uniform(-3, 19, (12, 3, 3))
    found = nearest_triangles(corners, 16, 14).owner
    assert (found == naive_owner(corners, 16, 14)).all()


def test_a_triangle_that_is_a_line_or_outside_is_not_drawn():
    line = [[2.0, 2.0, 0.0], [6.0, 6.0, 0.0], [4.0, 4.0, 0.0]]
    outside = [[-9.0, -9.0, 0.0], [-2.0, -9.0, 0.0], [-9.0, -2.0, 0.0]]
    found = nearest_triangles(np.array([line, outside]), 8, 8)
    assert (found.owner == -1).all()


@pytest.mark.slow
def test_the_preview_shows_pieces_letters_and_paper_and_repeats_to_the_byte():
    plan = plan_coupon(load_spec("recheck"))
    solids = build_solids(plan)
    data = preview_png(solids, frozenset({"AG", "BG"}))
    assert data == preview_png(solids, frozenset({"AG", "BG"}))
    picture = read_png(data).astype(int)
    paper = np.abs(picture - (250, 247, 239)).max(axis=2) < 3
    amber = (picture[..., 0] - picture[..., 2] > 70) & (picture[..., 1] > 120)
    teal = picture[..., 1] - picture[..., 0] > 40
    assert 0.3 < paper.mean() < 0.95
    assert amber.mean() > 0.01
    assert teal.mean() > 0.005


def test_each_face_of_a_block_has_the_light_that_falls_on_it():
    looked = Looked([block()])
    top, front, left = looked.at(20, 15, 10), looked.at(20, 0, 5), looked.at(0, 15, 5)
    assert top == pytest.approx(FIXED * shade((0, 0, 1)), abs=2)
    assert front == pytest.approx(FIXED * shade((0, -1, 0)), abs=2)
    assert left == pytest.approx(FIXED * shade((-1, 0, 0)), abs=2)
    assert front.sum() < left.sum() < top.sum()


def test_a_block_stands_in_the_picture_where_it_is_seen_from():
    looked = Looked([block()])
    blank = (abs(looked.picture - PAPER).max(axis=2) < 3).reshape(looked.picture.shape[:2])
    rows, columns = np.nonzero(~blank)
    margin = 7 * looked.scale
    assert columns.min() == pytest.approx(margin, abs=2)
    assert looked.picture.shape[0] - rows.max() == pytest.approx(margin, abs=3)
    # Ink at its foot, darker than any face, and none within a face.
    front = looked.at(20, 0, 5).sum()
    assert min(looked.at(x, 0, 0).sum() for x in np.linspace(2, 38, 50)) < 0.7 * front
    assert min(looked.at(x, 0, 5).sum() for x in np.linspace(2, 38, 50)) == front


def test_a_block_throws_its_shadow_away_from_the_light():
    looked = Looked([block()])
    # The light comes from the left and the front, 0.52 sideways for 0.76 down: 10 mm high
    # throw 6.8 mm of shadow to the right.
    assert looked.at(44, 20, 0) == pytest.approx(0.82 * PAPER, abs=2)
    for lit in ((46.5, 3, 0), (20, -3, 0), (-3, 15, 0)):
        assert looked.at(*lit) == pytest.approx(PAPER, abs=2)


def test_a_lower_block_beside_a_higher_one_lies_in_its_shadow_only_as_far_as_it_falls():
    low = replace(block("B", at=(42.0, 0.0, 0.0)))
    low = replace(low, vertices_mm=low.vertices_mm * np.array([1, 1, 0.2], "f4"))
    looked = Looked([block(), low])
    # The lower one is 2 mm high, so that the shadow of the other is 8 · 0.52/0.76 = 5.5 mm long.
    assert looked.at(44, 20, 2).sum() < looked.at(47, 20, 2).sum() - 60
    assert looked.at(47, 20, 2) == pytest.approx(FIXED * shade((0, 0, 1)), abs=2)


def test_further_plates_stand_to_the_right_of_the_first():
    looked = Looked([block(), block("AG", plate=2)], frozenset({"AG"}), shift_mm=LONG + 25)
    assert looked.at(20, 15, 10) == pytest.approx(FIXED * shade((0, 0, 1)), abs=2)
    assert looked.at(20 + 65, 15, 10) == pytest.approx(LOOSE * shade((0, 0, 1)), abs=2)
    assert looked.at(40 + 20, 0, 0) == pytest.approx(PAPER, abs=2)


@pytest.mark.parametrize(
    ("made_by", "loose", "colour"),
    [(0, False, (47, 128, 133)), (0, True, (181, 92, 46)), (-2, False, (36, 50, 62))],
)
def test_what_fits_and_what_is_written_have_colours_of_their_own(made_by, loose, colour):
    looked = Looked([block(made_by=made_by)], frozenset({"A"} if loose else ()))
    assert looked.at(20, 15, 10) == pytest.approx(np.array(colour) * shade((0, 0, 1)), abs=2)
    side = FIXED if made_by == -2 else np.array(colour)  # of a letter the top alone is dark
    assert looked.at(20, 0, 5) == pytest.approx(side * shade((0, -1, 0)), abs=2)
