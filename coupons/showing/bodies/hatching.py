"""Hatching: parallel lines across an area that outlines enclose."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

INTERNAL_DEG, EXTERNAL_DEG = 45.0, 135.0
"""The two bodies of a joint are hatched across each other, on every drawing."""


def hatch(outlines: Sequence[Floats], spacing: float, angle_deg: float) -> Floats:
    """Return the lines of a hatching, shape (n, 2, 2): from where each enters to where it leaves.

    Parameters
    ----------
    outlines : sequence of ndarray, shape (k, 2)
        Closed lines; one within another is a hole.
    spacing : float
        Between lines, in the unit of the outlines.
    angle_deg : float
        Of the lines, from the first axis.

    Examples
    --------
    >>> square = np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 4.0], [0.0, 4.0]])
    >>> hatch([square], 2.5, 0.0).tolist()
    [[[0.0, 0.0], [4.0, 0.0]], [[0.0, 2.5], [4.0, 2.5]]]
    """
    if not len(outlines):
        return np.empty((0, 2, 2))
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    turn = np.array([[c, -s], [s, c]])
    turned = [line @ turn for line in outlines]
    start = np.concatenate(turned)
    stop = np.concatenate([np.roll(line, -1, axis=0) for line in turned])
    low, high = np.minimum(start[:, 1], stop[:, 1]), np.maximum(start[:, 1], stop[:, 1])
    first, last = np.ceil(low / spacing).astype(int), np.ceil(high / spacing).astype(int)
    counts = last - first
    edge = np.repeat(np.arange(len(start)), counts)
    line = first[edge] + np.arange(len(edge)) - np.repeat(np.cumsum(counts) - counts, counts)
    rise = np.where(high > low, stop[:, 1] - start[:, 1], 1.0)
    share = (line * spacing - start[edge, 1]) / rise[edge]
    x = start[edge, 0] + share * (stop[edge, 0] - start[edge, 0])
    order = np.lexsort((x, line))
    flat = np.column_stack([x[order], line[order] * spacing]) @ turn.T
    even = len(flat) - len(flat) % 2
    return np.asarray(flat[:even].reshape(-1, 2, 2))
