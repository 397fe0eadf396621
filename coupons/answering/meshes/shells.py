"""Which shells of a mesh are bodies, and which are cavities within one."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from coupons.answering.meshes.body import Floats, Ints, signed_volume


@dataclass(frozen=True, eq=False)
class Shell:
    """Triangles that hang together by their edges.

    ``corners_mm`` are those of the triangles; ``is_closed`` tells of the whole mesh that it is part
    of: an open one cannot be divided into bodies and cavities.
    """

    triangles: Ints
    corners_mm: Floats
    is_closed: bool

    @cached_property
    def volume_mm3(self) -> float:
        """Volume inside, negative if its triangles face inwards."""
        return signed_volume(self.corners_mm)

    @cached_property
    def box_mm(self) -> Floats:
        """Lowest and highest coordinates."""
        return np.array([self.corners_mm.min(axis=(0, 1)), self.corners_mm.max(axis=(0, 1))])


def grouped(shells: Sequence[Shell]) -> tuple[tuple[Shell, ...], ...] | int:
    """Give each body its cavities: a shell that faces inwards within one that faces outwards.

    Returns
    -------
    tuple of tuple of Shell, or int
        Each body's outer shell and then its cavities; or how many shells face inwards that are
        within no other. A mesh that is not closed is one body.
    """
    if not shells[0].is_closed:
        return (tuple(shells),)
    outer = [shell for shell in shells if shell.volume_mm3 >= 0]
    cavities: dict[int, list[Shell]] = {number: [] for number in range(len(outer))}
    lost = 0
    for inner in (shell for shell in shells if shell.volume_mm3 < 0):
        around = [number for number, shell in enumerate(outer) if _holds(shell, inner)]
        if around:
            cavities[min(around, key=lambda number: outer[number].volume_mm3)].append(inner)
        else:
            lost += 1
    if lost:
        return lost
    return tuple((shell, *cavities[number]) for number, shell in enumerate(outer))


def _holds(outer: Shell, inner: Shell) -> bool:
    """Tell whether a shell lies within another, from one of its points."""
    (low, high), (inner_low, inner_high) = outer.box_mm, inner.box_mm
    if (inner_low < low).any() or (inner_high > high).any():
        return False
    return winding(outer.corners_mm, inner.corners_mm[0, 0]) > 0.5


def winding(corners_mm: Floats, point: Floats) -> float:
    """Return how often triangles go around a point: the solid angle that they fill, over 4π.

    The formula is van Oosterom and Strackee's (IEEE Trans. Biomed. Eng. 30, 1983; from memory).
    """
    a, b, c = np.moveaxis(corners_mm - point, 1, 0)
    la, lb, lc = (np.linalg.norm(one, axis=1) for one in (a, b, c))
    above = np.einsum("ij,ij->i", a, np.cross(b, c))
    below = (
        la * lb * lc
        + np.einsum("ij,ij->i", a, b) * lc
        + np.einsum("ij,ij->i", b, c) * la
        + np.einsum("ij,ij->i", c, a) * lb
    )
    return float(np.arctan2(above, below).sum() / (2 * np.pi))
