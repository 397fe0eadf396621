"""Move faces of a mesh along their normals, so that its edges stay sharp.

Every face keeps its plane, moved by its own offset; a face that is not asked to move, by none. A
corner therefore moves by the vector d with n · d = offset for each distinct plane with normal n
that meets there. With three such planes or more d is fixed; with two or one it is the shortest (a
point on an edge moves across the edge, a point in a face along its normal). More than three planes
agree only in special cases, such as the corners around a drilled hole; where they do not, the move
is refused. The facets of a cylinder move by their own normals, so that its axis stays and its size
across flats grows by twice the offset.

Corners that touch no moved face are returned bit for bit. The one exception are corners in the
middle of a face or an edge that a moved edge would run over: they give way in their face.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from coupons.answering.meshes.body import Body, Floats, Ints, triangle_heights_mm
from coupons.answering.meshes.patches import FLAT_MM, Patches, flat_patches
from coupons.answering.meshes.soundness import crossings
from coupons.answering.meshes.walls import Walls, walls_behind
from coupons.answering.relieve.recut import FEW, Moving, recut
from coupons.answering.relieve.refilled import refilled

_INCONSISTENT_MM = 2e-4
"""Planes that disagree in a corner by more do not meet in one point after the move."""
_SAME_DIRECTION = 2e-4
"""Directions in which the planes of a corner differ by less (as a sine) count as one."""
_LONGEST_STEP = 20.0
"""A corner may go this many times further than its faces: where two faces meet at 3°."""


@dataclass(frozen=True)
class MovedFaces:
    """Faces of a mesh that move together.

    Parameters
    ----------
    name : str
        How a message calls them.
    triangles : array of int
    offset_mm : float or array
        Along the outward normal of each triangle: positive out of the material. An array gives
        each triangle its own.
    corner_steps_mm : ndarray of float, shape (k, 3, 3), optional
        Where each corner of each triangle goes. Given for a surface whose triangles are no flat
        faces of their own: it follows its corners, and not they the planes of its triangles.
    """

    name: str
    triangles: Ints
    offset_mm: float | Floats
    corner_steps_mm: Floats | None = None


@dataclass(frozen=True)
class Fault:
    """Why faces cannot be moved as asked.

    Parameters
    ----------
    names : tuple of str
        The moved faces concerned.
    reason : str
        A clause: ``would go through another face``.
    """

    names: tuple[str, ...]
    reason: str


@dataclass(frozen=True)
class Offset:
    """A body with its faces moved.

    Parameters
    ----------
    body : Body
        Of no use if there are faults. Each triangle belongs to the same face as before; flat faces
        may be cut into other triangles.
    faults : tuple of Fault
    """

    body: Body
    faults: tuple[Fault, ...]


def offset_faces(body: Body, asked: Sequence[MovedFaces], *, least_wall_mm: float = 0.0) -> Offset:
    """Move faces of a body along their outward normals.

    Parameters
    ----------
    body : Body
    asked : sequence of MovedFaces
    least_wall_mm : float
        A wall that gets thinner, to less than this, is a fault.

    Examples
    --------
    >>> import trimesh
    >>> box = trimesh.creation.box((10, 20, 30))
    >>> body = Body("box", "box.stl", np.array(box.vertices), np.array(box.faces))
    >>> top = np.flatnonzero(body.normals[:, 2] > 0.5)
    >>> moved = offset_faces(body, [MovedFaces("top", top, -0.5)])
    >>> round(moved.body.volume_mm3, 9)
    5900.0
    """
    work = _Work(body, asked)
    if work.faults or not len(work.moving):
        return Offset(body, tuple(work.faults))
    if faults := _wall_faults(work, least_wall_mm):
        return Offset(body, tuple(faults))
    moved, faults = _moved_corners(work)
    if faults:
        return Offset(body, tuple(faults))
    moving = work.moving_to(moved)
    triangles, turned = recut(moving, FEW)
    if len(turned):
        moved, triangles, turned = refilled(work.patches, moving)
    edges = body.edges if triangles is body.triangles else None
    changed = Body(body.name, body.file, moved, triangles, edges)
    if len(turned):
        reason = "would go past the end of a neighbouring face"
        faults.append(Fault(work.names_of(turned) or work.names, reason))
    return Offset(changed, tuple(faults or _crossing_faults(work, changed)))


class _Work:
    """What is asked of each triangle, and the triangles around the corners that move."""

    def __init__(self, body: Body, asked: Sequence[MovedFaces]) -> None:
        self.body = body
        self.names = tuple(one.name for one in asked)
        count = len(body.triangles)
        self.offset_mm = np.zeros(count)
        self.owner = np.full(count, -1)  # index of the moved faces; the last that asks
        self.follows = np.zeros(count, dtype=bool)  # their corners, which have steps of their own
        self.steps_mm = np.zeros_like(body.vertices_mm)
        self.faults: list[Fault] = []
        for index, one in enumerate(asked):
            self._ask(index, one)
        self.moving = np.flatnonzero(self.offset_mm)
        self.largest_mm = float(np.abs(self.offset_mm).max())
        self.touched = np.zeros(len(body.vertices_mm), dtype=bool)
        self.touched[body.triangles[self.moving]] = True
        self.around = np.flatnonzero(self.touched[body.triangles].any(axis=1))
        self.flat_mm = FLAT_MM + 4 * body.rounding_mm
        self.solid = self.around[self.has_normal(self.around) & ~self.follows[self.around]]

    def _ask(self, index: int, one: MovedFaces) -> None:
        offset_mm = np.broadcast_to(np.asarray(one.offset_mm, float), one.triangles.shape)
        before = self.owner[one.triangles]
        away = np.abs(self.offset_mm[one.triangles] - offset_mm)
        differs = (before >= 0) & (away > _INCONSISTENT_MM)
        for other in np.unique(before[differs]):
            names = (self.names[other], one.name)
            reason = "would need two different offsets of one face: move another body instead"
            self.faults.append(Fault(names, reason))
        self.offset_mm[one.triangles] = offset_mm
        self.owner[one.triangles] = index
        if one.corner_steps_mm is not None:
            self.follows[one.triangles] = True
            self.steps_mm[self.body.triangles[one.triangles]] = one.corner_steps_mm

    def has_normal(self, some: Ints) -> NDArray[np.bool_]:
        """Tell which triangles are high enough for a normal that can be trusted."""
        return np.asarray(triangle_heights_mm(self.body.corners_mm[some]) > 2 * self.flat_mm)

    def moving_to(self, moved_mm: Floats) -> Moving:
        """Return the triangles around the moved corners, for cutting them anew."""
        flat = ~self.has_normal(self.around)
        body = self.body
        return Moving(
            body.vertices_mm, moved_mm, body.triangles, self.around, flat, self.ways, self.flat_mm
        )

    @cached_property
    def patches(self) -> Patches:
        """The flat faces of the body as it is drawn."""
        return flat_patches(self.body)

    @cached_property
    def planes(self) -> tuple[Ints, Floats]:
        """The plane of each triangle around moved corners, and the normals of all planes."""
        plane = np.full(len(self.body.triangles), -1)
        plane[self.around] = self.patches.label[self.around]
        return plane, self.patches.normals

    @cached_property
    def ways(self) -> Floats:
        """The normal of each triangle: that of its plane, zero where none can be trusted."""
        plane, normals = self.planes
        known = np.zeros(len(normals), dtype=bool)
        known[plane[self.solid]] = True
        ways = self.body.normals.copy()
        fixed = self.around[~self.follows[self.around]]
        ways[fixed] = np.where(known[:, None], normals, 0.0)[plane[fixed]]
        return ways

    def names_at(self, vertices: Ints) -> tuple[str, ...]:
        """Return the moved faces that meet at some corners."""
        at = np.zeros(len(self.touched), dtype=bool)
        at[vertices] = True
        hit = self.moving[at[self.body.triangles[self.moving]].any(axis=1)]
        return self._told(self.owner[hit])

    def names_of(self, triangles: Ints) -> tuple[str, ...]:
        """Return the moved faces whose corners some triangles have."""
        return self.names_at(self.body.triangles[triangles].ravel())

    def owners_of(self, triangles: Ints) -> tuple[str, ...]:
        """Return the moved faces that some triangles belong to."""
        return self._told(self.owner[triangles])

    def _told(self, owners: Ints) -> tuple[str, ...]:
        return tuple(self.names[owner] for owner in np.unique(owners) if owner >= 0)


def _moved_corners(work: _Work) -> tuple[Floats, list[Fault]]:
    """Return all corners, the touched ones moved, and the faults that this meets."""
    plane, normals = work.planes
    offset_mm, faults = _plane_offsets(work, plane, len(normals))
    moved = work.body.vertices_mm.copy()
    if faults:
        return moved, faults
    moved[work.touched] += work.steps_mm[work.touched]
    vertex, of = _meeting(work, plane)
    for vertices, planes in _by_count(vertex, of):
        met, wanted = normals[planes], offset_mm[planes]
        wanted = wanted - np.einsum("ijk,ik->ij", met, work.steps_mm[vertices])
        step = np.einsum("ijk,ik->ij", np.linalg.pinv(met, rcond=_SAME_DIRECTION), wanted)
        missed = np.abs(np.einsum("ijk,ik->ij", met, step) - wanted).max(axis=1)
        if (missed > _INCONSISTENT_MM).any():
            names = work.names_at(vertices[missed > _INCONSISTENT_MM])
            faults.append(Fault(names, "meets more faces in one corner than can keep their planes"))
        far = np.linalg.norm(step, axis=1) > _LONGEST_STEP * work.largest_mm
        if far.any():
            names = work.names_at(vertices[far])
            faults.append(Fault(names, "runs out into a face that is almost parallel to it"))
        moved[vertices] += step
    return moved, faults


def _plane_offsets(work: _Work, plane: Ints, count: int) -> tuple[Floats, list[Fault]]:
    """Return the offset of each plane; parts of one plane cannot move differently."""
    wanted, of = work.offset_mm[work.solid], plane[work.solid]
    least, most = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(least, of, wanted)
    np.maximum.at(most, of, wanted)
    torn = (most - least > _INCONSISTENT_MM)[of]
    if not torn.any():
        return least, []
    reason = "lies in one plane with a neighbouring face that moves differently"
    return least, [Fault(work.owners_of(work.solid[torn]), reason)]


def _meeting(work: _Work, plane: Ints) -> tuple[Ints, Ints]:
    """Return the distinct pairs of a touched corner and a plane that meets there."""
    vertex = work.body.triangles[work.around].ravel()
    of = np.repeat(plane[work.around], 3)
    planes = int(plane.max()) + 1
    is_known = np.zeros(planes, dtype=bool)
    is_known[plane[work.solid]] = True
    kept = work.touched[vertex] & is_known[of]
    key = np.unique(vertex[kept] * planes + of[kept])
    return key // planes, key % planes


def _by_count(vertex: Ints, of: Ints) -> Iterable[tuple[Ints, Ints]]:
    """Yield the corners at which equally many planes meet, with these planes."""
    vertices, starts, counts = np.unique(vertex, return_index=True, return_counts=True)
    for count in np.unique(counts):
        some = counts == count
        yield vertices[some], of[starts[some][:, None] + np.arange(count)]


def _crossing_faults(work: _Work, changed: Body) -> list[Fault]:
    crossing = crossings(changed)
    names = work.names_of(crossing.ravel())
    return [Fault(names, "would go through another face of the body")] if names else []


def _wall_faults(work: _Work, least_wall_mm: float) -> list[Fault]:
    """Find walls that the moves use up, or leave thinner than the least, and slits that close."""
    is_solid = np.zeros(len(work.offset_mm), dtype=bool)
    is_solid[work.solid] = True
    moving = work.moving[is_solid[work.moving]]
    thins = moving[work.offset_mm[moving] < 0]
    closes = moving[work.offset_mm[moving] > 0]
    faults = []
    if len(thins):
        reach_mm = -2 * float(work.offset_mm.min()) + least_wall_mm
        walls = walls_behind(work.body, thins, reach_mm)
        left_mm = walls.depth_mm + work.offset_mm[walls.front] + work.offset_mm[walls.back]
        bad = (left_mm < walls.depth_mm - 1e-9) & (left_mm < max(least_wall_mm, 1e-9))
        bad &= work.has_normal(walls.back)
        faults += _worst(work, walls, left_mm, bad, _wall_words)
    if len(closes):
        air = walls_behind(work.body, closes, -2 * float(work.offset_mm.max()))
        left_mm = -air.depth_mm - work.offset_mm[air.front] - work.offset_mm[air.back]
        bad = (left_mm < 1e-9) & work.has_normal(air.back)
        faults += _worst(work, air, left_mm, bad, _air_words)
    return faults


def _worst(
    work: _Work,
    walls: Walls,
    left_mm: Floats,
    bad: NDArray[np.bool_],
    words: Callable[[float, float], str],
) -> list[Fault]:
    """Return one fault for each of the moved faces: where least is left."""
    faults = []
    for index, name in enumerate(work.names):
        mine = bad & (work.owner[walls.front] == index)
        if mine.any():
            worst = np.flatnonzero(mine)[np.argmin(left_mm[mine])]
            faults.append(Fault((name,), words(abs(walls.depth_mm[worst]), left_mm[worst])))
    return faults


def _wall_words(depth_mm: float, left_mm: float) -> str:
    if left_mm <= 0:
        return f"would go through its wall, which is {depth_mm:.2f} mm thick"
    return f"would leave a wall of {left_mm:.2f} mm, now {depth_mm:.2f} mm"


def _air_words(depth_mm: float, _: float) -> str:
    return f"would meet the face opposite, which is {depth_mm:.2f} mm away"
