"""Pins between two flat faces, such as in a long hole: found and named, and no joint.

A pin touches a flat face along a line. What a printed gap there feels like was never tried by hand,
so there is no answer for it; but a designer must hear that the two bodies meet.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from coupons.answering.meet.opposite_faces import (
    DEEPEST_MM,
    OFF_AXIS_MM,
    OPPOSITE,
    PARALLEL,
    has_material_at,
    is_same_round,
    near_pairs,
    of_kind,
)
from coupons.answering.meshes.body import Floats
from coupons.answering.meshes.regions import Region, SurfaceKind
from coupons.answering.meshes.rounds import Cylinder
from coupons.answering.meshes.surface import Surface

_LEAST_MM = 1.0  # over which the pin lies along a face
_BEYOND_DEG = 10.0
"""So far the pin goes on to either side of where it is nearest to a face: a rounded edge that runs
into a flat of its own body does not."""
_ONE_LINE = 1e-4  # off one for the cosine of two directions that are the same


@dataclass(frozen=True, eq=False)
class PinBetween:
    """A pin of one body between two flat faces of another.

    Parameters
    ----------
    bodies : tuple of int
        The body with the flat faces and that with the pin, by their place in the list.
    flats : tuple of Region
        The two faces.
    pin : Region
    way : ndarray of float, shape (3,)
        Unit direction across the faces.
    gaps_mm : tuple of float
        From each face to the pin as it was drawn; negative where it stands in the face.
    """

    bodies: tuple[int, int]
    flats: tuple[Region, Region]
    pin: Region
    way: Floats
    gaps_mm: tuple[float, float]

    @property
    def cylinder(self) -> Cylinder:
        """Axis and diameters of the pin."""
        return _cylinder(self.pin)

    @property
    def width_mm(self) -> float:
        """Between the two faces."""
        return self.cylinder.corner_mm + sum(self.gaps_mm)


@dataclass(frozen=True, eq=False)
class _Beside:
    """A pin that lies along one flat face: the gap, and from where to where along its axis."""

    flat: Region
    pin: Region
    gap_mm: float
    span_mm: tuple[float, float]


def pins_between(
    surfaces: tuple[Surface, Surface], bodies: tuple[int, int], reach_mm: float
) -> Iterator[PinBetween]:
    """Find the pins of each of two bodies between flat faces of the other."""
    pairs = near_pairs(surfaces, reach_mm)
    flats = [of_kind(surface, SurfaceKind.PLANE) for surface in surfaces]
    rounds = [of_kind(surface, SurfaceKind.CYLINDER) for surface in surfaces]
    for flat, pin in ((0, 1), (1, 0)):
        some = flats[flat][pairs[:, flat]] & rounds[pin][pairs[:, pin]]
        beside = [
            found
            for i, j in pairs[some][:, [flat, pin]].tolist()
            if (found := _beside(surfaces[flat].regions[i], surfaces[pin].regions[j], reach_mm))
        ]
        yield from _opposite(beside, (bodies[flat], bodies[pin]))


def _cylinder(region: Region) -> Cylinder:
    assert region.cylinder is not None
    return region.cylinder


def _beside(flat: Region, pin: Region, reach_mm: float) -> _Beside | None:
    """Return a flat face and a pin if the pin lies along the face within reach."""
    one = _cylinder(pin)
    if one.is_inner or abs(float(flat.normal @ one.axis)) > PARALLEL:
        return None
    away_mm = float((one.point_mm - flat.point_mm) @ flat.normal)
    gap_mm = away_mm - one.corner_mm / 2
    if not -DEEPEST_MM <= gap_mm <= reach_mm:
        return None
    if not has_material_at(pin, one, -flat.normal, _BEYOND_DEG):
        return None
    low, high = _along(flat, one, max(gap_mm, 0) / 2 + OFF_AXIS_MM)
    low, high = max(low, -one.half_length_mm), min(high, one.half_length_mm)
    return _Beside(flat, pin, gap_mm, (low, high)) if high - low >= _LEAST_MM else None


def _along(flat: Region, one: Cylinder, room_mm: float) -> tuple[float, float]:
    """Return from where to where a face is under the line of a pin next to it.

    The line may pass the end of the face by a little: the pin at the end of a long hole.
    """
    aside = np.cross(flat.normal, one.axis)
    corners = flat.corners_mm - one.point_mm
    across, along = corners @ aside, corners @ one.axis
    least, most = float(across.min()), float(across.max())
    if not least - room_mm <= 0 <= most + room_mm:
        return 0.0, 0.0
    inset = 1e-3 * (most - least)
    across = across - np.clip(0.0, least + inset, most - inset)
    before, after = across.ravel(), np.roll(across, -1, axis=1).ravel()
    cut = np.flatnonzero((before < 0) != (after < 0))  # edges of triangles that the line crosses
    share = before[cut] / (before[cut] - after[cut])
    at_mm = (1 - share) * along.ravel()[cut] + share * np.roll(along, -1, axis=1).ravel()[cut]
    return (float(at_mm.min()), float(at_mm.max())) if len(at_mm) else (0.0, 0.0)


def _opposite(beside: Sequence[_Beside], bodies: tuple[int, int]) -> Iterator[PinBetween]:
    """Yield the pins that have a face on either side, the closest two first, each way once."""
    found = [
        (one.gap_mm + other.gap_mm, n, m)
        for n, one in enumerate(beside)
        for m, other in enumerate(beside[:n])
        if _are_opposite(one, other)
    ]
    taken: list[PinBetween] = []
    for _, n, m in sorted(found):
        one, other = beside[m], beside[n]
        if any(_is_told(each, one) for each in taken):
            continue
        gaps_mm = (one.gap_mm, other.gap_mm)
        taken.append(PinBetween(bodies, (one.flat, other.flat), one.pin, one.flat.normal, gaps_mm))
    yield from taken


def _are_opposite(one: _Beside, other: _Beside) -> bool:
    first, second = _cylinder(one.pin), _cylinder(other.pin)
    if np.linalg.norm(one.flat.normal + other.flat.normal) > OPPOSITE:
        return False
    if not is_same_round(first, second):
        return False
    shift_mm = float((second.point_mm - first.point_mm) @ first.axis)
    turn = float(np.sign(first.axis @ second.axis))
    low_mm, high_mm = sorted(shift_mm + turn * end for end in other.span_mm)
    return min(one.span_mm[1], high_mm) - max(one.span_mm[0], low_mm) >= _LEAST_MM


def _is_told(known: PinBetween, one: _Beside) -> bool:
    is_one_way = abs(float(known.way @ one.flat.normal)) > 1 - _ONE_LINE
    return is_one_way and is_same_round(known.cylinder, _cylinder(one.pin))
