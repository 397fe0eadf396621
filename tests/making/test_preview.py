import struct
import zlib

import numpy as np
import pytest

from coupons.making.output.png import png_bytes
from coupons.making.output.preview import preview_png
from coupons.making.output.raster import nearest_triangles
from coupons.making.output.solids import build_solids
from coupons.making.plan import plan_coupon
from coupons.making.spec.coupon_spec import load_spec


def read_png(data: bytes) -> np.ndarray:
    """A second reader, for this one kind of PNG: 8-bit colour, filter 1."""
    width, height = struct.unpack(">II", data[16:24])
    start = data.index(b"IDAT")
    length = struct.unpack(">I", data[start - 4 : start])[0]
    raw = zlib.decompress(data[start + 4 : start + 4 + length])
    lines = np.frombuffer(raw, np.uint8).reshape(height, 1 + 3 * width)
    assert (lines[:, 0] == 1).all()
    return np.cumsum(lines[:, 1:].reshape(height, width, 3), axis=1, dtype=np.uint8)


def test_a_picture_comes_back_as_it_was_written():
    pixels = np.random.default_rng(1).integers(0, 256, (7, 11, 3), dtype=np.uint8)
    assert (read_png(png_bytes(pixels)) == pixels).all()


def naive_owner(corners: np.ndarray, width: int, height: int) -> np.ndarray:
    """Pixel by pixel, triangle by triangle: the slow and plain way."""
    owner = np.full((height, width), -1)
    for row in range(height):
        for column in range(width):
            best = -np.inf
            for index, ((ax, ay, az), (bx, by, bz), (cx, cy, cz)) in enumerate(corners):
                matrix = np.array([[ax, bx, cx], [ay, by, cy], [1, 1, 1]])
                if abs(np.linalg.det(matrix)) < 1e-9:
                    continue
                shares = np.linalg.solve(matrix, [column + 0.5, row + 0.5, 1])
                depth = shares @ [az, bz, cz]
                if (shares > 0).all() and depth > best:
                    best, owner[row, column] = depth, index
    return owner


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
