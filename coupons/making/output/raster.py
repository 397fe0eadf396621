"""A z-buffer in numpy: the nearest triangle at each pixel, without a display or a loop.

Every triangle is cut into pixel rows, every row into pixels, all triangles at once; the nearest
of the pixels that fall together wins.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating]
Ints = NDArray[np.integer]


@dataclass(frozen=True)
class Raster:
    """What is seen: nearest triangle (−1 for none) and its depth, larger nearer, by row, column."""

    owner: NDArray[np.int32]
    depth: NDArray[np.float32]


def nearest_triangles(corners: Floats, width: int, height: int) -> Raster:
    """Return the nearest triangle at the middle of each pixel.

    Parameters
    ----------
    corners : array of shape (n, 3, 3)
        Corners of the triangles: column and row in pixels, then depth, larger nearer.
    width, height : int
        Size of the picture in pixels; what lies outside is left out.
    """
    triangle, row = _rows(corners, height)
    left, right = _span(corners, triangle, row)
    first = np.clip(np.ceil(left - 0.5), 0, width).astype(np.int64)
    last = np.clip(np.ceil(right - 0.5), 0, width).astype(np.int64)
    counts = np.maximum(last - first, 0)
    span = np.repeat(np.arange(len(counts)), counts)
    column = first[span] + _ramp(counts)
    owner = triangle[span]
    depth = _depth(corners, owner, column + 0.5, row[span] + 0.5)
    return _keep_nearest(row[span] * width + column, owner, depth, width, height)


def _ramp(counts: Ints) -> Ints:
    """Return 0, 1, … within each group of the given counts."""
    starts = np.cumsum(counts) - counts
    ramp: Ints = np.arange(int(counts.sum())) - np.repeat(starts, counts)
    return ramp


def _rows(corners: Floats, height: int) -> tuple[Ints, Ints]:
    """Return every pair of a triangle and a pixel row whose middle it crosses."""
    low, high = corners[:, :, 1].min(axis=1), corners[:, :, 1].max(axis=1)
    first = np.clip(np.ceil(low - 0.5), 0, height).astype(np.int64)
    last = np.clip(np.ceil(high - 0.5), 0, height).astype(np.int64)
    counts = np.maximum(last - first, 0)
    triangle = np.repeat(np.arange(len(counts)), counts)
    return triangle, first[triangle] + _ramp(counts)


def _span(corners: Floats, triangle: Ints, row: Ints) -> tuple[Floats, Floats]:
    """Return where each row enters and leaves its triangle."""
    y = row + 0.5
    left, right = np.full(len(row), np.inf), np.full(len(row), -np.inf)
    for a, b in ((0, 1), (1, 2), (2, 0)):
        x0, y0 = corners[:, a, 0], corners[:, a, 1]
        rise = corners[:, b, 1] - y0
        slope = (corners[:, b, 0] - x0) / np.where(rise == 0, np.inf, rise)
        low, high = np.minimum(y0, corners[:, b, 1]), np.maximum(y0, corners[:, b, 1])
        crosses = (low[triangle] <= y) & (y < high[triangle])
        x = (x0 - slope * y0)[triangle] + slope[triangle] * y
        np.minimum(left, x, out=left, where=crosses)
        np.maximum(right, x, out=right, where=crosses)
    empty = left > right
    return np.where(empty, 0, left), np.where(empty, 0, right)


def _depth(corners: Floats, owner: Ints, x: Floats, y: Floats) -> NDArray[np.float32]:
    """Return the depth of each pixel on the plane of its triangle."""
    a = corners[:, 0]
    u, v = corners[:, 1] - a, corners[:, 2] - a
    twice = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    safe = np.where(np.abs(twice) < 1e-9, np.inf, twice)
    slope_x = (u[:, 2] * v[:, 1] - v[:, 2] * u[:, 1]) / safe
    slope_y = (v[:, 2] * u[:, 0] - u[:, 2] * v[:, 0]) / safe
    start = a[:, 2] - slope_x * a[:, 0] - slope_y * a[:, 1]
    depth: NDArray[np.float32] = (start[owner] + slope_x[owner] * x + slope_y[owner] * y).astype(
        np.float32
    )
    return depth


def _keep_nearest(
    pixel: Ints, owner: Ints, depth: NDArray[np.float32], width: int, height: int
) -> Raster:
    nearest = np.full(width * height, -np.inf, dtype=np.float32)
    np.maximum.at(nearest, pixel, depth)
    owners = np.full(width * height, -1, dtype=np.int32)
    seen = depth == nearest[pixel]
    owners[pixel[seen]] = owner[seen]
    return Raster(owners.reshape(height, width), nearest.reshape(height, width))
