import struct
import zlib
from dataclasses import replace

import numpy as np
import pytest

from coupons.making.output.png import png_bytes
from coupons.making.output.preview import preview_png
from coupons.making.output.raster import nearest_triangles
from coupons.making.output.solids import Solid, build_solids
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


LONG, DEEP, HIGH = 40.0, 30.0, 10.0


def block(body="A", plate=1, at=(0.0, 0.0, 0.0), made_by=-1) -> Solid:
    """A plain block of 40 × 30 × 10 mm, its triangles outward."""
    corners = np.array([(x, y, z) for x in (0, LONG) for y in (0, DEEP) for z in (0, HIGH)], "f4")
    faces = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    triangles = np.array([t for a, b, c, d in faces for t in ((a, b, c), (a, c, d))], np.uint32)
    made = np.full(len(triangles), made_by, np.int32)
    return Solid(body, plate, at, corners, triangles, made, ("A1",), LONG * DEEP * HIGH)


def seen_at(points):
    """Where points lie in the view: the plate turned by −14°, looked at from 58° above it."""
    t, e = np.radians(14), np.radians(58)
    x, y, z = np.array(points, float).T
    across = x * np.cos(t) - y * np.sin(t)
    away = x * np.sin(t) + y * np.cos(t)
    return np.stack([across, away * np.sin(e) + z * np.cos(e)], axis=1)


class Looked:
    """A preview of some blocks, in which places of the plate can be looked at."""

    def __init__(self, solids, loose=frozenset(), shift_mm=0.0):
        self.picture = read_png(preview_png(tuple(solids), loose)).astype(int)
        ends = [
            solid.vertices_mm + np.add(solid.origin_mm, ((solid.plate - 1) * shift_mm, 0, 0))
            for solid in solids
        ]
        found = seen_at(np.concatenate(ends))
        low, high = found.min(axis=0) - 7, found.max(axis=0) + 7
        self.left, self.top = low[0], high[1]
        wide, tall = high - low
        self.scale = min(1200 / wide, 720 / tall)
        assert self.picture.shape[1] == pytest.approx(self.scale * wide, abs=1.01)
        assert self.picture.shape[0] == pytest.approx(self.scale * tall, abs=1.01)

    def at(self, *point):
        across, up = seen_at([point])[0]
        row, column = (self.top - up) * self.scale, (across - self.left) * self.scale
        return self.picture[int(row), int(column)]


FIXED, LOOSE = np.array((188, 203, 212)), np.array((233, 185, 110))
PAPER = np.array((250, 247, 239))


def shade(normal):
    """What a face turned so has of its colour: a floor of light, the sky's, the sun's."""
    sun = np.array([-0.52, -0.38, 0.76]) / np.linalg.norm([-0.52, -0.38, 0.76])
    return 0.34 + 0.26 * (0.5 + 0.5 * normal[2]) + 0.5 * max(np.dot(normal, sun), 0)


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
