"""Bodies that stand in each other deeper than any joint is drawn: misplaced, or drawn wrong."""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from coupons.answering.meet.opposite_faces import DEEPEST_MM
from coupons.answering.meshes.body import Body, Floats, Ints
from coupons.answering.meshes.chords import Chords, common_chords
from coupons.answering.meshes.clearance import is_clear

_PITCH_MM = 0.5
_MOST_LINES = 128  # in a row
_MOST_PLACES = 4000  # that are looked at
_MIDDLE = 0.85  # of the greatest room: so much has a place in the middle
_NOISE_MM = 0.01
_FACING = -0.94
"""Scalar product of the normals of two faces that look away from each other (20°)."""


@dataclass(frozen=True)
class Overlap:
    """Two bodies that stand in each other.

    Parameters
    ----------
    bodies : tuple of int
        By place in `Met.bodies`, the lower first.
    depth_mm : float
        How far, between a face of one and a face of the other that look away from each other: the
        median over the overlap. Where there are none, how wide the overlap is.
    point_mm : tuple of float
        A place in both of them, deep inside.
    """

    bodies: tuple[int, int]
    depth_mm: float
    point_mm: tuple[float, float, float]


def overlap(bodies: tuple[Body, Body], numbers: tuple[int, int]) -> Overlap | None:
    """Say how far two bodies stand in each other; None if no deeper than a joint may be drawn.

    Lines on a grid of 0.5 mm (or 128 in a row) along x, y and z are followed through both: what is
    narrower than the grid in all three directions may be missed. A tight joint overlaps in a thin
    layer, along which lines run far; so what counts is the room around the middle of such a piece.

    Parameters
    ----------
    bodies : tuple of Body
    numbers : tuple of int
        Their places in the list.
    """
    least_mm = DEEPEST_MM + _NOISE_MM
    box_mm = np.array(
        [
            np.maximum(bodies[0].box_mm[0], bodies[1].box_mm[0]),
            np.minimum(bodies[0].box_mm[1], bodies[1].box_mm[1]),
        ]
    )
    if float((box_mm[1] - box_mm[0]).min()) <= least_mm:
        return None
    every = common_chords(bodies, box_mm, _PITCH_MM, _MOST_LINES, _NOISE_MM)
    long = every.of(np.flatnonzero(every.lengths_mm > least_mm))
    if not len(long.lengths_mm):
        return None
    # The ends lie on a surface: they rule out most pieces, and tell the room of the others.
    rooms_mm = cKDTree(every.ends_mm).query(long.middles_mm)[0]
    roomy = np.flatnonzero(rooms_mm > least_mm / 2)
    roomy = roomy[_spread(len(roomy), _MOST_PLACES)]
    for body in bodies:
        roomy = roomy[is_clear(body, long.middles_mm[roomy], least_mm / 2)]
    if not len(roomy):
        return None
    found = long.of(roomy)
    depth_mm, place = _depth(bodies, found, rooms_mm[roomy])
    x, y, z = (float(value) for value in found.middles_mm[place])
    return Overlap(numbers, depth_mm, (x, y, z))


def _spread(count: int, most: int) -> Ints:
    """Return numbers below a count, all of them or so many at even distances."""
    return np.arange(count) if count <= most else np.linspace(0, count - 1, most).astype(np.int64)


def _depth(bodies: tuple[Body, Body], found: Chords, rooms_mm: Floats) -> tuple[float, int]:
    """Return the depth, and at which of the pieces it was measured."""
    first, last = (_normals(bodies, found, end) for end in (0, 1))
    facing = np.einsum("ij,ij->i", first, last) < _FACING
    depths_mm = found.lengths_mm * np.abs(first[np.arange(len(first)), found.axis])
    between = np.flatnonzero(facing & (found.bodies[:, 0] != found.bodies[:, 1]))
    if len(between):
        # The median: a few lines may run along a wall, from end to end.
        ordered = between[np.argsort(depths_mm[between], kind="stable")]
        place = int(ordered[len(ordered) // 2])
        return float(depths_mm[place]), place
    middle = np.flatnonzero(facing & (rooms_mm >= _MIDDLE * rooms_mm.max()))
    if len(middle):
        place = int(middle[np.argmin(depths_mm[middle])])
        return float(depths_mm[place]), place
    place = int(np.argmax(rooms_mm))
    return 2 * float(rooms_mm[place]), place


def _normals(bodies: tuple[Body, Body], found: Chords, end: int) -> Floats:
    """Return the normals of the faces at which pieces begin or end."""
    normals = np.empty((len(found.lengths_mm), 3))
    for side, body in enumerate(bodies):
        own = found.bodies[:, end] == side
        normals[own] = body.normals[found.triangles[own, end]]
    return normals
