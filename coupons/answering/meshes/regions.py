"""The regions of a body: flat faces, cylinders, cones, and what is none of them.

triangles → flat patches (`patches`) → cylinders (`rounds`) and cones (`cones`) among them → regions
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from coupons.answering.meshes.body import Body, Floats, Ints, middles_of
from coupons.answering.meshes.cones import Cone, find_cones
from coupons.answering.meshes.ordering import stable_order
from coupons.answering.meshes.patches import Seams, flat_patches, joined, seams_of
from coupons.answering.meshes.rounds import Cylinder, find_rounds
from coupons.answering.meshes.strips import SMOOTH

_FEW = 3  # patches that turn smoothly into each other and are flat faces for all that


class SurfaceKind(StrEnum):
    """What the surface of a region is."""

    PLANE = "plane"
    CYLINDER = "cylinder"
    CONE = "cone"
    FREE = "free-form"


ROUND = (SurfaceKind.CYLINDER, SurfaceKind.CONE)
Round = Cylinder | Cone
"""What pins and holes are."""


@dataclass(frozen=True, eq=False)
class Region:
    """A part of a body's surface that is one face to a designer.

    Parameters
    ----------
    body : Body
    number : int
        Its place in ``regions_of(body)``.
    kind : SurfaceKind
    faces : ndarray of int
        The triangles, as rows of ``body.triangles``; cannot be written to.
    area_mm2 : float
    normal : ndarray of float, shape (3,)
        Outward unit normal of a plane; of other kinds the mean normal, zero for a whole cylinder.
    point_mm : ndarray of float, shape (3,)
        The middle of its area; of a cylinder or cone, the middle of its axis.
    cylinder : Cylinder or None
        Axis, diameters and length of a cylinder.
    cone : Cone or None
        The same of a cone, and its angle.
    """

    body: Body
    number: int
    kind: SurfaceKind
    faces: Ints
    area_mm2: float
    normal: Floats
    point_mm: Floats
    cylinder: Cylinder | None = None
    cone: Cone | None = None

    @property
    def corners_mm(self) -> Floats:
        """The corners of its triangles, shape (k, 3, 3)."""
        return self.body.corners_mm[self.faces]


def round_of(region: Region) -> Round:
    """Return the cylinder or cone that a region is.

    Raises
    ------
    ValueError
        If it is neither.
    """
    found = region.cylinder or region.cone
    if found is None:
        raise ValueError(f"a cylinder or a cone, not a {region.kind} region")
    return found


def regions_of(body: Body) -> tuple[Region, ...]:
    """Divide the surface of a body into regions; each triangle is in exactly one.

    Parameters
    ----------
    body : Body

    Returns
    -------
    tuple of Region
        In the order of their first triangle.
    """
    patches = flat_patches(body)
    seams = seams_of(patches)
    rounds = find_rounds(patches, seams)
    label = np.full(len(patches.normals), -1)
    is_taken = np.zeros(len(label), dtype=bool)
    for _, own in rounds.cylinders:
        is_taken[own] = True
    cones = find_cones(patches, seams, is_taken | rounds.is_wide)
    shapes: list[tuple[Round, Ints]] = [*rounds.cylinders, *cones]
    for number, (_, own) in enumerate(shapes):
        label[own] = number
    free, label = _rest(seams, rounds.is_wide, label)
    of_triangle = label[patches.label]
    first = np.empty(int(of_triangle.max()) + 1, dtype=np.int64)
    first[of_triangle[::-1]] = np.arange(len(of_triangle))[::-1]  # the last one that is set stays
    place = np.empty(len(first), dtype=np.int64)
    place[np.argsort(first, kind="stable")] = np.arange(len(first))
    order = stable_order(place[of_triangle])
    ends = np.searchsorted(place[of_triangle][order], np.arange(len(first) + 1))
    old = np.argsort(place)
    rounded = [shape for shape, _ in shapes]
    return tuple(
        _region(
            body, number, order[ends[number] : ends[number + 1]], free, int(old[number]), rounded
        )
        for number in range(len(first))
    )


def _rest(seams: Seams, is_wide: NDArray[np.bool_], label: Ints) -> tuple[NDArray[np.bool_], Ints]:
    """Give a label to each patch outside the rounds; tell which labels are free-form."""
    alone = (label < 0) & is_wide
    loose = (label < 0) & ~alone
    pairs = seams.patches[seams.angle <= SMOOTH]
    pairs = pairs[loose[pairs].all(axis=1)]
    group = joined(len(label), pairs)
    size = np.bincount(group, weights=loose)
    is_free = loose & (size[group] > _FEW)
    own = np.where(is_free, group, len(label) + np.arange(len(label)))
    rounds = int(label.max(initial=-1)) + 1
    rest = label < 0
    _, fresh = np.unique(own[rest], return_inverse=True)
    label = label.copy()
    label[rest] = rounds + fresh
    free = np.zeros(int(label.max()) + 1, dtype=bool)
    free[label[is_free]] = True
    return free, label


def _region(
    body: Body,
    number: int,
    faces: Ints,
    free: NDArray[np.bool_],
    label: int,
    rounded: list[Round],
) -> Region:
    faces.flags.writeable = False
    areas = body.areas_mm2[faces]
    area = float(areas.sum())
    total = body.doubled_mm2[faces].sum(axis=0) / 2
    length = float(np.linalg.norm(total))
    normal = total / length if length > 1e-6 * area else np.zeros(3)
    middle = (middles_of(body.corners_mm[faces]) * areas[:, None]).sum(axis=0) / (area or 1.0)
    if label < len(rounded):
        one = rounded[label]
        if isinstance(one, Cone):
            return Region(
                body, number, SurfaceKind.CONE, faces, area, normal, one.point_mm, cone=one
            )
        return Region(body, number, SurfaceKind.CYLINDER, faces, area, normal, one.point_mm, one)
    kind = SurfaceKind.FREE if free[label] else SurfaceKind.PLANE
    return Region(body, number, kind, faces, area, normal, middle)
