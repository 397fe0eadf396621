"""Bodies with exact corners for tests of moved faces, and their faces by normal and place."""

import numpy as np
from manifold3d import CrossSection, Manifold

from coupons.answering.meshes.body import Body


def between(low, high) -> Manifold:
    """A block from corner to corner."""
    low, high = np.asarray(low, float), np.asarray(high, float)
    return Manifold.cube(tuple(high - low)).translate(tuple(low))


def prism(outline, high_mm: float) -> Manifold:
    """An outline in x and y, counter-clockwise, raised along z."""
    return Manifold.extrude(CrossSection([np.asarray(outline, float)]), high_mm)


def body_of(mesh, name: str = "body") -> Body:
    """A mesh as a body, its corners as they are."""
    return Body(name, f"{name}.stl", np.array(mesh.vertices), np.array(mesh.faces, dtype=np.int64))


def facing(mesh, normal, through=None, within_mm: float = 1e-3):
    """Triangles with this normal, and if given in the plane through this point."""
    normal = np.asarray(normal, float) / np.linalg.norm(normal)
    hit = mesh.face_normals @ normal > 1 - 1e-6
    if through is not None:
        off = (mesh.triangles_center - np.asarray(through, float)) @ normal
        hit &= np.abs(off) < within_mm
    return np.flatnonzero(hit)


def around_z(mesh, radius_mm: float, middle=(0.0, 0.0), within_mm: float = 0.02):
    """Triangles of a cylinder about z: flat along z, at a distance from its axis."""
    out = mesh.triangles - np.array([*middle, 0.0])
    far = np.linalg.norm(out[:, :, :2], axis=2)
    level = np.abs(mesh.face_normals[:, 2]) < 1e-6
    return np.flatnonzero(level & (np.abs(far - radius_mm) < within_mm).all(axis=1))
