"""Cylinders among the flat patches: strips whose seams all tell of one axis and one radius.

Where two strips of a cylinder meet, the far rim of one, the seam and the far rim of the other lie
on one circle. So each smooth seam proposes an axis and a radius. Seams of one strip that propose
the same belong together; a flat face that runs into a rounding proposes another radius and stays
out. What is found so is fitted to the seams, whose ends lie on the drawn circle.
"""

from dataclasses import dataclass
from functools import partial
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from coupons.answering.meshes.body import Floats, Ints
from coupons.answering.meshes.patches import Patches, Seams, patch_corners
from coupons.answering.meshes.strips import (
    FEWEST_STRIPS,
    LEAST_ARC,
    LIKE_LENGTH,
    MOST_FITTED,
    MOST_SEAMS,
    OFF_ROUND_MM,
    SMOOTH,
    around,
    covered_deg,
    crosswise,
    room_mm,
    smooth_groups,
    with_pieces,
)

PARALLEL = 3e-3
LIKE_SHARE = 0.15  # of the radius by which two proposals of one cylinder may differ
_FEWEST_SIDES = 10  # of a polygon that is taken for a round, drawn coarsely
_COARSEST = np.radians(360 / _FEWEST_SIDES + 0.1)
_WHOLE_DEG = 359.0
_UNEVEN = 0.1  # share of its sagitta by which a strip may be off the others
_MOST_LEAN = 0.3  # of a facet's normal along the axis


@dataclass(frozen=True, eq=False)
class Cylinder:
    """A cylinder of flat strips.

    Parameters
    ----------
    axis : ndarray of float, shape (3,)
        Unit direction.
    point_mm : ndarray of float, shape (3,)
        A point of the axis, halfway along the strips.
    corner_mm, flat_mm, area_mm : float
        Diameters: across corners, which lie on the circle that was drawn if the strips are its
        chords; across flats; and of the circle of the same area.
    sagitta_mm : float
        How far the strips' middles lie inside the circle through their corners.
    is_inner : bool
        The material is outside, as around a hole.
    arc_deg : float
        Angle around the axis that the strips cover, 360 for a whole cylinder.
    half_length_mm : float
        Along the axis, to each side of the point.
    strips : int
        How many there are around the axis.
    """

    axis: Floats
    point_mm: Floats
    corner_mm: float
    flat_mm: float
    area_mm: float
    sagitta_mm: float
    is_inner: bool
    arc_deg: float
    half_length_mm: float
    strips: int
    half_angle_deg: ClassVar[float] = 0.0  # as of a `Cone`
    normal_share: ClassVar[float] = 1.0

    def diameter_at(self, _point_mm: Floats) -> float:
        """Return the diameter across corners, which is the same at the height of any point."""
        return self.corner_mm


@dataclass(frozen=True, eq=False)
class _Proposals:
    """What each of some seams proposes: a circle around a point of an axis along the seam."""

    seams: Ints
    centre_mm: Floats
    radius_mm: Floats
    is_inner: NDArray[np.bool_]
    widths_mm: Floats


@dataclass(frozen=True, eq=False)
class Rounds:
    """The cylinders of a body, each with its patches; and the wide patches beside smooth ones.

    ``is_wide`` tells for each patch that it is much wider than all that run smoothly into it.
    """

    cylinders: tuple[tuple[Cylinder, Ints], ...]
    is_wide: NDArray[np.bool_]


def find_rounds(patches: Patches, seams: Seams) -> Rounds:
    """Find the cylinders among the patches of a body."""
    smooth = np.flatnonzero(seams.angle <= SMOOTH)
    counts = np.bincount(seams.patches[smooth].ravel(), minlength=len(patches.normals))
    is_strip = counts <= MOST_SEAMS
    narrow = smooth[is_strip[seams.patches[smooth]].all(axis=1)]
    # Where two single triangles meet, neither is a strip, nor a wide face beside one.
    has_several = np.bincount(patches.label) > 1
    narrow = narrow[has_several[seams.patches[narrow]].any(axis=1)]
    proposals = _proposals(patches, seams, narrow)
    is_wide = _wide(seams, proposals, counts > 0) | ~is_strip
    found, slim = [], []
    taken = np.zeros(len(patches.normals), dtype=bool)
    alike = around(seams.patches[proposals.seams], lambda pair: _agree(seams, proposals, pair))
    gores = _gores(seams, proposals, alike, len(patches.normals))
    for rows in (one for one, is_gore in zip(alike, gores, strict=True) if not is_gore):
        own = np.unique(seams.patches[proposals.seams[rows]])
        own = own[~taken[own]]
        cylinder = _fitted(patches, seams, proposals, rows, own)
        if cylinder is None:
            continue
        if np.radians(cylinder.arc_deg) < LEAST_ARC:
            slim.append((cylinder, own))
            continue
        taken[own] = True
        found.append((cylinder, own))
    found += _coarse(patches, seams, is_strip)
    found += _in_pieces(found, [(one, own) for one, own in slim if not taken[own].any()])
    for _, own in found:
        taken[own] = True
    found = [
        (cylinder, with_pieces(seams, own, taken, partial(_lie_on, patches, cylinder)))
        for cylinder, own in found
    ]
    for own in smooth_groups(seams, taken | is_wide):
        cylinder = whole_cylinder(patches, own)
        if cylinder is not None:
            found.append((cylinder, own))
    return Rounds(tuple(found), is_wide)


def _in_pieces(
    found: list[tuple[Cylinder, Ints]], slim: list[tuple[Cylinder, Ints]]
) -> list[tuple[Cylinder, Ints]]:
    """Return the slim arcs that are pieces of one cylinder, as between the grooves of a hub.

    By itself an arc so slim may be anything; several on one axis and of one radius are not.
    """
    every = [one for one, _ in (*found, *slim)]
    if not slim:
        return []
    axes = np.array([one.axis for one in every])
    points = np.array([one.point_mm for one in every])
    corner_mm = np.array([one.corner_mm for one in every])
    is_inner = np.array([one.is_inner for one in every])
    arcs = np.radians([one.arc_deg for one in every])
    kept = []
    for one, own in slim:
        alike = (np.abs(corner_mm - one.corner_mm) <= 2 * OFF_ROUND_MM) & (is_inner == one.is_inner)
        near = np.flatnonzero(alike & (np.abs(axes @ one.axis) > 1 - PARALLEL**2 / 2))
        away = points[near] - one.point_mm
        off = np.linalg.norm(away - np.outer(away @ one.axis, one.axis), axis=1)
        if arcs[near[off <= OFF_ROUND_MM]].sum() >= LEAST_ARC:
            kept.append((one, own))
    return kept


def _coarse(
    patches: Patches, seams: Seams, is_strip: NDArray[np.bool_]
) -> list[tuple[Cylinder, Ints]]:
    """Find whole cylinders of so few strips that they turn no more smoothly into each other.

    Small holes come out so where a program exports with a wide tolerance. A polygon with fewer
    sides, or only a part of one, is what was drawn.
    """
    coarse = np.flatnonzero((seams.angle > SMOOTH) & (seams.angle <= _COARSEST))
    coarse = coarse[is_strip[seams.patches[coarse]].all(axis=1)]
    proposals = _proposals(patches, seams, coarse)
    found = []
    for rows in around(seams.patches[coarse], lambda pair: _agree(seams, proposals, pair)):
        own = np.unique(seams.patches[coarse[rows]])
        cylinder = _fitted(patches, seams, proposals, rows, own)
        if cylinder is not None and _is_regular(cylinder):
            found.append((cylinder, own))
    return found


def _is_regular(cylinder: Cylinder) -> bool:
    """Tell whether strips go all around and are equally wide, unlike those of a hexagon's edges."""
    middle_mm = cylinder.corner_mm / 2 - cylinder.flat_mm / 2
    is_even = abs(cylinder.sagitta_mm - middle_mm) <= _UNEVEN * cylinder.sagitta_mm
    is_whole = cylinder.arc_deg > _WHOLE_DEG and cylinder.strips >= _FEWEST_SIDES
    return bool(is_even and is_whole)


def _proposals(patches: Patches, seams: Seams, chosen: Ints) -> _Proposals:
    """Work out the circle of each of the chosen seams."""
    if not len(chosen):
        none = np.empty(0)
        return _Proposals(chosen, np.empty((0, 3)), none, none.astype(bool), np.empty((0, 2)))
    way, start = seams.way[chosen], seams.start_mm[chosen]
    inwards, widths = [], []
    for side in (0, 1):
        one = seams.patches[chosen, side]
        into = np.cross(way, patches.normals[one])
        corners, begins = patch_corners(patches, one)
        owner = np.repeat(np.arange(len(one)), np.diff(begins))
        reach = np.einsum("kx,kx->k", corners - start[owner], into[owner])
        most, least = (f.reduceat(reach, begins[:-1]) for f in (np.maximum, np.minimum))
        is_ahead = most >= -least
        inwards.append(np.where(is_ahead[:, None], into, -into))
        widths.append(np.where(is_ahead, most, -least))
    (ta, tb), (wa, wb) = inwards, widths
    turn = np.einsum("kx,kx->k", ta, tb)
    below = np.maximum(1 - turn**2, 1e-18)
    alpha, beta = (wa - turn * wb) / (2 * below), (wb - turn * wa) / (2 * below)
    towards = alpha[:, None] * ta + beta[:, None] * tb
    outward = patches.normals[seams.patches[chosen]].sum(axis=1)
    is_inner = np.einsum("kx,kx->k", towards, outward) > 0
    radius = np.linalg.norm(towards, axis=1)
    return _Proposals(chosen, start + towards, radius, is_inner, np.column_stack([wa, wb]))


def _wide(seams: Seams, proposals: _Proposals, has_smooth: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Tell which patches are four times as wide as each one that runs smoothly into them."""
    least = np.full(len(has_smooth), np.inf)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = proposals.widths_mm / proposals.widths_mm[:, ::-1]
    for side in (0, 1):
        np.minimum.at(least, seams.patches[proposals.seams, side], share[:, side])
    return np.asarray((least >= 4) & np.isfinite(least) & has_smooth)


def _agree(seams: Seams, proposals: _Proposals, pair: Ints) -> NDArray[np.bool_]:
    i, j = pair.T
    way_i, way_j = seams.way[proposals.seams[i]], seams.way[proposals.seams[j]]
    radius = np.minimum(proposals.radius_mm[i], proposals.radius_mm[j])
    away = proposals.centre_mm[i] - proposals.centre_mm[j]
    off_axis = np.linalg.norm(np.cross(away, way_i), axis=1)
    is_parallel = np.linalg.norm(np.cross(way_i, way_j), axis=1) <= PARALLEL
    is_inner = proposals.is_inner
    off_size = np.abs(proposals.radius_mm[i] - proposals.radius_mm[j])
    near = np.maximum(off_size, off_axis) <= LIKE_SHARE * radius
    return np.asarray(is_parallel & near & (is_inner[i] == is_inner[j]))


def _fitted(
    patches: Patches, seams: Seams, proposals: _Proposals, rows: Ints, own: Ints
) -> Cylinder | None:
    """Fit a cylinder to seams, or return None if their ends or patches lie off it."""
    if len(own) < FEWEST_STRIPS:
        return None
    axis = _axis(patches.normals[own], patches.areas_mm2[own])
    chosen = proposals.seams[rows]
    ends = patches.body.vertices_mm[patches.body.edges.vertices[seams.edges[chosen]]].reshape(-1, 3)
    u, v = crosswise(axis)
    centre, radius = circle_through(np.column_stack([ends @ u, ends @ v]))
    flats = np.abs(patches.heights_mm[own] - patches.normals[own] @ (centre[0] * u + centre[1] * v))
    corners, _ = patch_corners(patches, own)
    off = np.hypot(corners @ u - centre[0], corners @ v - centre[1])
    room = room_mm(patches)
    leans = np.abs(patches.normals[own] @ axis).max()
    if not (off.max() <= radius + room and flats.max() <= radius + room) or leans > PARALLEL:
        return None
    ends_off = np.hypot(ends @ u - centre[0], ends @ v - centre[1]) - radius
    if np.abs(ends_off).max() > room:
        return None
    along = corners @ axis
    half = float(along.max() - along.min()) / 2
    middle = centre[0] * u + centre[1] * v + (along.min() + half) * axis
    is_inner = bool(proposals.is_inner[rows[0]])
    # Strips of one facing, such as the two parts of one that is cut through, count once.
    facing = np.round(np.arctan2(patches.normals[own] @ v, patches.normals[own] @ u), 4)
    _, first = np.unique(facing, return_index=True)
    half_angles = np.arccos(np.clip(flats[first] / radius, -1, 1))
    return Cylinder(
        axis=axis,
        point_mm=middle,
        corner_mm=2 * float(radius),
        flat_mm=2 * float(np.median(flats)),
        area_mm=2
        * float(radius * np.sqrt(np.sin(2 * half_angles).sum() / (2 * half_angles.sum()))),
        sagitta_mm=float(radius - flats.min()),
        is_inner=is_inner,
        arc_deg=float(min(360.0, np.degrees(2 * half_angles.sum()))),
        half_length_mm=half,
        strips=len(first),
    )


def whole_cylinder(patches: Patches, own: Ints) -> Cylinder | None:
    """Fit a cylinder to patches that are no strips along it, or return None if they are none.

    All corners must lie on it: so it is where a program divides each rim by itself.
    """
    axis = _axis(patches.normals[own], patches.areas_mm2[own])
    if np.abs(patches.normals[own] @ axis).max() > _MOST_LEAN:
        return None
    corners, _ = patch_corners(patches, own)
    u, v = crosswise(axis)
    flat = np.column_stack([corners @ u, corners @ v])
    if np.ptp(flat, axis=0).min() < OFF_ROUND_MM:
        return None
    centre, radius = circle_through(flat[:: max(1, len(flat) // MOST_FITTED)])
    room = room_mm(patches)
    away = np.hypot(*(flat - centre).T)
    if np.abs(away - radius).max() > room:
        return None
    middles = (corners + np.roll(corners.reshape(-1, 3, 3), -1, axis=1).reshape(-1, 3)) / 2
    sagitta = float(radius - np.hypot(middles @ u - centre[0], middles @ v - centre[1]).min())
    half_angle = float(np.arccos(np.clip(1 - sagitta / radius, -1, 1)))
    directions = (flat - centre) / away[:, None]
    covered = covered_deg(np.degrees(np.arctan2(directions[:, 1], directions[:, 0])))
    if np.radians(covered) < LEAST_ARC or not 0 < half_angle < SMOOTH:
        return None
    along = corners @ axis
    half = float(np.ptp(along)) / 2
    outward = patches.normals[own[0]] @ np.column_stack([u, v])
    first = patch_corners(patches, own[:1])[0].mean(axis=0) @ np.column_stack([u, v]) - centre
    return Cylinder(
        axis=axis,
        point_mm=centre[0] * u + centre[1] * v + (along.min() + half) * axis,
        corner_mm=2 * radius,
        flat_mm=2 * (radius - sagitta),
        area_mm=2 * radius * float(np.sqrt(np.sin(2 * half_angle) / (2 * half_angle))),
        sagitta_mm=sagitta,
        is_inner=bool(outward @ first < 0),
        arc_deg=covered,
        half_length_mm=half,
        strips=round(np.radians(covered) / (2 * half_angle)),
    )


def _axis(normals: Floats, areas: Floats) -> Floats:
    """Return the direction to which all normals are most nearly square."""
    axis = np.linalg.eigh((normals * areas[:, None]).T @ normals)[1][:, 0]
    largest = int(np.abs(axis).argmax())
    return np.asarray(axis if axis[largest] > 0 else -axis)


def circle_through(points: Floats) -> tuple[Floats, float]:
    """Return centre and radius of the circle nearest to points of a plane, shape (k, 2)."""
    middle = points.mean(axis=0)
    near = points - middle
    system = np.column_stack([2 * near, np.ones(len(near))])
    solved = np.linalg.lstsq(system, (near**2).sum(axis=1), rcond=None)[0]
    centre = solved[:2]
    for _ in range(3):  # Gauss-Newton on the distances themselves
        away = near - centre
        distance = np.hypot(*away.T)
        slope = np.column_stack([-away / distance[:, None], -np.ones(len(near))])
        radius = float(distance.mean())
        step = np.linalg.lstsq(slope, -(distance - radius), rcond=None)[0]
        centre = centre + step[:2]
    return centre + middle, float(np.hypot(*(near - centre).T).mean())


def _gores(seams: Seams, proposals: _Proposals, alike: list[Ints], many: int) -> NDArray[np.bool_]:
    """Tell which groups are slices of a doubly curved surface, as of a ball from pole to pole.

    Such a slice goes on smoothly at both of its ends, into slices like itself in radius and width.
    """
    if not alike:
        return np.zeros(0, dtype=bool)
    rows = np.concatenate(alike)
    number = np.repeat(np.arange(len(alike)), [len(one) for one in alike])
    counts = np.bincount(number)
    chosen = proposals.seams[rows]
    group = np.full(many, -1)
    for side in (0, 1):
        group[seams.patches[chosen[::-1], side]] = number[::-1]  # the largest group decides
    radius = np.bincount(number, proposals.radius_mm[rows]) / counts
    length = np.bincount(number, seams.length_mm[chosen]) / counts
    axis = seams.way[proposals.seams[[one[0] for one in alike]]]
    whole, goes_on = np.zeros(len(alike)), np.zeros(len(alike))
    for side in (0, 1):
        own, other = group[seams.patches[:, side]], group[seams.patches[:, 1 - side]]
        rim = np.flatnonzero((own >= 0) & (own != other))
        rim = rim[np.abs(np.einsum("kx,kx->k", seams.way[rim], axis[own[rim]])) < 0.9]
        own, other = own[rim], other[rim]
        like = (other >= 0) & (np.abs(radius[other] - radius[own]) <= LIKE_SHARE * radius[own])
        like &= np.abs(length[other] - length[own]) <= LIKE_LENGTH * length[own]
        like &= seams.angle[rim] <= SMOOTH
        whole += np.bincount(own, seams.length_mm[rim], len(alike))
        goes_on += np.bincount(own[like], seams.length_mm[rim[like]], len(alike))
    return np.asarray(goes_on > 0.5 * whole)


def _lie_on(patches: Patches, cylinder: Cylinder, some: Ints) -> NDArray[np.bool_]:
    corners, begins = patch_corners(patches, some)
    away = corners - cylinder.point_mm
    off = np.linalg.norm(away - np.outer(away @ cylinder.axis, cylinder.axis), axis=1)
    room = room_mm(patches)
    radius = cylinder.corner_mm / 2
    most, least = (bound.reduceat(off, begins[:-1]) for bound in (np.maximum, np.minimum))
    is_between = (most <= radius + room) & (least >= radius - cylinder.sagitta_mm - room)
    return np.asarray(is_between & (np.abs(patches.normals[some] @ cylinder.axis) <= PARALLEL))
