"""Bodies drawn with the geometry kernel, and written as a design program would export them."""

import io
from pathlib import Path

import numpy as np
import trimesh
from manifold3d import CrossSection, Manifold

from coupons.answering.meshes.body import Body
from coupons.answering.meshes.mesh import merged, read_bodies


def box(x: float, y: float, z: float, at=(0.0, 0.0, 0.0)) -> Manifold:
    return Manifold.cube((x, y, z)).translate(at)


def round_bar(diameter: float, height: float, at=(0.0, 0.0, 0.0), sides: int = 64) -> Manifold:
    """A cylinder along z whose corners lie on the drawn circle."""
    return Manifold.cylinder(height, diameter / 2, diameter / 2, sides).translate(at)


def rounded_plate(x: float, y: float, z: float, radius: float, sides: int = 64) -> Manifold:
    corners = [
        CrossSection.circle(radius, sides).translate((i * (x / 2 - radius), j * (y / 2 - radius)))
        for i in (-1, 1)
        for j in (-1, 1)
    ]
    return Manifold.extrude(CrossSection.batch_hull(corners), z)


def as_trimesh(solid: Manifold) -> trimesh.Trimesh:
    mesh = solid.to_mesh64()
    return trimesh.Trimesh(mesh.vert_properties[:, :3], mesh.tri_verts, process=False)


def write(solid: Manifold | trimesh.Trimesh, path: Path) -> Path:
    """Write a solid in the format of the path's ending; STL, OBJ or PLY."""
    mesh = as_trimesh(solid) if isinstance(solid, Manifold) else solid
    mesh.export(path)
    return path


def drawn(solid: Manifold, name: str = "body") -> Body:
    """A solid as a body, its corners rounded to 32 bits as in a file."""
    mesh = solid.to_mesh64()
    corners = np.asarray(mesh.vert_properties[:, :3])[np.asarray(mesh.tri_verts)]
    return Body(name, f"{name}.stl", *merged(corners.astype(np.float32).astype(np.float64)))


def threemf(objects: str, build: str, unit: str = "millimeter", more=()) -> bytes:
    """A 3MF package with this text of resources and build."""
    core = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
    start = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
    relations = "http://schemas.openxmlformats.org/package/2006/relationships"
    production = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
    text = (
        f'<model unit="{unit}" xmlns="{core}" xmlns:p="{production}">'
        f"<resources>{objects}</resources><build>{build}</build></model>"
    )
    import zipfile

    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as package:
        package.writestr(
            "_rels/.rels",
            f'<Relationships xmlns="{relations}"><Relationship Id="a" Type="{start}" '
            'Target="/3D/main.model"/></Relationships>',
        )
        package.writestr("3D/main.model", text)
        for name, other in more:
            package.writestr(
                name,
                f'<model unit="{unit}" xmlns="{core}"><resources>{other}</resources><build/>'
                "</model>",
            )
    return buffer.getvalue()


def threemf_object(solid: Manifold, number: int, name: str = "") -> str:
    mesh = solid.to_mesh64()
    vertices = "".join(
        f'<vertex x="{x!r}" y="{y!r}" z="{z!r}"/>'
        for x, y, z in np.asarray(mesh.vert_properties[:, :3]).tolist()
    )
    triangles = "".join(
        f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in np.asarray(mesh.tri_verts).tolist()
    )
    return (
        f'<object id="{number}" type="model" name="{name}"><mesh><vertices>{vertices}</vertices>'
        f"<triangles>{triangles}</triangles></mesh></object>"
    )


def read_one(path: Path, units=None) -> Body:
    (body,) = read_bodies([path], units).bodies
    return body
