"""Move faces of a mesh along their normals, so that its edges stay sharp.

Every face keeps its plane, moved by its own offset; a face that is not asked to move, by none. A
corner therefore moves by the vector d with n · d = offset for each distinct plane with normal n
that meets there. With three such planes or more d is fixed; with two or one it is the shortest (a
point on an edge moves across the edge, a point in a face along its normal). More than three planes
agree only in special cases, such as the corners around a drilled hole; where they do not, the move
is refused. The facets of a cylinder move by their own normals, so that its axis stays and its size
across flats grows by twice the offset.

Corners that touch no moved face are returned bit for bit.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from coupons.answering.bodies.walls import Mesh, Walls, crossing_pairs, normals_of, walls_behind

_FLAT_MM = 2e-5
"""Triangles within this height of one plane are one plane, and flatter ones have no normal."""
_ROUNDING = 4e-7  # of a 32-bit place, relative
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
    """

    name: str
    triangles: NDArray[np.integer]
    offset_mm: float | NDArray[np.floating]


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
    """A mesh with its faces moved.

    Parameters
    ----------
    vertices_mm : array, shape (v, 3)
        Of no use if there are faults.
    faults : tuple of Fault
    """

    vertices_mm: NDArray[np.floating]
    faults: tuple[Fault, ...]


def offset_faces(
    vertices_mm: NDArray[np.floating],
    triangles: NDArray[np.integer],
    asked: Sequence[MovedFaces],
    *,
    least_wall_mm: float = 0.0,
) -> Offset:
    """Move faces of a closed mesh along their outward normals.

    Parameters
    ----------
    vertices_mm : array, shape (v, 3)
    triangles : array of int, shape (n, 3)
        Counter-clockwise as seen from outside.
    asked : sequence of MovedFaces
    least_wall_mm : float
        A wall that gets thinner, to less than this, is a fault.

    Examples
    --------
    >>> import trimesh
    >>> box = trimesh.creation.box((10, 20, 30))
    >>> top = np.flatnonzero(box.face_normals[:, 2] > 0.5)
    >>> moved = offset_faces(box.vertices, box.faces, [MovedFaces("top", top, -0.5)])
    >>> float(trimesh.Trimesh(moved.vertices_mm, box.faces).volume)
    5900.0
    """
    work = _Work(Mesh(np.asarray(vertices_mm, dtype=np.float64), np.asarray(triangles)), asked)
    faults = work.faults
    if not faults and work.touched.any():
        faults = _wall_faults(work, least_wall_mm)
    if faults or not work.touched.any():
        return Offset(work.mesh.vertices_mm, tuple(faults))
    moved, faults = _moved_corners(work)
    faults = faults or _turned_over(work, moved) or _crossing_faults(work, moved)
    return Offset(moved, tuple(faults))


class _Work:
    """What is asked of each triangle, and the triangles around the corners that move."""

    def __init__(self, mesh: Mesh, asked: Sequence[MovedFaces]) -> None:
        self.mesh = mesh
        self.names = tuple(one.name for one in asked)
        count = len(mesh.triangles)
        self.offset_mm = np.zeros(count)
        self.owner = np.full(count, -1)  # index of the moved faces; the last that asks
        self.faults: list[Fault] = []
        for index, one in enumerate(asked):
            self._ask(index, one)
        moving = self.offset_mm != 0
        self.touched = np.zeros(len(mesh.vertices_mm), dtype=bool)
        self.touched[mesh.triangles[moving]] = True
        self.moving = np.flatnonzero(moving)
        self.around = np.flatnonzero(self.touched[mesh.triangles].any(axis=1))
        corners = mesh.corners_mm[self.around]
        self.normals, self.double_area = normals_of(corners)
        self.flat_mm = max(_FLAT_MM, _ROUNDING * float(np.abs(mesh.vertices_mm).max()))
        self.solid = _heights(corners, self.double_area) > 2 * self.flat_mm

    def _ask(self, index: int, one: MovedFaces) -> None:
        offset_mm = np.broadcast_to(np.asarray(one.offset_mm, float), one.triangles.shape)
        before = self.owner[one.triangles]
        differs = (before >= 0) & (np.abs(self.offset_mm[one.triangles] - offset_mm) > 1e-9)
        for other in np.unique(before[differs]):
            names = (self.names[other], one.name)
            self.faults.append(Fault(names, "ask for two different offsets of the same face"))
        self.offset_mm[one.triangles] = offset_mm
        self.owner[one.triangles] = index

    def names_at(self, vertices: NDArray[np.integer]) -> tuple[str, ...]:
        """Return the moved faces that meet at some corners."""
        at = np.zeros(len(self.touched), dtype=bool)
        at[vertices] = True
        hit = self.moving[at[self.mesh.triangles[self.moving]].any(axis=1)]
        return self._told(self.owner[hit])

    def names_of(self, triangles: NDArray[np.integer]) -> tuple[str, ...]:
        """Return the moved faces whose corners some triangles have."""
        return self.names_at(self.mesh.triangles[triangles].ravel())

    def owners_of(self, triangles: NDArray[np.integer]) -> tuple[str, ...]:
        """Return the moved faces that some triangles belong to."""
        return self._told(self.owner[triangles])

    def _told(self, owners: NDArray[np.integer]) -> tuple[str, ...]:
        return tuple(self.names[owner] for owner in np.unique(owners) if owner >= 0)


def _heights(
    corners: NDArray[np.floating], double_area: NDArray[np.floating]
) -> NDArray[np.floating]:
    """Return the least height of each triangle."""
    edges = corners - np.roll(corners, 1, axis=1)
    longest = np.linalg.norm(edges, axis=2).max(axis=1)
    return np.asarray(double_area / np.where(longest > 0, longest, 1))


def _planes(work: _Work) -> tuple[NDArray[np.integer], NDArray[np.floating]]:
    """Return the plane of each triangle around the moved corners, and the normal of each plane.

    Neighbours in one plane are one plane; its normal is the mean over their areas.
    """
    triangles = work.mesh.triangles[work.around]
    one, two = _neighbours(triangles)
    apart = ~(work.solid[one] & work.solid[two])
    # The far corner of the smaller triangle over the plane of the larger, which is known best.
    swap = work.double_area[one] < work.double_area[two]
    large, small = np.where(swap, two, one), np.where(swap, one, two)
    corners = work.mesh.vertices_mm[triangles]
    off = np.einsum("ijk,ik->ij", corners[small] - corners[large][:, :1], work.normals[large])
    facing = np.einsum("ij,ij->i", work.normals[one], work.normals[two]) > 0
    same = ~apart & facing & (np.abs(off).max(axis=1) <= work.flat_mm)
    count = len(triangles)
    links = coo_matrix((np.ones(same.sum()), (one[same], two[same])), shape=(count, count))
    planes, plane = connected_components(links, directed=False)
    weighted = work.normals * work.double_area[:, None]
    total = np.column_stack(
        [np.bincount(plane, weights=weighted[:, axis], minlength=planes) for axis in range(3)]
    )
    length = np.linalg.norm(total, axis=1, keepdims=True)
    return plane, total / np.where(length > 0, length, 1)


def _neighbours(
    triangles: NDArray[np.integer],
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the pairs of triangles that share an edge."""
    edges = np.sort(triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1).astype(np.int64)
    key = edges[:, 0] * (int(triangles.max()) + 1) + edges[:, 1]
    order = np.argsort(key, kind="stable")
    owner = np.repeat(np.arange(len(triangles)), 3)[order]
    same = np.flatnonzero(key[order][1:] == key[order][:-1])
    return owner[same], owner[same + 1]


def _moved_corners(work: _Work) -> tuple[NDArray[np.floating], list[Fault]]:
    """Return all corners, the touched ones moved, and the faults that this meets."""
    plane, normals = _planes(work)
    offset_mm, faults = _plane_offsets(work, plane, len(normals))
    moved = work.mesh.vertices_mm.copy()
    if faults:
        return moved, faults
    vertex, of = _meeting(work, plane)
    for vertices, planes in _by_count(vertex, of):
        met, wanted = normals[planes], offset_mm[planes]
        step = np.einsum("ijk,ik->ij", np.linalg.pinv(met, rcond=_SAME_DIRECTION), wanted)
        missed = np.abs(np.einsum("ijk,ik->ij", met, step) - wanted).max(axis=1)
        if (missed > _INCONSISTENT_MM).any():
            names = work.names_at(vertices[missed > _INCONSISTENT_MM])
            faults.append(Fault(names, "meets more faces in one corner than can keep their planes"))
        far = np.linalg.norm(step, axis=1) > _LONGEST_STEP * np.abs(wanted).max(axis=1)
        if far.any():
            names = work.names_at(vertices[far])
            faults.append(Fault(names, "runs out into a face that is almost parallel to it"))
        moved[vertices] += step
    return moved, faults


def _plane_offsets(
    work: _Work, plane: NDArray[np.integer], count: int
) -> tuple[NDArray[np.floating], list[Fault]]:
    """Return the offset of each plane; parts of one plane cannot move differently."""
    wanted = work.offset_mm[work.around]
    least, most = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(least, plane, wanted)
    np.maximum.at(most, plane, wanted)
    torn = (most - least > _INCONSISTENT_MM)[plane]
    if not torn.any():
        return (least + most) / 2, []
    reason = "lies in one plane with a neighbouring face that moves differently"
    return least, [Fault(work.owners_of(work.around[torn]), reason)]


def _meeting(work: _Work, plane: NDArray[np.integer]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the distinct pairs of a touched corner and a plane that meets there."""
    solid = np.flatnonzero(work.solid)
    vertex = work.mesh.triangles[work.around[solid]].ravel().astype(np.int64)
    of = np.repeat(plane[solid], 3).astype(np.int64)
    kept = work.touched[vertex]
    planes = int(plane.max()) + 1
    key = np.unique(vertex[kept] * planes + of[kept])
    return key // planes, key % planes


def _by_count(
    vertex: NDArray[np.intp], of: NDArray[np.intp]
) -> Iterable[tuple[NDArray[np.intp], NDArray[np.intp]]]:
    """Yield the corners at which equally many planes meet, with these planes."""
    vertices, starts, counts = np.unique(vertex, return_index=True, return_counts=True)
    for count in np.unique(counts):
        some = counts == count
        yield vertices[some], of[starts[some][:, None] + np.arange(count)]


def _turned_over(work: _Work, moved: NDArray[np.floating]) -> list[Fault]:
    """Find triangles that a move turns over or leaves without area."""
    corners = moved[work.mesh.triangles[work.around]]
    normals, double_area = normals_of(corners)
    upright = np.einsum("ij,ij->i", normals, work.normals) > 0.5
    gone = work.solid & ~(upright & (_heights(corners, double_area) > work.flat_mm))
    if not gone.any():
        return []
    names = work.names_of(work.around[gone])
    return [Fault(names, "would go past the end of a neighbouring face")]


def _crossing_faults(work: _Work, moved: NDArray[np.floating]) -> list[Fault]:
    some = work.around[work.solid]
    ones, others = crossing_pairs(Mesh(moved, work.mesh.triangles), some)
    if not len(ones):
        return []
    names = work.names_of(np.concatenate([ones, others]))
    return [Fault(names, "would go through another face of the body")]


def _wall_faults(work: _Work, least_wall_mm: float) -> list[Fault]:
    """Find walls that the moves use up, or leave thinner than the least, and slits that close."""
    thins = work.moving[work.offset_mm[work.moving] < 0]
    closes = work.moving[work.offset_mm[work.moving] > 0]
    faults = []
    if len(thins):
        reach_mm = -2 * float(work.offset_mm.min()) + least_wall_mm
        walls = walls_behind(work.mesh, thins, reach_mm)
        left_mm = walls.depth_mm + work.offset_mm[walls.front] + work.offset_mm[walls.back]
        bad = (left_mm < walls.depth_mm - 1e-9) & (left_mm < max(least_wall_mm, 1e-9))
        faults += _worst(work, walls, left_mm, bad, _wall_words)
    if len(closes):
        air = walls_behind(work.mesh, closes, -2 * float(work.offset_mm.max()))
        left_mm = -air.depth_mm - work.offset_mm[air.front] - work.offset_mm[air.back]
        faults += _worst(work, air, left_mm, left_mm < 1e-9, _air_words)
    return faults


def _worst(
    work: _Work,
    walls: Walls,
    left_mm: NDArray[np.floating],
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
