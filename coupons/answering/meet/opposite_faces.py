"""Where the faces of two bodies meet: opposite, over one another, and within reach."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from coupons.answering.meshes.body import Floats, Ints
from coupons.answering.meshes.box_tree import box_tree, overlapping
from coupons.answering.meshes.cones import Cone
from coupons.answering.meshes.patches import joined
from coupons.answering.meshes.regions import Region, Round, SurfaceKind, round_of
from coupons.answering.meshes.strips import crosswise
from coupons.answering.meshes.surface import Surface
from coupons.making.output.solids import common_outline

REACH_MM = 0.6
"""How far apart two faces may stand and still meet."""
FARTHEST_MM = 5.0
"""The widest reach that may be asked for."""
DEEPEST_MM = 0.5
"""How far two faces may stand in each other's material."""
LEAST_MM2 = 1.0
LEAST_WIDTH_MM = 0.15  # of a contact: its doubled area over its outline
OPPOSITE = 0.005  # length of the sum of two opposite normals
_SAME_PLANE_MM = 2e-3
PARALLEL = 0.01  # sine of the angle between two axes
OFF_ONE_AXIS_MM = 5e-3
OFF_AXIS_MM = 0.1
_SAME_DEG = 0.02
_SECTORS = 72  # of the full angle, in which arcs are compared


@dataclass(frozen=True, eq=False)
class Contact:
    """Faces of two bodies that meet.

    Parameters
    ----------
    bodies : tuple of int
        The two bodies, by their place in the list, the lower first.
    regions : tuple of tuple of Region
        The faces of each of the two.
    kind : SurfaceKind
    gap_mm : float
        Between the faces; of cylinders, the difference of the diameters across corners; of cones
        that difference square to the surface. Negative where they stand in each other's material.
    area_mm2 : float
        Over which they meet.
    normal : ndarray of float, shape (3,)
        Outward from the first body; of cylinders and cones, the axis.
    point_mm : ndarray of float, shape (3,)
        The middle of the contact.
    outlines_mm : tuple of ndarray of float, shape (k, 3) each
        Around the area over which flat faces meet, in the plane of the first body's.
    depth_mm : float
        The lesser extent of the contact; of cylinders and cones, its length along the axis.
    arc_deg, open_deg : float
        Of cylinders and cones, the angle over which they meet, and the widest between two places
        where they do.
    """

    bodies: tuple[int, int]
    regions: tuple[tuple[Region, ...], tuple[Region, ...]]
    kind: SurfaceKind
    gap_mm: float
    area_mm2: float
    normal: Floats
    point_mm: Floats
    outlines_mm: tuple[Floats, ...] = ()
    depth_mm: float = 0.0
    arc_deg: float = 0.0
    open_deg: float = 0.0


def contacts(
    surfaces: tuple[Surface, Surface], bodies: tuple[int, int], reach_mm: float
) -> list[Contact]:
    """Find where two bodies meet."""
    pairs = near_pairs(surfaces, reach_mm)
    rounds = list(_round(surfaces, bodies, pairs, reach_mm))
    return [
        *_merged(list(_flat(surfaces, bodies, pairs, reach_mm))),
        *rounds,
        *_free(surfaces, bodies, pairs, reach_mm, rounds),
    ]


def near_pairs(surfaces: tuple[Surface, Surface], reach_mm: float) -> Ints:
    """Return pairs of regions whose boxes lie within reach, shape (k, 2)."""
    room = reach_mm + DEEPEST_MM
    trees = [box_tree(*surface.boxes_mm) for surface in surfaces]
    found = [np.column_stack(pair) for pair in overlapping(trees[0], trees[1], room)]
    return np.concatenate([np.empty((0, 2), dtype=np.int64), *found])


def of_kind(surface: Surface, *kinds: SurfaceKind) -> NDArray[np.bool_]:
    """Tell which regions are of some kinds, and large enough to meet another."""
    return np.array([r.kind in kinds and r.area_mm2 >= LEAST_MM2 for r in surface.regions])


def _flat(
    surfaces: tuple[Surface, Surface], bodies: tuple[int, int], pairs: Ints, reach_mm: float
) -> Iterator[Contact]:
    one, other = surfaces
    flat = (
        of_kind(one, SurfaceKind.PLANE)[pairs[:, 0]]
        & of_kind(other, SurfaceKind.PLANE)[pairs[:, 1]]
    )
    pairs = pairs[flat]
    if not len(pairs):
        return
    normals = [np.array([region.normal for region in surface.regions]) for surface in surfaces]
    points = [np.array([region.point_mm for region in surface.regions]) for surface in surfaces]
    a, b = pairs.T
    is_opposite = np.linalg.norm(normals[0][a] + normals[1][b], axis=1) <= OPPOSITE
    gap = np.einsum("kx,kx->k", points[1][b] - points[0][a], normals[0][a])
    # The planes may lean a little: what counts is the gap where they meet, taken below.
    near = (gap >= -2 * DEEPEST_MM) & (gap <= 2 * reach_mm)
    for i, j in pairs[is_opposite & near].tolist():
        found = _flat_contact(surfaces, bodies, one.regions[i], other.regions[j])
        if found is not None and -DEEPEST_MM - 1e-6 <= found.gap_mm <= reach_mm + 1e-6:
            yield found


def _flat_contact(
    surfaces: tuple[Surface, Surface], bodies: tuple[int, int], a: Region, b: Region
) -> Contact | None:
    u, v = crosswise(a.normal)
    frame = np.column_stack([u, v])
    lines = [
        [line @ frame for line in surface.outlines_mm(region)]
        for surface, region in zip(surfaces, (a, b), strict=True)
    ]
    outlines, area = common_outline(lines[0], lines[1])
    if area < LEAST_MM2 or 2 * area / sum(map(_length, outlines)) < LEAST_WIDTH_MM:
        return None
    height = float(a.point_mm @ a.normal)
    flat_middle = _middle(outlines)
    point = frame @ flat_middle + height * a.normal
    gap = float((b.point_mm - point) @ b.normal) / float(a.normal @ b.normal)
    in_space = tuple(line @ frame.T + height * a.normal for line in outlines)
    return Contact(
        bodies,
        ((a,), (b,)),
        SurfaceKind.PLANE,
        gap,
        area,
        a.normal,
        point,
        in_space,
        _lesser(outlines),
    )


def _length(line: Floats) -> float:
    return float(np.linalg.norm(np.roll(line, -1, axis=0) - line, axis=1).sum())


def _middle(outlines: list[Floats]) -> Floats:
    """Return the centre of area of outlines, holes counted off."""
    total, moment = 0.0, np.zeros(2)
    for line in outlines:
        after = np.roll(line, -1, axis=0)
        doubled = line[:, 0] * after[:, 1] - line[:, 1] * after[:, 0]
        total += float(doubled.sum())
        moment += ((line + after) * doubled[:, None]).sum(axis=0)
    return np.asarray(moment / (3 * total))


def _lesser(outlines: list[Floats]) -> float:
    """Return the width of the narrowest strip between parallels that holds all outlines."""
    from scipy.spatial import ConvexHull

    points = np.concatenate(outlines)
    hull = points[ConvexHull(points).vertices]
    along = np.roll(hull, -1, axis=0) - hull
    across = np.column_stack([-along[:, 1], along[:, 0]])
    across /= np.linalg.norm(across, axis=1)[:, None]
    return float(np.ptp(hull @ across.T, axis=0).min())


def _merged(found: list[Contact]) -> list[Contact]:
    """Join contacts in one plane that share a face: one broken by a groove is one to a designer."""
    by_face: dict[tuple[int, int], list[int]] = {}
    for n, one in enumerate(found):
        for side in (0, 1):
            by_face.setdefault((side, one.regions[side][0].number), []).append(n)
    pairs = [
        pair
        for members in by_face.values()
        for pair in combinations(members, 2)
        if abs(found[pair[0]].gap_mm - found[pair[1]].gap_mm) <= _SAME_PLANE_MM
    ]
    if not pairs:
        return found
    label = joined(len(found), np.array(pairs))
    groups = [[one for one, own in zip(found, label, strict=True) if own == n] for n in set(label)]
    return [_joined_contact(group) for group in groups]


def _joined_contact(group: list[Contact]) -> Contact:
    if len(group) == 1:
        return group[0]
    areas = np.array([one.area_mm2 for one in group])
    regions = tuple(
        tuple({r.number: r for one in group for r in one.regions[side]}.values()) for side in (0, 1)
    )
    return replace(
        group[0],
        regions=(regions[0], regions[1]),
        area_mm2=float(areas.sum()),
        gap_mm=float(areas @ [one.gap_mm for one in group] / areas.sum()),
        point_mm=areas @ np.array([one.point_mm for one in group]) / areas.sum(),
        outlines_mm=tuple(line for one in group for line in one.outlines_mm),
        depth_mm=min(one.depth_mm for one in group),
    )


def _round(
    surfaces: tuple[Surface, Surface], bodies: tuple[int, int], pairs: Ints, reach_mm: float
) -> Iterator[Contact]:
    """Find rounds in rounds; those of one body on one axis and of one diameter are one."""
    one, other = surfaces
    is_round = np.zeros(len(pairs), dtype=bool)
    for kind in (SurfaceKind.CYLINDER, SurfaceKind.CONE):
        is_round |= of_kind(one, kind)[pairs[:, 0]] & of_kind(other, kind)[pairs[:, 1]]
    pieces = [
        (one.regions[i], other.regions[j])
        for i, j in pairs[is_round].tolist()
        if _fit_together(round_of(one.regions[i]), round_of(other.regions[j]), reach_mm)
    ]
    if not pieces:
        return
    alike = [
        (i, j)
        for i, first in enumerate(pieces)
        for j, second in enumerate(pieces[: i + 1])
        if all(is_same_round(round_of(first[s]), round_of(second[s])) for s in (0, 1))
    ]
    label = joined(len(pieces), np.array(alike))
    for number in sorted(set(label.tolist())):
        group = [piece for piece, own in zip(pieces, label, strict=True) if own == number]
        found = _round_contact(bodies, group)
        if found.area_mm2 >= LEAST_MM2:
            yield found


def _fit_together(a: Round, b: Round, reach_mm: float) -> bool:
    inner, outer = sorted((a, b), key=lambda one: not one.is_inner)
    if not inner.is_inner or outer.is_inner:
        return False
    if np.linalg.norm(np.cross(inner.axis, outer.axis)) > PARALLEL:
        return False
    low, high = _shared_span(inner, outer, inner)
    if isinstance(inner, Cone):
        unlike = np.radians(abs(inner.half_angle_deg - outer.half_angle_deg))
        if inner.axis @ outer.axis < 0 or unlike > OPPOSITE or high <= low:
            return False
    gap = _round_gap_mm(inner, outer, inner.point_mm + (low + high) / 2 * inner.axis)
    if not -2 * DEEPEST_MM <= gap <= 2 * reach_mm:
        return False
    return _off_axis_mm(inner, outer) <= max(gap, 0) / 2 + OFF_AXIS_MM


def _off_axis_mm(one: Round, other: Round) -> float:
    """Return how far the middle of a round lies off the axis of another."""
    return float(np.linalg.norm(np.cross(other.point_mm - one.point_mm, one.axis)))


def is_same_round(one: Round, other: Round) -> bool:
    """Tell whether two rounds of one body are pieces of one: on one axis, and alike in size."""
    is_parallel = float(np.linalg.norm(np.cross(one.axis, other.axis))) <= PARALLEL
    is_alike = abs(one.corner_mm - other.diameter_at(one.point_mm)) <= 2e-3
    is_alike &= abs(one.half_angle_deg - other.half_angle_deg) <= _SAME_DEG
    return is_parallel and is_alike and _off_axis_mm(one, other) <= OFF_ONE_AXIS_MM


def _round_gap_mm(inner: Round, outer: Round, at_mm: Floats) -> float:
    """Return the gap of a round in a round at the height of a point, square to their surfaces."""
    return (inner.diameter_at(at_mm) - outer.diameter_at(at_mm)) * inner.normal_share


def _round_contact(bodies: tuple[int, int], group: list[tuple[Region, Region]]) -> Contact:
    a, b = round_of(group[0][0]), round_of(group[0][1])
    inner, outer = (a, b) if a.is_inner else (b, a)
    spans, arcs = [], []
    for first, second in group:
        spans.append(_shared_span(round_of(first), round_of(second), a))
        arcs.append(_sectors(first, a) & _sectors(second, a))
    depth = _covered([span for span in spans if span[1] > span[0]])
    covered = np.any(arcs, axis=0)
    share = float(covered.mean())
    low, high = min(span[0] for span in spans), max(span[1] for span in spans)
    point = a.point_mm + (low + high) / 2 * a.axis
    sides = [tuple({r.number: r for r in column}.values()) for column in zip(*group, strict=True)]
    across = min(one.diameter_at(point) for one in (inner, outer))
    return Contact(
        bodies,
        (sides[0], sides[1]),
        group[0][0].kind,
        _round_gap_mm(inner, outer, point),
        float(np.pi * across * depth * share) / inner.normal_share,
        a.axis,
        point,
        depth_mm=depth,
        arc_deg=360 * share,
        open_deg=_widest_gap_deg(covered),
    )


def _widest_gap_deg(covered: NDArray[np.bool_]) -> float:
    """Return the widest angle around without a covered sector."""
    at = np.flatnonzero(covered)
    if not len(at):
        return 360.0
    gaps = np.diff(np.append(at, at[0] + len(covered))) - 1
    return float(gaps.max()) * 360 / len(covered)


def _shared_span(one: Round, other: Round, to: Round) -> tuple[float, float]:
    ends = []
    for each in (one, other):
        middle = float((each.point_mm - to.point_mm) @ to.axis)
        ends.append((middle - each.half_length_mm, middle + each.half_length_mm))
    return max(ends[0][0], ends[1][0]), min(ends[0][1], ends[1][1])


def _covered(spans: list[tuple[float, float]]) -> float:
    """Return the length that spans cover together."""
    total, reached = 0.0, -np.inf
    for low, high in sorted(spans):
        total += max(0.0, high - max(low, reached))
        reached = max(reached, high)
    return total


def _sectors(region: Region, to: Round) -> NDArray[np.bool_]:
    """Tell in which sectors around an axis a pin has material or its hole a wall."""
    u, v = crosswise(to.axis)
    corners = region.corners_mm - to.point_mm
    angles = np.arctan2(corners @ v, corners @ u) * _SECTORS / (2 * np.pi)
    start = angles[:, :1]
    turn = (angles - start + _SECTORS / 2) % _SECTORS - _SECTORS / 2  # none spans half a turn
    low, high = start[:, 0] + turn.min(axis=1), start[:, 0] + turn.max(axis=1)
    found = np.zeros(_SECTORS, dtype=bool)
    first, last = np.round(low).astype(int), np.round(high).astype(int)
    for step in range(int((last - first).max(initial=0)) + 1):
        inside = first + step < np.maximum(last, first + 1)
        found[(first + step)[inside] % _SECTORS] = True
    return found


def has_material_at(region: Region, to: Round, way: Floats, within_deg: float) -> bool:
    """Tell whether a round has a wall in a direction from its axis, and to either side of it."""
    u, v = crosswise(to.axis)
    sector = int(np.floor(np.arctan2(way @ v, way @ u) * _SECTORS / (2 * np.pi)))
    beside = int(np.ceil(within_deg * _SECTORS / 360))
    at = np.arange(sector - beside, sector + beside + 1) % _SECTORS
    return bool(_sectors(region, to)[at].all())


def _free(
    surfaces: tuple[Surface, Surface],
    bodies: tuple[int, int],
    pairs: Ints,
    reach_mm: float,
    rounds: list[Contact],
) -> Iterator[Contact]:
    """Find free-form regions that face each other, from the middles of their triangles.

    A cone in one of another angle is as good as free-form.
    """
    one, other = surfaces
    kinds = SurfaceKind.FREE, SurfaceKind.CONE
    free = of_kind(one, *kinds)[pairs[:, 0]] & of_kind(other, *kinds)[pairs[:, 1]]
    told = {(a.number, b.number) for c in rounds for a in c.regions[0] for b in c.regions[1]}
    # A region of many triangles may face many of the other body.
    middles: list[dict[int, _Middles]] = [{}, {}]
    for i, j in pairs[free].tolist():
        if (i, j) in told:
            continue
        sides = (i, one.regions), (j, other.regions)
        for known, (number, regions) in zip(middles, sides, strict=True):
            if number not in known:
                known[number] = _Middles(regions[number])
        found = _free_contact(bodies, middles[0][i], middles[1][j], reach_mm)
        if found is not None:
            yield found


class _Middles:
    """The middles of a region's triangles."""

    def __init__(self, region: Region) -> None:
        self.region = region
        corners_mm = region.corners_mm
        self.at_mm = corners_mm.mean(axis=1)
        self.normals = region.body.normals[region.faces]
        self.span_mm = float(np.linalg.norm(corners_mm - self.at_mm[:, None], axis=2).max())
        self.low_mm, self.high_mm = self.at_mm.min(axis=0), self.at_mm.max(axis=0)

    @cached_property
    def tree(self) -> cKDTree:
        return cKDTree(self.at_mm)

    def near(self, other: "_Middles", within_mm: float) -> Ints:
        """Return those that may be within a distance of another region's."""
        above = (self.at_mm >= other.low_mm - within_mm).all(axis=1)
        return np.flatnonzero(above & (self.at_mm <= other.high_mm + within_mm).all(axis=1))


def _free_contact(
    bodies: tuple[int, int], one: _Middles, other: _Middles, reach_mm: float
) -> Contact | None:
    within_mm = reach_mm + DEEPEST_MM + other.span_mm
    near = one.near(other, within_mm)
    away, nearest = other.tree.query(one.at_mm[near], distance_upper_bound=within_mm)
    is_met = np.isfinite(away)
    met, hit = near[is_met], nearest[is_met]
    if not len(met):
        return None
    gap = np.einsum("kx,kx->k", other.at_mm[hit] - one.at_mm[met], one.normals[met])
    facing = np.einsum("kx,kx->k", one.normals[met], other.normals[hit]) < -0.9
    close = facing & (gap >= -DEEPEST_MM) & (gap <= reach_mm)
    a, b = one.region, other.region
    areas = a.body.areas_mm2[a.faces[met[close]]]
    if areas.sum() < LEAST_MM2:
        return None
    point = areas @ one.at_mm[met[close]] / areas.sum()
    mean = float(areas @ gap[close] / areas.sum())
    return Contact(
        bodies, ((a,), (b,)), SurfaceKind.FREE, mean, float(areas.sum()), a.normal, point
    )
