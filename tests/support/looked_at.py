"""A preview of plain blocks, read back and looked at in places of the plate."""

import struct
import zlib

import numpy as np
import pytest

from coupons.making.output.preview import preview_png
from coupons.making.output.solids import Solid


def read_png(data: bytes) -> np.ndarray:
    """A second reader, for this one kind of PNG: 8-bit colour, filter 1."""
    width, height = struct.unpack(">II", data[16:24])
    start = data.index(b"IDAT")
    length = struct.unpack(">I", data[start - 4 : start])[0]
    raw = zlib.decompress(data[start + 4 : start + 4 + length])
    lines = np.frombuffer(raw, np.uint8).reshape(height, 1 + 3 * width)
    assert (lines[:, 0] == 1).all()
    return np.cumsum(lines[:, 1:].reshape(height, width, 3), axis=1, dtype=np.uint8)


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
