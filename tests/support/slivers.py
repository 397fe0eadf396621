"""Meshes made worse than any program draws them: edges divided close to one of their ends."""

import numpy as np
import trimesh


def divided_near_ends(
    mesh: trimesh.Trimesh, times: int, share: float, seed: int
) -> trimesh.Trimesh:
    """Divide edges drawn by lot at a share of their length; the surface stays what it is."""
    rng = np.random.default_rng(seed)
    places = [np.array(place) for place in mesh.vertices]
    faces = [tuple(face) for face in mesh.faces]
    for _ in range(times):
        face, side = faces[rng.integers(len(faces))], int(rng.integers(3))
        one, two = face[side], face[(side + 1) % 3]
        places.append((1 - share) * places[one] + share * places[two])
        middle, kept = len(places) - 1, []
        for a, b, c in faces:
            for start, stop, other in ((a, b, c), (b, c, a), (c, a, b)):
                if {start, stop} == {one, two}:
                    kept += [(start, middle, other), (middle, stop, other)]
                    break
            else:
                kept.append((a, b, c))
        faces = kept
    return trimesh.Trimesh(np.array(places), np.array(faces), process=False)
