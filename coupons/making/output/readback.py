"""Print files read back, before any is written, as another program would read them.

Two readers: the general mesh library for STL, and for 3MF the plain text of its model part. Each
body must be closed and hold the volume that the geometry kernel gave it.
"""

import io
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from xml.etree import ElementTree

import numpy as np
from numpy.typing import NDArray

from coupons.errors import Problem
from coupons.making.output.solids import Solid
from coupons.making.output.threemf import CORE_NAMESPACE, MODEL_PATH

VOLUME_SHARE = 1e-4
"""Volumes may differ by this share: 32-bit corners move them by 1e-6, a lost triangle by more."""
_TODO = "This is a fault of the tool: nothing was written; please report it with the spec"
_CORE = f"{{{CORE_NAMESPACE}}}"


def read_back(
    files: Mapping[str, bytes], plates: Mapping[str, Sequence[Solid]]
) -> Iterator[Problem]:
    """Yield what does not read back as the solids that were written.

    Parameters
    ----------
    files : mapping of str to bytes
        Print files by name; the ending tells the format.
    plates : mapping of str to sequence of Solid
        What each of the files to read holds. Other files are not read.
    """
    for name, solids in plates.items():
        read = _read_3mf if name.endswith(".3mf") else _read_stl
        yield from _differences(name, solids, read(files[name]))


def _differences(
    name: str, solids: Sequence[Solid], found: Mapping[str, tuple[bool, float]]
) -> Iterator[Problem]:
    """Compare bodies, or for a file without names the plate as a whole, under the empty name."""
    wanted = {solid.body: solid.volume_mm3 for solid in solids}
    if set(found) == {""}:
        wanted = {"": sum(wanted.values())}
    if set(found) != set(wanted):
        yield Problem(name, f"bodies {', '.join(wanted)}", ", ".join(found) or "none", _TODO)
        return
    for body, (is_closed, volume_mm3) in found.items():
        where = f"{name} {body}".strip()
        if not is_closed:
            yield Problem(where, "a closed surface", "one with gaps", _TODO)
        elif abs(volume_mm3 - wanted[body]) > VOLUME_SHARE * wanted[body]:
            yield Problem(where, f"{wanted[body]:.2f} mm³", f"{volume_mm3:.2f} mm³", _TODO)


def _read_stl(data: bytes) -> dict[str, tuple[bool, float]]:
    import trimesh

    mesh = trimesh.load_mesh(io.BytesIO(data), file_type="stl")
    return {"": (bool(mesh.is_watertight), float(mesh.volume))}


def _read_3mf(data: bytes) -> dict[str, tuple[bool, float]]:
    import trimesh

    with zipfile.ZipFile(io.BytesIO(data)) as package:
        model = ElementTree.fromstring(package.read(MODEL_PATH))
    found = {}
    for one in model.iter(f"{_CORE}object"):
        vertices = _numbers(one.iter(f"{_CORE}vertex"), ("x", "y", "z"))
        triangles = _numbers(one.iter(f"{_CORE}triangle"), ("v1", "v2", "v3")).astype(int)
        mesh = trimesh.Trimesh(vertices, triangles, process=False)
        found[one.get("name", "")] = bool(mesh.is_watertight), float(mesh.volume)
    return found


def _numbers(
    elements: Iterator[ElementTree.Element], names: tuple[str, str, str]
) -> NDArray[np.float64]:
    rows = [[float(one.attrib[name]) for name in names] for one in elements]
    return np.array(rows, float).reshape(-1, 3)
