"""Reading bodies from mesh files: units, several bodies in one file, and all that is wrong at once.

read_bodies(paths) → bodies in mm, each closed, facing outwards and not crossing itself
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from coupons.answering.meshes.body import Body, Edges, Floats, Ints, edges_of
from coupons.answering.meshes.patches import joined
from coupons.answering.meshes.raw_meshes import (
    MOST_BODIES,
    RawMesh,
    read_raw,
    too_many_bodies,
)
from coupons.answering.meshes.shells import Shell, grouped
from coupons.answering.meshes.soundness import faults
from coupons.answering.meshes.threemf_objects import UNITS_MM
from coupons.errors import BodyError, CouponError, Problem
from coupons.progress import steps

_Named = tuple[str, str, Floats, Ints, Edges | None, float]
"""Name, file, vertices, triangles, the edges where they are known, and how far it is rounded."""
UNITS = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}
"""Millimetres of the units that can be said for a file that holds none."""
SMALLEST_MM, LARGEST_MM = 5.0, 1500.0  # length of a body that is taken to be in mm unsaid
_MOST_NAMES, _FEW_NAMES = 12, 8  # that are written out; of more, only a few
SEWN_MM = 1e-4
"""Corners so near to each other are one where that closes a surface."""
_MOST_ROUNDED_MM = 5e-4
"""Of a body with fewer digits, faces are looked for as if it had so many."""
_FARTHEST_MM = 1e6  # from the origin; numbers of 32 bits are 0.06 mm apart there


@dataclass(frozen=True, eq=False)
class ReadBodies:
    """The bodies of some files.

    Parameters
    ----------
    bodies : tuple of Body
    notes : tuple of str
        What was decided on the way, a sentence each: units, several bodies in one file.
    """

    bodies: tuple[Body, ...]
    notes: tuple[str, ...]


def read_bodies(
    paths: Sequence[Path], units: str | None = None, *, is_sound: bool = False
) -> ReadBodies:
    """Read all bodies of mesh files.

    Parameters
    ----------
    paths : sequence of Path
        STL, 3MF, OBJ or PLY. The bodies keep the places that they have in their files.
    units : {'mm', 'cm', 'm', 'in'}, optional
        Of files that hold no unit. Unsaid, they are taken to be in mm, if that gives a plausible
        length.
    is_sound : bool
        The bodies were found sound before, and are not looked at again.

    Raises
    ------
    BodyError
        With every problem of every file.
    OSError
        If a file cannot be opened.
    """
    problems: list[Problem] = []
    notes: list[str] = []
    named: list[_Named] = []
    for path in steps(paths, "files read"):
        try:
            raw = read_raw(path)
        except CouponError as error:
            problems += error.problems
            continue
        found, said = _in_mm(path.name, raw, units)
        problems += said
        if raw[0].unit not in ("", "millimeter"):
            notes.append(f"{path.name} is in {raw[0].unit}: read in mm.")
        for one in found:
            split, told = _bodies_of(path, one, notes)
            problems += told
            named += split
    bodies = _with_own_names(named)
    if not is_sound:
        problems += _twice(bodies)
        for body in steps(bodies, "bodies checked"):
            problems += faults(body)
    if problems:
        raise BodyError(problems)
    notes += _several(bodies)
    return ReadBodies(tuple(bodies), tuple(notes))


def read_again(path: Path, body: Body) -> Body | None:
    """Read a file that was written from a body, the quick way.

    Returns
    -------
    Body or None
        The body with its corners where the file has them. None if another program would find other
        triangles in the file, or these joined in another way, or more than one surface.

    Raises
    ------
    BodyError
        If the file cannot be read.
    """
    found, _ = _in_mm(path.name, read_raw(path), "mm")
    if len(found) != 1 or found[0].corners.shape != body.corners_mm.shape:
        return None
    vertices_mm = body.vertices_mm.copy()
    vertices_mm[body.triangles] = found[0].corners + 0.0
    is_same = np.array_equal(np.take(vertices_mm, body.triangles, axis=0), found[0].corners)
    if not is_same or len(_distinct(vertices_mm)[0]) < len(vertices_mm):
        return None
    again = Body(body.name, body.file, vertices_mm, body.triangles, body.edges)
    if again.volume_mm3 < 0 or joined(len(body.triangles), body.edges.triangles).any():
        return None
    return again


def _in_mm(
    file: str, raw: tuple[RawMesh, ...], units: str | None
) -> tuple[list[RawMesh], list[Problem]]:
    """Scale meshes to mm; ask for the unit where the file has none and mm is not plausible."""
    points = [one.corners.reshape(-1, 3) for one in raw]
    low = np.min([one.min(axis=0) for one in points], axis=0)
    high = np.max([one.max(axis=0) for one in points], axis=0)
    longest = float((high - low).max())
    unit = raw[0].unit
    if not unit and units is None and not SMALLEST_MM <= longest <= LARGEST_MM:
        could = ", ".join(f"{longest * UNITS[one]:.4g} mm if in {one}" for one in UNITS)
        got = f"none, and a longest side of {longest:.4g} ({could})"
        return [], [Problem(file, "a unit", got, "Say it, such as --units mm")]
    scale = UNITS_MM[unit] if unit else UNITS[units or "mm"]
    farthest_mm = float(np.abs([low, high]).max()) * scale
    if farthest_mm > _FARTHEST_MM:
        expected = f"a body within {_FARTHEST_MM / 1e6:g} km of the origin"
        got = f"a corner at {farthest_mm / 1e6:.4g} km"
        return [], [Problem(file, expected, got, "Move it to where it is printed, or say its unit")]
    return [RawMesh(one.name, one.corners * scale, unit, one.rounding * scale) for one in raw], []


def _bodies_of(path: Path, raw: RawMesh, notes: list[str]) -> tuple[list[_Named], list[Problem]]:
    """Divide a mesh into the bodies that it holds, without checking them."""
    vertices_mm, triangles = merged(raw.corners)
    name, rounded_mm = raw.name or path.stem, min(raw.rounding, _MOST_ROUNDED_MM)
    edges = edges_of(triangles)
    if len(edges.opened) and (closed := sewn(vertices_mm, triangles, edges)) is not None:
        vertices_mm, triangles, edges = closed
        notes.append(f"{path.name}: corners up to {SEWN_MM:g} mm apart were joined to close it.")
    shells = list(_shells(vertices_mm, triangles, edges))
    found = grouped(shells)
    if isinstance(found, int):
        expected = "outward normals"
        todo = "Turn its faces around (flip the normals), and export it again"
        return [], [Problem(f"{path.name} {raw.name}".strip(), expected, "inward ones", todo)]
    if len(shells) == 1:
        return [(name, path.name, vertices_mm, triangles, edges, rounded_mm)], []
    several = len(found) > 1
    bodies: list[_Named] = []
    for number, group in enumerate(found, start=1):
        own = np.concatenate([shell.triangles for shell in group])
        used, place = np.unique(own, return_inverse=True)
        full = f"{name} {number}" if several else name
        bodies.append(
            (full, path.name, vertices_mm[used], place.reshape(own.shape), None, rounded_mm)
        )
    return bodies, []


def merged(corners: Floats) -> tuple[Floats, Ints]:
    """Give equal corners one vertex.

    Parameters
    ----------
    corners : ndarray of float, shape (m, 3, 3)

    Returns
    -------
    tuple of ndarray
        Vertices of shape (n, 3) in the order in which they are first met, and the triangles, shape
        (m, 3), in the order of ``corners``.
    """
    points = corners.reshape(-1, 3) + 0.0  # makes −0 a plain 0
    first, place = _distinct(points)
    # In the order of the file, neighbours stand near each other in memory too.
    order = np.argsort(first)
    rank = np.empty(len(first), dtype=np.int64)
    rank[order] = np.arange(len(first))
    return points[first[order]], rank[place].reshape(-1, 3)


def _distinct(points: Floats) -> tuple[Ints, Ints]:
    """Return where each distinct point comes first, and which of these each point is."""
    bits = np.ascontiguousarray(points).view(np.uint64)
    odd = np.array([0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9], dtype=np.uint64)
    mixed = (bits ^ (bits >> np.uint64(29))) * odd
    keys = mixed[:, 0] ^ (mixed[:, 1] << np.uint64(1)) ^ (mixed[:, 2] << np.uint64(2))
    keys ^= keys >> np.uint64(31)
    _, first, place = np.unique(keys, return_index=True, return_inverse=True)
    if not np.array_equal(np.take(points, first[place], axis=0), points):  # two points shared a key
        _, first, place = np.unique(points, axis=0, return_index=True, return_inverse=True)
    return first, place


def sewn(vertices_mm: Floats, triangles: Ints, edges: Edges) -> tuple[Floats, Ints, Edges] | None:
    """Join the corners of open edges that lie on each other but for rounding.

    Some programs write each triangle with corners of its own, rounded by itself.

    Returns
    -------
    tuple of ndarray, ndarray and Edges, or None
        Vertices, triangles and edges of a closed surface; None if it is open for all that.
    """
    rim = np.unique(edges.opened)
    pairs = cKDTree(vertices_mm[rim]).query_pairs(SEWN_MM, output_type="ndarray")
    if not len(pairs):
        return None
    label = joined(len(rim), pairs)
    place = np.arange(len(vertices_mm))
    first = np.unique(label, return_index=True)[1]
    place[rim] = rim[first][label]
    closed = place[triangles]
    closed = closed[(closed != np.roll(closed, 1, axis=1)).all(axis=1)]  # without those in an edge
    used, closed = np.unique(closed, return_inverse=True)
    closed = closed.reshape(-1, 3)
    found = edges_of(closed)
    if len(found.opened):
        return None
    return vertices_mm[used], closed, found


def _shells(vertices_mm: Floats, triangles: Ints, edges: Edges) -> Iterable[Shell]:
    """Divide triangles into shells that no edge joins, in the order of the file."""
    many = len(triangles)
    ones = np.ones(len(edges.triangles), dtype=np.int8)
    graph = coo_array((ones, edges.triangles.T), shape=(many, many))
    count, label = connected_components(graph, directed=False)
    order = np.argsort(label, kind="stable")
    ends = np.searchsorted(label[order], np.arange(count + 1))
    firsts = order[ends[:-1]]
    is_closed = not len(edges.opened) and not len(edges.turned)
    for one in np.argsort(firsts):
        own = triangles[order[ends[one] : ends[one + 1]]]
        yield Shell(own, vertices_mm[own], is_closed)


def _with_own_names(named: list[_Named]) -> list[Body]:
    """Make the bodies, if they are not too many; where two have one name, number them."""
    if len(named) > MOST_BODIES:
        files = ", ".join(dict.fromkeys(file for _, file, *_ in named))
        raise too_many_bodies(files, len(named), MOST_BODIES)
    counts = Counter(name for name, *_ in named)
    seen: Counter[str] = Counter()
    bodies = []
    for name, file, vertices_mm, triangles, edges, rounded_mm in named:
        seen[name] += 1
        own = f"{name} ({seen[name]})" if counts[name] > 1 else name
        bodies.append(Body(own, file, vertices_mm, triangles, edges, rounded_mm))
    return bodies


def _twice(bodies: Iterable[Body]) -> list[Problem]:
    """Refuse bodies that are one body given twice, in one place."""
    seen: dict[tuple[bytes, float], Body] = {}
    problems = []
    for body in bodies:
        same = seen.setdefault((body.vertices_mm.tobytes(), round(body.volume_mm3, 6)), body)
        if same is not body:
            where = same.file if same.file == body.file else f"{same.file} and {body.file}"
            names = f"{same.name} and {body.name}, which are one body in one place"
            problems.append(Problem(where, "each body once", names, "Leave one of them out"))
    return problems


def listed(names: Sequence[str]) -> str:
    """Write names one after the other; of many, the first few and how many more there are."""
    if len(names) <= _MOST_NAMES:
        return ", ".join(names)
    return f"{', '.join(names[:_FEW_NAMES])} and {len(names) - _FEW_NAMES} more"


def _several(bodies: Iterable[Body]) -> list[str]:
    by_file: dict[str, list[str]] = {}
    for body in bodies:
        by_file.setdefault(body.file, []).append(body.name)
    return [
        f"{file} holds {len(names)} bodies: {listed(names)}."
        for file, names in by_file.items()
        if len(names) > 1
    ]
