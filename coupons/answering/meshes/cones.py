"""Cones among the flat patches: strips whose seams run to one apex.

Around a cone each strip goes over into the next along a seam that points to the apex, and all of
these seams bend the same way. Strips are followed from seam to seam, and a cone is fitted to the
ends of the seams, which lie on the drawn surface. A ball or a rounding is made of such belts too,
one beside the other; three or more belts like each other are therefore no cones.
"""

from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from coupons.answering.meshes.body import Floats, Ints
from coupons.answering.meshes.patches import Patches, Seams, joined, patch_corners
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

LEAST_DEG, MOST_DEG = 0.25, 85.0  # half angles; what leans less is not told from a cylinder
_ALONG = 0.8  # cosine between two seams of one strip
_FEWEST_BELTS = 3  # like each other: a rounding
_SAME_AXIS = 1e-3
_TIP_SHARE = 1e-3  # of the radius
_STEPS = 12  # of the fit
_CLOSE_MM, _FAR_MM = 1e-9, 1e4
_ON_POINTS_MM = 5e-5
_NO_CONE = 0.2  # share of its radius that a first guess may be off
_OFF_LEAN_DEG = 1.0


@dataclass(frozen=True, eq=False)
class Cone:
    """A cone of flat strips. Diameters are those halfway along the axis.

    Parameters
    ----------
    axis : ndarray of float, shape (3,)
        Unit direction in which it gets wider.
    point_mm : ndarray of float, shape (3,)
        The point of the axis halfway along.
    half_angle_deg : float
        Between axis and the lines through the corners.
    corner_mm, flat_mm, area_mm : float
        Diameters as of a `Cylinder`: across corners, across flats, of the circle of the same area.
    sagitta_mm : float
        How far the strips' middles lie inside the circle through their corners.
    is_inner : bool
        The material is outside, as around a hole.
    arc_deg : float
        Angle around the axis that the strips cover, 360 for a whole cone.
    half_length_mm : float
        Along the axis, to each side of the point.
    strips : int
        How many there are around the axis.
    """

    axis: Floats
    point_mm: Floats
    half_angle_deg: float
    corner_mm: float
    flat_mm: float
    area_mm: float
    sagitta_mm: float
    is_inner: bool
    arc_deg: float
    half_length_mm: float
    strips: int

    def diameter_at(self, point_mm: Floats) -> float:
        """Return the diameter across corners at the height of a point."""
        height = float((point_mm - self.point_mm) @ self.axis)
        return self.corner_mm + 2 * height * float(np.tan(np.radians(self.half_angle_deg)))

    @property
    def normal_share(self) -> float:
        """How far its surface is apart from another, square to it, per difference of radius."""
        return float(np.cos(np.radians(self.half_angle_deg)))


@dataclass(frozen=True, eq=False)
class _Fit:
    """A cone: radius ``radius`` at the point ``point`` of its axis, growing by ``slope`` along."""

    axis: Floats
    point: Floats
    radius: float
    slope: float

    def off(self, points: Floats) -> tuple[Floats, Floats]:
        """Return how far points lie outside, square to the axis, and the radius at each."""
        away = points - self.point
        along = away @ self.axis
        out = np.linalg.norm(away - along[:, None] * self.axis, axis=1)
        here = self.radius + self.slope * along
        return out - here, here


def find_cones(
    patches: Patches, seams: Seams, taken: NDArray[np.bool_]
) -> tuple[tuple[Cone, Ints], ...]:
    """Find the cones among the patches that nothing else has taken, each with its patches."""
    taken = taken.copy()
    found: list[tuple[Cone, Ints]] = []
    for rows in _belts(patches, seams, taken):
        own = np.unique(seams.patches[rows])
        cone = None if taken[own].any() else _of_strips(patches, seams, rows, own)
        if cone is not None:
            taken[own] = True
            found.append((cone, own))
    kept = _without_roundings(seams, found, len(taken))
    for _, own in (one for one, is_kept in zip(found, kept, strict=True) if not is_kept):
        taken[own] = False
    found = [one for one, is_kept in zip(found, kept, strict=True) if is_kept]
    found = [
        (cone, with_pieces(seams, own, taken, partial(_lie_on, patches, _fit_of(cone), cone)))
        for cone, own in found
    ]
    for own in smooth_groups(seams, taken):
        cone = _of_facets(patches, own)
        if cone is not None:
            found.append((cone, own))
    return tuple(found)


def _belts(patches: Patches, seams: Seams, taken: NDArray[np.bool_]) -> list[Ints]:
    """Return groups of seams that go around something, strip by strip; the largest first."""
    chosen = np.flatnonzero((seams.angle <= SMOOTH) & ~taken[seams.patches].any(axis=1))
    counts = np.bincount(seams.patches[chosen].ravel(), minlength=len(taken))
    has_several = np.bincount(patches.label) > 1
    sides = seams.patches[chosen]
    chosen = chosen[(counts <= MOST_SEAMS)[sides].all(axis=1) & has_several[sides].any(axis=1)]
    if not len(chosen):
        return []
    is_hollow = _hollow(patches, seams, chosen)
    way = seams.way[chosen]

    def agree(pair: Ints) -> NDArray[np.bool_]:
        i, j = pair.T
        along = np.abs(np.einsum("kx,kx->k", way[i], way[j])) > _ALONG
        return np.asarray(along & (is_hollow[i] == is_hollow[j]))

    return [chosen[rows] for rows in around(seams.patches[chosen], agree)]


def _hollow(patches: Patches, seams: Seams, chosen: Ints) -> NDArray[np.bool_]:
    """Tell at which seams the surface bends towards its outside, as in a hole."""
    body = patches.body
    edge = seams.edges[chosen]
    one, other = body.edges.triangles[edge].T
    ends = body.edges.vertices[edge]
    far = body.triangles[other].sum(axis=1) - ends.sum(axis=1)
    above = body.vertices_mm[far] - body.vertices_mm[ends[:, 0]]
    return np.asarray(np.einsum("kx,kx->k", above, body.normals[one]) > 0)


def _of_strips(patches: Patches, seams: Seams, rows: Ints, own: Ints) -> Cone | None:
    """Fit a cone to the seams between strips, or return None if they are not on one."""
    if len(own) < FEWEST_STRIPS:
        return None
    ends = patches.body.vertices_mm[patches.body.edges.vertices[seams.edges[rows]]].reshape(-1, 3)
    fit = _fitted(ends, patches.normals[own], patches.areas_mm2[own])
    room = room_mm(patches)
    if fit is None or np.abs(fit.off(ends)[0]).max() > room:
        return None
    corners, _ = patch_corners(patches, own)
    off, here = fit.off(corners)
    half = _half_strips(patches, own, fit)
    sagitta = here * (1 - np.cos(half.max()))
    if off.max() > room or (off + sagitta).min() < -room:
        return None
    facing = _facing(patches.normals[own], fit.axis)
    _, first = np.unique(np.round(facing, 4), return_index=True)
    arc = float(2 * half[first].sum())
    return _told(patches, own, fit, half[first], min(arc, 2 * np.pi), len(first))


def _of_facets(patches: Patches, own: Ints) -> Cone | None:
    """Fit a cone to facets that are no strips: all of their corners must lie on it."""
    corners, _ = patch_corners(patches, own)
    few = corners[:: max(1, len(corners) // MOST_FITTED)]
    fit = _fitted(few, patches.normals[own], patches.areas_mm2[own])
    if fit is None or np.abs(fit.off(corners)[0]).max() > room_mm(patches):
        return None
    middles = (corners + np.roll(corners.reshape(-1, 3, 3), -1, axis=1).reshape(-1, 3)) / 2
    off, here = fit.off(middles)
    inside = np.clip(1 + off[here > 0] / here[here > 0], -1, 1)
    half = float(np.arccos(inside.min(initial=1.0)))
    if not 0 < half < SMOOTH:
        return None
    around = corners[fit.off(corners)[1] > _TIP_SHARE * fit.radius]
    arc = np.radians(covered_deg(np.degrees(_facing(around - fit.point, fit.axis))))
    return _told(patches, own, fit, np.array([half]), arc, round(arc / (2 * half)))


def _fitted(points: Floats, normals: Floats, areas: Floats) -> _Fit | None:
    """Fit a cone to points, from an axis to which all normals lean alike; None if it is none."""
    mean = areas @ normals / areas.sum()
    spread = (normals - mean) * np.sqrt(areas)[:, None]
    axis = np.linalg.eigh(spread.T @ spread)[1][:, 0]
    fit = _start(points, axis)
    if fit is None:
        return None
    # A start far off is none; one that lies on the points need not get nearer.
    off_mm = float(np.abs(fit.off(points)[0]).max())
    if off_mm > _NO_CONE * abs(fit.radius):
        return None
    for _ in range(_STEPS if off_mm > _ON_POINTS_MM else 0):
        fit, moved = _improved(points, fit)
        if not moved < _FAR_MM:
            return None
        if moved < _CLOSE_MM:
            break
    if fit.slope < 0:
        fit = _Fit(-fit.axis, fit.point, fit.radius, -fit.slope)
    is_cone = LEAST_DEG <= np.degrees(np.arctan(fit.slope)) <= MOST_DEG
    return fit if is_cone and fit.off(points)[1].min() > -OFF_ROUND_MM else None


def _start(points: Floats, axis: Floats) -> _Fit | None:
    """Return a cone about an axis, from circles at the lowest and the highest point."""
    middle = points.mean(axis=0)
    frame = np.column_stack([*crosswise(axis), axis])
    x, y, z = ((points - middle) @ frame).T
    if np.ptp(z) < OFF_ROUND_MM:
        return None
    # (x − a)² + (y − b)² is a square of the height.
    system = np.column_stack([2 * x, 2 * y, np.ones(len(x)), z, z**2])
    a, b, *square = np.linalg.lstsq(system, x**2 + y**2, rcond=None)[0]
    heights = np.array([z.min(), z.max()])
    radii = np.sqrt(np.maximum(np.polyval(square[::-1], heights) + a**2 + b**2, 0))
    slope = float(np.diff(radii)[0] / np.diff(heights)[0])
    point = middle + frame @ (a, b, 0.0)
    return _Fit(axis, point, float(radii[0] - slope * heights[0]), slope)


def _improved(points: Floats, fit: _Fit) -> tuple[_Fit, float]:
    """Return a cone nearer to points, and how far it moved: a step of Gauss and Newton."""
    u, v = crosswise(fit.axis)
    x, y, z = ((points - fit.point) @ np.column_stack([u, v, fit.axis])).T
    out = np.hypot(x, y)
    is_tip = out < _TIP_SHARE * out.max()  # it lies on the axis, in no direction from it
    none, one = np.zeros(len(x)), np.ones(len(x))
    x_way, y_way = (np.where(is_tip, 0.0, k / np.where(is_tip, 1.0, out)) for k in (x, y))
    k = fit.slope
    # The columns: axis tilted to u and to v, point moved to u and to v, radius, slope.
    by = np.column_stack([-z * x_way - k * x, -z * y_way - k * y, -x_way, -y_way, -one, -z])
    off = np.where(is_tip, 0.0, out) - fit.radius - k * z
    tips = [np.column_stack([-z, none, -one, none, none, none])[is_tip]]
    tips += [np.column_stack([none, -z, none, -one, none, none])[is_tip]]
    off = np.concatenate([off, x[is_tip], y[is_tip]])
    step = np.linalg.lstsq(np.concatenate([by, *tips]), -off, rcond=None)[0]
    axis = fit.axis + step[0] * u + step[1] * v
    point = fit.point + step[2] * u + step[3] * v
    radius, slope = fit.radius + float(step[4]), k + float(step[5])
    long = float(np.ptp(z))
    moved = float(np.abs(step * (long, long, 1.0, 1.0, 1.0, long)).max())
    return _Fit(axis / np.linalg.norm(axis), point, radius, slope), moved


def _half_strips(patches: Patches, own: Ints, fit: _Fit) -> Floats:
    """Return half the angle around the axis that each strip covers."""
    normals = patches.normals[own]
    leans = normals @ fit.axis
    away = np.abs(patches.heights_mm[own] - normals @ fit.point)
    flat = away / np.sqrt(np.maximum(1 - leans**2, 1e-12))
    return np.asarray(np.arccos(np.clip(flat / fit.radius, -1, 1)))


def _facing(ways: Floats, axis: Floats) -> Floats:
    """Return the angle around an axis of some directions, in radians."""
    u, v = crosswise(axis)
    return np.asarray(np.arctan2(ways @ v, ways @ u))


def _told(
    patches: Patches, own: Ints, fit: _Fit, half: Floats, arc: float, strips: int
) -> Cone | None:
    """Return what is told of a cone; None if too little of it is there."""
    if arc < LEAST_ARC:
        return None
    corners, _ = patch_corners(patches, own)
    along = (corners - fit.point) @ fit.axis
    low, high = float(along.min()), float(along.max())
    radius = fit.radius + fit.slope * (low + high) / 2
    first = patch_corners(patches, own[:1])[0].mean(axis=0) - fit.point
    outward = first - (first @ fit.axis) * fit.axis
    flat = float(np.cos(np.median(half)))
    round_share = float(np.sqrt(np.sin(2 * half).sum() / (2 * half).sum()))
    return Cone(
        axis=fit.axis,
        point_mm=fit.point + (low + high) / 2 * fit.axis,
        half_angle_deg=float(np.degrees(np.arctan(fit.slope))),
        corner_mm=2 * radius,
        flat_mm=2 * radius * flat,
        area_mm=2 * radius * round_share,
        sagitta_mm=radius * float(1 - np.cos(half.max())),
        is_inner=bool(patches.normals[own[0]] @ outward < 0),
        arc_deg=float(np.degrees(arc)),
        half_length_mm=(high - low) / 2,
        strips=strips,
    )


def _without_roundings(
    seams: Seams, found: list[tuple[Cone, Ints]], many: int
) -> NDArray[np.bool_]:
    """Tell which cones are not belts of a rounding or a ball."""
    group = np.full(many, -1)
    for number, (_, own) in enumerate(found):
        group[own] = number
    sides = group[seams.patches]
    rim = (sides >= 0).all(axis=1) & (sides[:, 0] != sides[:, 1]) & (seams.angle <= SMOOTH)
    pairs = np.unique(np.sort(sides[rim], axis=1), axis=0)
    alike = [_are_belts(found[i][0], found[j][0]) for i, j in pairs.tolist()]
    label = joined(len(found), pairs[np.array(alike, dtype=bool)])
    return np.asarray(np.bincount(label)[label] < _FEWEST_BELTS)


def _are_belts(one: Cone, other: Cone) -> bool:
    """Tell whether two cones that run into each other may be belts of one rounding."""
    off = np.linalg.norm(np.cross(one.axis, other.axis))
    lengths = [c.half_length_mm / np.cos(np.radians(c.half_angle_deg)) for c in (one, other)]
    return bool(off < _SAME_AXIS and min(lengths) >= (1 - LIKE_LENGTH) * max(lengths))


def _fit_of(cone: Cone) -> _Fit:
    slope = float(np.tan(np.radians(cone.half_angle_deg)))
    return _Fit(cone.axis, cone.point_mm, cone.corner_mm / 2, slope)


def _lie_on(patches: Patches, fit: _Fit, cone: Cone, some: Ints) -> NDArray[np.bool_]:
    corners, begins = patch_corners(patches, some)
    off, here = fit.off(corners)
    room = room_mm(patches)
    sagitta = 2 * cone.sagitta_mm / cone.corner_mm * here
    most = np.maximum.reduceat(off, begins[:-1])
    least = np.minimum.reduceat(off + sagitta, begins[:-1])
    lean = np.degrees(np.arcsin(np.clip(patches.normals[some] @ cone.axis, -1, 1)))
    wanted = cone.half_angle_deg if cone.is_inner else -cone.half_angle_deg
    leans_alike = np.abs(lean - wanted) <= _OFF_LEAN_DEG
    return np.asarray((most <= room) & (least >= -room) & leans_alike)
