"""Screws in printed bodies: holes in line, and what their layers and walls make of them.

Two holes of two bodies in line, one behind the other and with nothing in them, are taken for those
of a screw: it passes the wider one and holds in the narrower one. What is said of layers and of
walls is common practice, no source.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from coupons.answering.meet.meetings import Met
from coupons.answering.meet.print_axes import Printed
from coupons.answering.meshes.body import Floats
from coupons.answering.meshes.regions import Region
from coupons.answering.meshes.walls import walls_behind

LARGEST_MM = 12.0  # wider holes are seldom those of screws
EDGE_SHARE = 1.0
"""Wall around a hole that a screw holds in, per screw (common practice, no source)."""
EDGE_SHARE_PASSED = 0.5  # around one that it only passes (common practice, no source)
_PRACTICE = "Common practice, no source."
_IN_LINE_MM = 0.05
_BEHIND_MM = 1.0
_LEVEL, _UPRIGHT = 0.3, 0.95  # cosine between an axis and the way up
_BOSS_SHARE, _BOSS_WALL = 0.7, 1.5
_NEARLY_MM = 0.05


@dataclass(frozen=True)
class ScrewHole:
    """A hole of a screw in one body.

    Parameters
    ----------
    body : Printed
    region : Region
    size_mm : float
        Diameter of the screw, taken as that of the wider hole.
    holds : bool
        The screw holds in it; otherwise it only passes.
    """

    body: Printed
    region: Region
    size_mm: float
    holds: bool

    @property
    def diameter_mm(self) -> float:
        """The diameter as drawn."""
        cylinder = self.region.cylinder
        return 0.0 if cylinder is None else cylinder.corner_mm


def screw_holes(met: Met) -> tuple[ScrewHole, ...]:
    """Find the holes of screws: in line, in two bodies, with nothing in them."""
    taken = {
        (body, region.number)
        for joint in met.joints
        for contact in joint.contacts
        for body, regions in zip(contact.bodies, contact.regions, strict=True)
        for region in regions
    }
    empty = [
        (number, region)
        for number, one in enumerate(met.bodies)
        for region in one.surface.regions
        if (number, region.number) not in taken and _is_hole(region)
    ]
    found: list[ScrewHole] = []
    for (one, first), (two, second) in combinations(empty, 2):
        if one != two and _in_line(first, second):
            found += _pair((met.bodies[one], first), (met.bodies[two], second))
    return tuple(found)


def screw_cautions(met: Met) -> list[str]:
    """Return what to mind about the screws of some bodies, a sentence or two each."""
    told = [told for hole in screw_holes(met) for told in _cautions(hole)]
    return list(dict.fromkeys(told))  # once for all alike


def _is_hole(region: Region) -> bool:
    one = region.cylinder
    return one is not None and one.is_inner and one.arc_deg > 359 and one.corner_mm <= LARGEST_MM


def _in_line(first: Region, second: Region) -> bool:
    one, two = first.cylinder, second.cylinder
    if one is None or two is None or abs(float(one.axis @ two.axis)) < 1 - 1e-6:
        return False
    away = two.point_mm - one.point_mm
    along = abs(float(away @ one.axis))
    beside = float(np.linalg.norm(np.cross(away, one.axis)))
    gap_mm = along - one.half_length_mm - two.half_length_mm
    return beside < _IN_LINE_MM and -_IN_LINE_MM < gap_mm < _BEHIND_MM


def _pair(one: tuple[Printed, Region], two: tuple[Printed, Region]) -> Iterator[ScrewHole]:
    sizes = [region.cylinder.corner_mm for _, region in (one, two) if region.cylinder is not None]
    for (body, region), own_mm in zip((one, two), sizes, strict=True):
        yield ScrewHole(body, region, max(sizes), own_mm < max(sizes) - _NEARLY_MM)


def _cautions(hole: ScrewHole) -> Iterator[str]:
    name = hole.body.body.name
    what = f"{name}, screw hole of {hole.diameter_mm:.2g} mm"
    cylinder = hole.region.cylinder
    axis = np.zeros(3) if cylinder is None else cylinder.axis
    upright = abs(float(axis @ hole.body.axes[2]))
    if upright < _LEVEL:
        way = f"print {name} with {_axis_name(axis)} up (--up {name}={_axis_name(axis)})"
        if hole.holds:
            yield (
                f"{what}: its axis lies in the layers, and a screw that cuts its thread there "
                f"wedges them apart. Use a nut behind it, or {way}. {_PRACTICE}"
            )
        else:
            yield (
                f"{what}: the head of its screw bends the plate across its layers, where it is "
                f"weakest. Use a wide washer, or {way}. {_PRACTICE}"
            )
    elif upright > _UPRIGHT and hole.holds and _is_boss(hole):
        yield (
            f"{what}: it stands as a boss, and its screw pulls across the layers: it may break off "
            f"at its foot. Give it ribs or a rounding there, or let the screw reach into the body "
            f"below. {_PRACTICE}"
        )
    yield from _edge_caution(hole, what)


def _edge_caution(hole: ScrewHole, what: str) -> Iterator[str]:
    least_mm = (EDGE_SHARE if hole.holds else EDGE_SHARE_PASSED) * hole.size_mm
    walls = walls_behind(hole.body.body, hole.region.faces, least_mm)
    if len(walls.depth_mm) and float(walls.depth_mm.min()) < least_mm - _NEARLY_MM:
        yield (
            f"{what}: the wall beside it is {float(walls.depth_mm.min()):.1f} mm, a screw of "
            f"{hole.size_mm:.2g} mm wants {least_mm:.1f} mm. {_PRACTICE}"
        )


def _is_boss(hole: ScrewHole) -> bool:
    """Tell whether there is little but a tube around a hole."""
    walls = walls_behind(hole.body.body, hole.region.faces, _BOSS_WALL * hole.size_mm)
    areas = hole.body.body.areas_mm2
    walled = areas[np.unique(walls.front)].sum()
    return bool(walled > _BOSS_SHARE * areas[hole.region.faces].sum())


def _axis_name(axis: Floats) -> str:
    """Return the axis of the file nearest to a direction."""
    return "xyz"[int(np.abs(axis).argmax())]
