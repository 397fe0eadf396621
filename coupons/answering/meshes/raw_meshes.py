"""Mesh files as triangles in the file's own unit, before anything is checked.

STL, OBJ and PLY are read by the general mesh library. It reads 3MF only with two more libraries,
unpacks all of it first and leaves the unit to the caller; so `threemf_objects` reads 3MF.
"""

import errno
import io
import logging
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from coupons.answering.meshes.threemf_objects import TooManyError, read_objects
from coupons.errors import BodyError, Problem
from coupons.reading import read_plain

MOST_TRIANGLES = 2_000_000
"""In one file: about what a computer at home meets in a minute."""
KINDS = (".stl", ".3mf", ".obj", ".ply")
_MOST_BYTES = 640_000_000  # STL as text has up to 320 bytes a triangle
_STL_HEAD, _STL_TRIANGLE = 84, 50
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
    """

    name: str
    corners: NDArray[np.float64]
    unit: str


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
    data = _bytes_of(path)
    counted = _announced(kind, data)
    if counted > MOST_TRIANGLES:
        raise _too_many(path, f"{counted:,}")
    try:
        found = read_objects(data, MOST_TRIANGLES) if kind == ".3mf" else _loaded(kind, data)
    except TooManyError:
        raise _too_many(path, "more") from None
    except Exception as fault:  # whatever a damaged file makes the library raise
        raise _damaged(path, kind, fault) from None
    raw = tuple(RawMesh(name, corners, unit) for name, corners, unit in found if len(corners))
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


def _announced(kind: str, data: bytes) -> int:
    """Return how many triangles a file says that it holds, or how many of its lines begin one."""
    if kind == ".stl":
        said = int.from_bytes(data[80:_STL_HEAD], "little")
        if len(data) == _STL_HEAD + _STL_TRIANGLE * said:
            return said
        return data.count(b"facet normal")
    if kind == ".ply":
        said_faces = re.search(rb"element\s+face\s+(\d+)", data[:4096])
        return int(said_faces[1]) if said_faces else 0
    if kind == ".obj":  # a face with many corners is many triangles
        return sum(max(len(face[0].split()) - 3, 0) for face in _OBJ_FACE.finditer(data))
    return 0


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
        (name if several else "", np.asarray(mesh.vertices, float)[mesh.faces], "")
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


def _damaged(path: Path, kind: str, fault: Exception) -> BodyError:
    got = f"one that is damaged ({str(fault)[:80] or type(fault).__name__})"
    return BodyError(
        [Problem(path.name, f"a whole {kind[1:].upper()} file", got, "Export it again")]
    )
