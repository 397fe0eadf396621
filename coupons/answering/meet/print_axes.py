"""How each body is printed: which way is up, the printer's axes, and what lies on the bed."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from coupons.answering.meshes.body import Body, Floats
from coupons.answering.meshes.regions import Region, SurfaceKind
from coupons.answering.meshes.surface import Surface
from coupons.errors import BodyError, Problem
from coupons.measuring.run.entries import near_miss
from coupons.terms import Direction

ALIGNED_DEG = 1.0
"""So near to an axis of the printer, a direction counts as that axis."""
_ALIGNED = float(np.cos(np.radians(ALIGNED_DEG)))
_ON_BED_MM = 0.01
_MOST_FLAT = 24  # of the largest flat faces that a body might stand on
_LARGE = 0.25  # of the largest that it can stand on
_AXES = {"x": (1.0, 0.0, 0.0), "y": (0.0, 1.0, 0.0), "z": (0.0, 0.0, 1.0)}
AXES = tuple(sign + axis for axis in _AXES for sign in ("", "-"))


@dataclass(frozen=True, eq=False)
class Printed:
    """A body as it lies on the printer.

    Parameters
    ----------
    surface : Surface
    axes : ndarray of float, shape (3, 3)
        The printer's x, y and z, one a row, in the directions of the file.
    up : str
        Which direction of the file is up, as it was said or by default.
    """

    surface: Surface
    axes: Floats
    up: str

    @property
    def body(self) -> Body:
        """The body itself."""
        return self.surface.body

    def direction(self, way: Floats) -> tuple[Direction, bool]:
        """Return the printer's direction nearest to one of the file; whether it is within 1°."""
        best, off_deg = self.nearest(way)
        return best, off_deg <= ALIGNED_DEG

    def nearest(self, way: Floats) -> tuple[Direction, float]:
        """Return the printer's direction nearest to one of the file, and how far off it is, in °.

        Directions have no sign: off by 90° at most.
        """
        own = self.axes @ way
        half = np.sqrt(0.5)
        names = {
            Direction.X: (1.0, 0.0, 0.0),
            Direction.Y: (0.0, 1.0, 0.0),
            Direction.Z: (0.0, 0.0, 1.0),
            Direction.XY_PLUS: (half, half, 0.0),
            Direction.XY_MINUS: (half, -half, 0.0),
        }
        near = {name: abs(float(own @ axis)) for name, axis in names.items()}
        best = max(near, key=lambda name: near[name])
        aside = float(np.linalg.norm(np.cross(own, names[best])))
        return best, float(np.degrees(np.arctan2(aside, near[best])))

    def is_on_bed(self, region: Region) -> bool:
        """Tell whether a flat face is the lowest of the body, as printed."""
        if region.kind is not SurfaceKind.PLANE or float(region.normal @ self.axes[2]) > -_ALIGNED:
            return False
        lowest = float((self.body.vertices_mm @ self.axes[2]).min())
        return float(region.point_mm @ self.axes[2]) - lowest <= _ON_BED_MM

    def stands(self) -> bool:
        """Tell whether any flat face lies on the bed."""
        return any(self.is_on_bed(region) for region in self.surface.regions)


def printed(surfaces: Sequence[Surface], ups: Mapping[str, str]) -> tuple[Printed, ...]:
    """Lay bodies on the printer.

    Parameters
    ----------
    surfaces : sequence of Surface
    ups : mapping of str to str
        By name of the body, the direction of the file that is up: x, -x, y, -y, z or -z, or three
        numbers, such as ``0/0.5/1``. A body that is not named lies as exported, z up.

    Raises
    ------
    BodyError
        For a name that no body has, and for what is no direction.
    """
    names = [surface.body.name for surface in surfaces]
    problems = [
        Problem(
            f"--up {name}={text}", f"a body: {', '.join(names)}", name, near_miss(name, names, "")
        )
        for name, text in ups.items()
        if name not in names
    ]
    found = []
    for surface in surfaces:
        text = ups.get(surface.body.name, "z")
        up = _way(text)
        if up is None:
            where = f"--up {surface.body.name}={text}"
            todo = "Or three numbers with / between them, such as 0/0.5/1"
            problems.append(Problem(where, f"{', '.join(AXES)}", text or "nothing", todo))
        else:
            found.append(Printed(surface, _axes(up), text))
    if problems:
        raise BodyError(problems)
    return tuple(found)


def _way(text: str) -> Floats | None:
    axis = _AXES.get(text.lstrip("+-").lower())
    if axis is not None and len(text) <= 2:
        return np.array(axis) * (-1 if text.startswith("-") else 1)
    try:
        way = np.array([float(part) for part in text.split("/")])
    except ValueError:
        return None
    length = float(np.linalg.norm(way)) if len(way) == 3 else 0.0
    return way / length if np.isfinite(length) and length > 1e-6 else None


def _axes(up: Floats) -> Floats:
    """Return the printer's axes: x as in the file, or the file's z where x itself is up."""
    aside = np.array(_AXES["z" if abs(up[0]) > 0.9 else "x"])
    x = aside - (aside @ up) * up
    x /= np.linalg.norm(x)
    return np.array([x, np.cross(up, x), up])


def read_ups(text: str) -> dict[str, str]:
    """Read ``A=z,B=-y``.

    Raises
    ------
    BodyError
        Where a part is no name and direction.

    Examples
    --------
    >>> read_ups("lid=-z, clip=y")
    {'lid': '-z', 'clip': 'y'}
    """
    parts = [part.strip() for part in text.split(",") if part.strip()]
    wrong = [part for part in parts if "=" not in part]
    if wrong:
        raise BodyError([Problem("--up", "BODY=DIRECTION, such as lid=-z", part) for part in wrong])
    return {name.strip(): way.strip() for name, _, way in (part.rpartition("=") for part in parts)}


def leaning(bodies: Iterable[Printed]) -> dict[str, str]:
    """Name the bodies that lie on the bed with no flat face, and which way up one would.

    Which way is up is written as for `printed`; it is empty for a body without any flat face to
    stand on. Such a body is left out where somebody said how it lies.
    """
    found = {one.body.name: (one, _way_to_stand(one)) for one in bodies if not one.stands()}
    return {name: way for name, (one, way) in found.items() if way or one.up == "z"}


def _way_to_stand(one: Printed) -> str:
    """Return the way up, nearest to that said, with which a large flat face lies on the bed."""
    flat = [region for region in one.surface.regions if region.kind is SurfaceKind.PLANE]
    flat = sorted(flat, key=lambda region: -region.area_mm2)[:_MOST_FLAT]
    ways = [_typed(-region.normal) for region in flat]
    stands = [
        (region, way)
        for region, way in zip(flat, ways, strict=True)
        if (up := _way(way)) is not None and Printed(one.surface, _axes(up), way).is_on_bed(region)
    ]
    large = [pair for pair in stands if pair[0].area_mm2 >= _LARGE * stands[0][0].area_mm2]
    if not large:
        return ""
    return min(large, key=lambda pair: float(pair[0].normal @ one.axes[2]))[1]


def _typed(way: Floats) -> str:
    """Write a direction as it is typed: a letter along an axis, or three numbers."""
    for name in AXES:
        axis = _way(name)
        if axis is not None and float(axis @ way) > 1 - 1e-9:
            return name
    return "/".join(f"{round(value, 4) + 0.0:g}" for value in way.tolist())
