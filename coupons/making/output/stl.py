"""Binary STL: one file per plate with its bodies as printed, and one per body."""

import numpy as np
from numpy.typing import NDArray

from coupons.making.output.solids import Solid

_FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])


def stl_bytes(solids: tuple[Solid, ...], title: str, *, placed: bool) -> bytes:
    """Return a binary STL of the solids; ``placed`` moves each to where it stands on its plate.

    The header names the content and, as readers guess, the unit: millimetres.
    """
    header = f"{title}, units: mm".encode("ascii", "replace")[:80].ljust(80, b" ")
    facets = np.concatenate([_facets(solid, placed) for solid in solids])
    return header + np.uint32(len(facets)).tobytes() + facets.tobytes()


def _facets(solid: Solid, placed: bool) -> NDArray[np.void]:
    shift = np.array(solid.origin_mm if placed else (0, 0, 0), dtype=np.float64)
    corners = solid.vertices_mm.astype(np.float64)[solid.triangles] + shift
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    lengths = np.linalg.norm(normals, axis=1, keepdims=True)
    facets = np.zeros(len(corners), dtype=_FACET)
    facets["normal"] = normals / np.where(lengths > 0, lengths, 1)
    facets["corners"] = corners
    return facets
