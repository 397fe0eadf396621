"""Holes that meet no body: for a screw, an insert or a pin that stands in no file."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from coupons.answering.meet.opposite_faces import OFF_ONE_AXIS_MM, PARALLEL, Contact, is_same_round
from coupons.answering.meshes.body import Body, Floats
from coupons.answering.meshes.patches import joined
from coupons.answering.meshes.regions import Region
from coupons.answering.meshes.rounds import Cylinder
from coupons.answering.meshes.strips import crosswise
from coupons.answering.meshes.surface import Surface

_WHOLE_DEG = 359.0
_BOTTOM_SHARE = 0.5  # of the diameter: a round or pointed bottom lies so far behind the wall
_NEAR_MM = 0.05


@dataclass(frozen=True, eq=False)
class LoneHole:
    """A hole of one body that no face of another meets.

    Parameters
    ----------
    body : int
        By place in the list of bodies.
    regions : tuple of Region
        Its wall, in pieces on one axis where something else interrupts it.
    depth_mm : float
        Length of its wall along the axis, all pieces together.
    is_through : bool
        Both ends are open.
    """

    body: int
    regions: tuple[Region, ...]
    depth_mm: float
    is_through: bool

    @property
    def cylinder(self) -> Cylinder:
        """Axis and diameters of its wall."""
        one = self.regions[0].cylinder
        if one is None:
            raise ValueError("a hole with a cylindrical wall")
        return one


def lone_holes(surfaces: Sequence[Surface], met: Iterable[Contact]) -> tuple[LoneHole, ...]:
    """Find the whole round holes that are in no contact, body by body in the order of their faces.

    Parameters
    ----------
    surfaces : sequence of Surface
    met : iterable of Contact
        All that was found between the bodies.
    """
    taken = {
        (body, region.number)
        for contact in met
        for body, regions in zip(contact.bodies, contact.regions, strict=True)
        for region in regions
    }
    found: list[LoneHole] = []
    for number, surface in enumerate(surfaces):
        empty = [
            region
            for region in surface.regions
            if region.cylinder is not None
            and region.cylinder.is_inner
            and (number, region.number) not in taken
        ]
        found += [
            _hole(number, surface.body, pieces)
            for pieces in _on_one_axis(empty)
            if any(_cylinder(one).arc_deg > _WHOLE_DEG for one in pieces)
        ]
    return tuple(found)


def _cylinder(region: Region) -> Cylinder:
    assert region.cylinder is not None
    return region.cylinder


def _on_one_axis(holes: Sequence[Region]) -> Iterator[tuple[Region, ...]]:
    """Yield pieces of one hole together: on one axis and of one diameter."""
    if not holes:
        return
    alike = [
        (i, j)
        for i, j in _near_lines([_cylinder(one) for one in holes])
        if is_same_round(_cylinder(holes[i]), _cylinder(holes[j]))
    ]
    alike += [(n, n) for n in range(len(holes))]
    label = joined(len(holes), np.array(alike))
    for number in dict.fromkeys(label.tolist()):
        yield tuple(one for one, own in zip(holes, label, strict=True) if own == number)


def _near_lines(holes: Sequence[Cylinder]) -> list[tuple[int, int]]:
    """Return the pairs of holes whose axes pass the middle of all holes at about one place.

    Those on one axis are among them, however far apart: a plate may have thousands.
    """
    points = np.array([one.point_mm for one in holes])
    axes = np.array([one.axis for one in holes])
    points = points - (points.max(axis=0) + points.min(axis=0)) / 2
    passing = points - np.einsum("kx,kx->k", points, axes)[:, None] * axes
    farthest_mm = float(np.linalg.norm(points, axis=1).max())
    reach_mm = OFF_ONE_AXIS_MM + 2 * PARALLEL * farthest_mm
    return sorted(cKDTree(passing).query_pairs(reach_mm))


def _hole(number: int, body: Body, pieces: tuple[Region, ...]) -> LoneHole:
    first = _cylinder(pieces[0])
    middles = [float((p.point_mm - first.point_mm) @ first.axis) for p in pieces]
    halves = [_cylinder(piece).half_length_mm for piece in pieces]
    low = min(middle - half for middle, half in zip(middles, halves, strict=True))
    high = max(middle + half for middle, half in zip(middles, halves, strict=True))
    hits = _along_axis(body, first)
    bottom = _BOTTOM_SHARE * first.corner_mm + _NEAR_MM
    above = (hits > high - _NEAR_MM) & (hits < high + bottom)
    below = (hits < low + _NEAR_MM) & (hits > low - bottom)
    return LoneHole(number, pieces, 2 * sum(halves), not (above.any() or below.any()))


def _along_axis(body: Body, one: Cylinder) -> Floats:
    """Return where the line of an axis goes through the surface, from the cylinder's middle."""
    frame = np.column_stack([*crosswise(one.axis), one.axis])
    points = (body.vertices_mm - one.point_mm) @ frame
    flat = points[:, :2][body.triangles]
    near = (flat.min(axis=1) <= 0).all(axis=1) & (flat.max(axis=1) >= 0).all(axis=1)
    corners = points[body.triangles[near]]
    a, b, c = np.moveaxis(corners[..., :2], 1, 0)
    doubled = _cross(b - a, c - a)
    shares = np.column_stack([_cross(b, c), _cross(c, a), _cross(a, b)])
    flat_on = np.abs(doubled) > 1e-12
    shares = shares[flat_on] / doubled[flat_on][:, None]
    inside = (shares >= -1e-6).all(axis=1)
    return np.asarray((shares * corners[flat_on][..., 2]).sum(axis=1)[inside])


def _cross(a: Floats, b: Floats) -> Floats:
    return np.asarray(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
