"""Binary STL: one file per plate with its bodies as printed, and one per body."""

import numpy as np
from numpy.typing import NDArray

from coupons.making.output.solids import Solid

_FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])


def stl_bytes(solids: tuple[Solid, ...], title: str, *, placed: bool) -> bytes:
    """Return a binary STL of the solids; ``placed`` moves each to where it stands on its plate."""
    return facets_bytes(np.concatenate([_corners(solid, placed) for solid in solids]), title)


def _corners(solid: Solid, placed: bool) -> NDArray[np.float64]:
    shift = np.array(solid.origin_mm if placed else (0, 0, 0), dtype=np.float64)
    corners: NDArray[np.float64] = solid.vertices_mm.astype(np.float64)[solid.triangles] + shift
    return corners


def facets_bytes(corners_mm: NDArray[np.float64], title: str) -> bytes:
    """Return a binary STL of triangles, shape (n, 3, 3).

    The header names the content and, as readers guess, the unit: millimetres.
    """
    header = f"{title}, units: mm".encode("ascii", "replace")[:80].ljust(80, b" ")
    normals = np.cross(corners_mm[:, 1] - corners_mm[:, 0], corners_mm[:, 2] - corners_mm[:, 0])
    lengths = np.linalg.norm(normals, axis=1, keepdims=True)
    facets = np.zeros(len(corners_mm), dtype=_FACET)
    facets["normal"] = normals / np.where(lengths > 0, lengths, 1)
    facets["corners"] = corners_mm
    return header + np.uint32(len(facets)).tobytes() + facets.tobytes()
