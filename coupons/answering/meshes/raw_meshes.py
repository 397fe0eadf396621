"""Mesh files as triangles in the file's own unit, before anything is checked.

STL, OBJ and PLY are read by the general mesh library. It reads 3MF only with two more libraries,
unpacks all of it first and leaves the unit to the caller; so `threemf_objects` reads 3MF.
"""

import errno
import gc
import io
import logging
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from coupons.answering.meshes.digits import rounding_of
from coupons.answering.meshes.threemf_objects import TooManyError, read_objects
from coupons.errors import BodyError, Problem
from coupons.reading import read_plain, start_of_plain

MOST_TRIANGLES = 2_000_000
"""In one file: about what a computer at home meets in a minute."""
MOST_BODIES = 500
"""Of all files together: each is met with all that are near it."""
KINDS = (".stl", ".3mf", ".obj", ".ply")
_MOST_BYTES = 640_000_000  # STL as text has up to 320 bytes a triangle
_STL_HEAD, _STL_TRIANGLE = 84, 50
_ENOUGH = 2  # times the most triangles; then counting stops
_OBJ_OBJECT = re.compile(rb"^o[ \t]", re.MULTILINE)
_START = 4096  # bytes, in which a file may say how many triangles it holds
_OBJ_FACE = re.compile(rb"^[ \t]*f[ \t][^\n]*", re.MULTILINE)


@dataclass(frozen=True, eq=False)
class RawMesh:
    """Triangles as a file holds them.

    Parameters
    ----------
    name : str
        As the file names it; empty if it does not.
    corners : ndarray of float, shape (m, 3, 3)
        Each triangle's corners, placed as the file says.
    unit : str
        As the file says; empty if it does not.
    rounding : float
        How far few digits may have moved each coordinate.
    """

    name: str
    corners: NDArray[np.float64]
    unit: str
    rounding: float = 0.0


def read_raw(path: Path) -> tuple[RawMesh, ...]:
    """Read every mesh of a file.

    Raises
    ------
    BodyError
        If the file is of another kind, damaged, empty, or holds too many triangles. Then it is not
        read to its end.
    OSError
        If it cannot be opened.
    """
    kind = path.suffix.lower()
    if kind not in KINDS:
        todo = "Export the body again in one of these formats"
        raise BodyError([Problem(path.name, f"a file in {', '.join(KINDS)}", kind or "none", todo)])
    said = _said_at_start(kind, *start_of_plain(path, _START))
    if said > MOST_TRIANGLES:
        raise _too_many(path, f"{said:,}")
    data = _bytes_of(path)
    if said == 0:
        _refuse_many(path, kind, data)
    try:
        found = read_objects(data, MOST_TRIANGLES) if kind == ".3mf" else _loaded(kind, data)
    except TooManyError as error:
        raise _too_many(path, str(error)) from None
    except Exception as fault:  # whatever a damaged file makes the library raise
        raise _damaged(path, kind, fault) from None
    gc.collect(1)  # the library's meshes refer to themselves, and would stay for long
    raw = tuple(
        RawMesh(name, corners, unit, rounding_of(corners))
        for name, corners, unit in found
        if len(corners)
    )
    if not raw:
        todo = "Export the body again as a mesh"
        raise BodyError([Problem(path.name, "a body of triangles", "none", todo)])
    if not all(np.isfinite(one.corners).all() for one in raw):
        raise BodyError([Problem(path.name, "finite coordinates", "infinite or missing ones")])
    return raw


def _bytes_of(path: Path) -> bytes:
    try:
        return read_plain(path, _MOST_BYTES)
    except OSError as error:
        if error.errno == errno.EFBIG:
            raise _too_many(path, error.strerror or "more") from None
        raise


def _said_at_start(kind: str, start: bytes, size: int) -> int:
    """Return how many triangles the start of a file says that it holds; 0 if it does not say."""
    if kind == ".stl":
        return _said_by_stl(start, size)
    said = re.search(rb"element\s+face\s+(\d+)", start) if kind == ".ply" else None
    return int(said[1]) if said else 0


def _refuse_many(path: Path, kind: str, data: bytes) -> None:
    """Refuse a text that holds too many triangles or bodies before it is read."""
    counted = _counted(kind, data)
    if counted > MOST_TRIANGLES:
        raise _too_many(path, f"{counted:,}" if counted <= _ENOUGH * MOST_TRIANGLES else "more")
    objects = len(_OBJ_OBJECT.findall(data)) if kind == ".obj" else 0
    if objects > MOST_BODIES:
        raise too_many_bodies(path.name, objects, MOST_BODIES)


def _counted(kind: str, data: bytes) -> int:
    """Return how many lines of a file begin a triangle; it stops where they are far too many."""
    if kind == ".stl":
        return data.count(b"facet normal")
    count = 0
    for face in _OBJ_FACE.finditer(data) if kind == ".obj" else ():
        count += max(len(face[0].split()) - 3, 0)  # a face with many corners is many triangles
        if count > _ENOUGH * MOST_TRIANGLES:
            break
    return count


def _said_by_stl(start: bytes, size: int) -> int:
    """Return the number of triangles in the head of a binary STL; 0 if its size says otherwise."""
    said = int.from_bytes(start[80:_STL_HEAD], "little")
    return said if size == _STL_HEAD + _STL_TRIANGLE * said else 0


def _loaded(kind: str, data: bytes) -> list[tuple[str, NDArray[np.float64], str]]:
    import trimesh

    # It would print what a damaged file made it raise, beside our one line.
    logging.getLogger("trimesh").setLevel(logging.CRITICAL + 1)
    if kind == ".stl" and not _is_whole_stl(data):
        raise ValueError("it ends within a triangle")
    scene = trimesh.load_scene(
        io.BytesIO(data), file_type=kind[1:], process=False, skip_materials=True, split_objects=True
    )
    meshes = {n: m for n, m in scene.geometry.items() if isinstance(m, trimesh.Trimesh)}
    if any(np.shape(mesh.vertices)[1:] != (3,) for mesh in meshes.values()):
        raise ValueError("corners without three coordinates")
    several = len(meshes) > 1
    return [
        (name if several else "", np.take(np.asarray(mesh.vertices, float), mesh.faces, axis=0), "")
        for name, mesh in meshes.items()
    ]


def _is_whole_stl(data: bytes) -> bool:
    if data[:5].lower() == b"solid" and b"facet" in data[:2000]:
        return True
    said = int.from_bytes(data[80:_STL_HEAD], "little")
    return len(data) == _STL_HEAD + _STL_TRIANGLE * said


def _too_many(path: Path, counted: str) -> BodyError:
    expected = f"at most {MOST_TRIANGLES:,} triangles"
    todo = "Export it with a coarser tolerance; 0.005 mm is enough for a fit"
    return BodyError([Problem(path.name, expected, counted, todo)])


def too_many_bodies(files: str, count: int, most: int) -> BodyError:
    """Return the error for more bodies than are met."""
    todo = "Give only those that meet, or join the shells of each body into one solid"
    return BodyError([Problem(files, f"at most {most} bodies", f"{count:,}", todo)])


def _damaged(path: Path, kind: str, fault: Exception) -> BodyError:
    got = f"one that is damaged ({str(fault)[:80] or type(fault).__name__})"
    return BodyError(
        [Problem(path.name, f"a whole {kind[1:].upper()} file", got, "Export it again")]
    )
