"""What rounds of flat strips have in common, be they cylinders or cones."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from coupons.answering.meshes.body import Floats, Ints
from coupons.answering.meshes.patches import Patches, Seams, joined

SMOOTH = np.radians(22.0)
"""Patches that turn less are parts of one round surface: 17 strips around, or more."""
FEWEST_STRIPS = 3
LEAST_ARC = np.radians(30.0)
OFF_ROUND_MM = 2e-3
MOST_FITTED = 5000  # corners to which a round is fitted; all are held against it
LIKE_LENGTH = 0.6  # share by which the widths of two slices of one surface may differ
MOST_SEAMS = 12  # smooth ones of a strip; a face with more is no strip
_FEWEST_FACETS = 8  # of a round without strips


def room_mm(patches: Patches) -> float:
    """Return how far corners may lie off the round that they belong to."""
    return OFF_ROUND_MM + 4 * patches.body.rounding_mm


def around(sides: Ints, agree: Callable[[Ints], NDArray[np.bool_]]) -> list[Ints]:
    """Follow seams around something, from strip to strip.

    Parameters
    ----------
    sides : ndarray of int, shape (k, 2)
        The two patches of each seam.
    agree : callable
        Tells which pairs of seams of one patch, shape (p, 2), are of one round.

    Returns
    -------
    list of ndarray of int
        Seams that belong together, the largest group first.
    """
    patch, row = sides.T.ravel(), np.tile(np.arange(len(sides)), 2)
    order = np.argsort(patch, kind="stable")
    patch, row = patch[order], row[order]
    pairs = [np.empty((0, 2), dtype=np.int64)]
    for step in (1, 2, 3):
        same = patch[step:] == patch[:-step]
        pair = np.column_stack([row[:-step][same], row[step:][same]])
        pairs.append(pair[agree(pair)])
    found = _members(joined(len(sides), np.concatenate(pairs)), FEWEST_STRIPS - 1)
    return sorted(found, key=len, reverse=True)


def smooth_groups(seams: Seams, taken: NDArray[np.bool_]) -> list[Ints]:
    """Return the groups of at least a few patches that run smoothly into each other."""
    pairs = seams.patches[seams.angle <= SMOOTH]
    pairs = pairs[~taken[pairs].any(axis=1)]
    label = joined(len(taken), pairs)
    return _members(label, _FEWEST_FACETS)


def _members(label: Ints, fewest: int) -> list[Ints]:
    """Return the members of each group that has at least a few."""
    counts = np.bincount(label)
    order = np.argsort(label, kind="stable")
    ends = np.cumsum(counts)
    return [order[ends[n] - counts[n] : ends[n]] for n in np.flatnonzero(counts >= fewest)]


def with_pieces(
    seams: Seams,
    own: Ints,
    taken: NDArray[np.bool_],
    lie_on: Callable[[Ints], NDArray[np.bool_]],
) -> Ints:
    """Add to the strips of a round the pieces that something else cut off, and take them.

    Parameters
    ----------
    seams : Seams
    own : ndarray of int
        The patches of the round.
    taken : ndarray of bool, shape (k,)
        What belongs to a round already; changed in place.
    lie_on : callable
        Tells which of some patches lie on the same round.
    """
    whole, fresh = own, own
    while len(fresh):
        rows = seams.around(fresh)
        beside = np.unique(seams.patches[rows[seams.angle[rows] <= SMOOTH]])
        beside = beside[~taken[beside]]
        if not len(beside):
            break
        fresh = beside[lie_on(beside)]
        taken[fresh] = True
        whole = np.concatenate([whole, fresh])
    return whole


def covered_deg(angles: Floats) -> float:
    """Return the angle around that points at some angles cover, less the largest gap if wide."""
    sorted_deg = np.unique(np.round(angles, 3))
    gaps = np.diff(np.append(sorted_deg, sorted_deg[0] + 360))
    largest = float(gaps.max())
    return 360.0 if largest <= 2 * np.degrees(SMOOTH) else 360.0 - largest


def crosswise(axis: Floats) -> tuple[Floats, Floats]:
    """Return two unit directions square to an axis and to each other."""
    # Written out: for one vector, the general cross product costs twenty times as much.
    k = int(np.abs(axis).argmin())
    i, j = (k + 1) % 3, (k + 2) % 3
    u = np.zeros(3)
    u[i], u[j] = axis[j], -axis[i]
    u /= np.sqrt(axis[i] ** 2 + axis[j] ** 2)
    x, y, z = axis.tolist()
    ux, uy, uz = u.tolist()
    return u, np.array([y * uz - z * uy, z * ux - x * uz, x * uy - y * ux])
