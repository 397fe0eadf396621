"""A body as a line drawing, seen from one side; a picture of depths tells what is hidden."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import minimum_filter

from coupons.answering.meshes.body import Body, Floats
from coupons.making.output.raster import nearest_triangles

VIEW = 100.0
"""Width of every view, and the most that it is high."""
_MARGIN = 4.0
_PIXELS = 4  # of the picture of depths, per unit of the drawing
_SHARP = float(np.cos(np.radians(22.0)))
_MOST_EDGES = 12_000
_STEP = 1.0  # lines are tested for being hidden this often


@dataclass(frozen=True, eq=False)
class View:
    """A body seen from one side.

    Parameters
    ----------
    frame : ndarray of float, shape (3, 3)
        Rows right, up and towards the eye, in the directions of the body's file.
    scale : float
        Units of the drawing per mm.
    shift : ndarray of float, shape (2,)
    high : float
        Height of the drawing; its width is `VIEW`.
    depths : ndarray of float, shape (rows, columns)
        Of the nearest surface around each pixel, in units of the drawing.
    """

    frame: Floats
    scale: float
    shift: Floats
    high: float
    depths: NDArray[np.float32]

    def flat(self, points_mm: Floats) -> Floats:
        """Return where points lie on the drawing, and their depth; y runs down."""
        seen = points_mm @ self.frame.T * self.scale
        return np.concatenate(
            [seen[..., :1] + self.shift[0], self.shift[1] - seen[..., 1:2], seen[..., 2:]], axis=-1
        )

    def shows(self, points: Floats) -> NDArray[np.bool_]:
        """Tell which points, as `flat` returns them, nothing hides."""
        pixel = (points[..., :2] * _PIXELS).astype(int)
        rows, columns = self.depths.shape
        x, y = np.clip(pixel[..., 0], 0, columns - 1), np.clip(pixel[..., 1], 0, rows - 1)
        return np.asarray(points[..., 2] >= self.depths[y, x] - 0.4)

    def parted(self, segments_mm: Floats) -> tuple[Floats, Floats]:
        """Divide lines, shape (n, 2, 3), into what is seen and what is hidden, shape (k, 2, 2)."""
        ends = self.flat(segments_mm)
        if not len(ends):
            return np.empty((0, 2, 2)), np.empty((0, 2, 2))
        length = np.linalg.norm(ends[:, 1, :2] - ends[:, 0, :2], axis=1)
        counts = np.maximum(1, np.ceil(length / _STEP).astype(int))
        line = np.repeat(np.arange(len(ends)), counts)
        step = np.arange(len(line)) - np.repeat(np.cumsum(counts) - counts, counts)
        way = ends[line, 1] - ends[line, 0]
        middle = ends[line, 0] + ((step + 0.5) / counts[line])[:, None] * way
        seen = self.shows(middle)
        begins = np.flatnonzero((np.diff(line, prepend=-1) != 0) | (np.diff(seen, prepend=0) != 0))
        stops = np.append(begins[1:], len(line))
        from_share = step[begins] / counts[line[begins]]
        to_share = (step[stops - 1] + 1) / counts[line[begins]]
        first, whole = ends[line[begins], 0, :2], way[begins, :2]
        runs = np.stack(
            [first + from_share[:, None] * whole, first + to_share[:, None] * whole], axis=1
        )
        return runs[seen[begins]], runs[~seen[begins]]


def view_of(body: Body, axes: Floats, turn_deg: float, lift_deg: float) -> View:
    """Look at a body.

    Parameters
    ----------
    body : Body
    axes : ndarray of float, shape (3, 3)
        The printer's axes, one a row, in the directions of the file.
    turn_deg, lift_deg : float
        Where the eye is: around z from the front, and above the bed (negative: below it).
    """
    turn, lift = np.radians(turn_deg), np.radians(lift_deg)
    right = np.array([np.cos(turn), np.sin(turn), 0.0])
    eye = np.array([np.sin(turn) * np.cos(lift), -np.cos(turn) * np.cos(lift), np.sin(lift)])
    frame = np.stack([right, np.cross(eye, right), eye]) @ axes
    seen = body.vertices_mm @ frame.T
    low, high = seen.min(axis=0), seen.max(axis=0)
    scale = (VIEW - 2 * _MARGIN) / float((high - low)[:2].max())
    middle = (low + high)[:2] / 2 * scale
    tall = float(np.ceil((high - low)[1] * scale + 2 * _MARGIN))
    shift = np.array([VIEW / 2 - middle[0], tall / 2 + middle[1]])
    bare = View(frame, scale, shift, tall, np.empty((0, 0), dtype=np.float32))
    facing = body.normals @ frame[2] > 0
    corners = bare.flat(body.corners_mm[facing])
    corners[..., :2] *= _PIXELS
    depths = nearest_triangles(corners, int(VIEW * _PIXELS), int(tall * _PIXELS)).depth
    # The least depth around a pixel, so that a line on a slanted face is not hidden by its face.
    return View(frame, scale, shift, tall, minimum_filter(depths, size=3))


def edge_lines(body: Body, view: View) -> Floats:
    """Return the edges to draw, shape (n, 2, 3): sharp ones, and where the surface turns away."""
    edges = body.edges
    one, other = body.normals[edges.triangles[:, 0]], body.normals[edges.triangles[:, 1]]
    sharp = np.einsum("kx,kx->k", one, other) < _SHARP
    eye = view.frame[2]
    turns = (one @ eye > 1e-9) != (other @ eye > 1e-9)
    lines = body.vertices_mm[edges.vertices[sharp | turns]]
    if len(lines) > _MOST_EDGES:
        length = np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1)
        lines = lines[np.argsort(-length)[:_MOST_EDGES]]
    return np.asarray(lines)


def length_of(segments: Floats) -> float:
    """Return the length of lines, shape (n, 2, 2), together."""
    return float(np.linalg.norm(segments[:, 1] - segments[:, 0], axis=1).sum())


def path_of(segments: Floats) -> str:
    """Write lines, shape (n, 2, 2), as the path of a drawing; ends that touch are joined."""
    parts: list[str] = []
    at: tuple[float, float] | None = None
    for (x0, y0), (x1, y1) in np.round(segments, 2).tolist():
        if at != (x0, y0):
            parts.append(f"M{x0:g} {y0:g}")
        parts.append(f"L{x1:g} {y1:g}")
        at = (x1, y1)
    return "".join(parts)
