"""Draw the bodies of the demo: the filter drawer of a school observatory's telescope.

They are drawn touching, as a designer leaves them: `coupons meet` finds where, and `coupons
relieve` gives the joints their gaps. Run it to draw them again::

    python tests/demo_bodies.py results/filter-drawer-bodies

It also meets them, writes the list with the fits chosen for each joint into ``met/``, and draws a
picture, ``bodies.png``, with the faces that meet in a darker colour.

A housing takes a drawer that slides in from above. Its lid is held by two pins, a spring clip in a
groove beside keeps it down. A cover on two screws swings on a hinge pin.
"""

import csv
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from manifold3d import CrossSection, Manifold

from coupons.answering.meet.meetings import Met, meet
from coupons.answering.meet.met_files import LIST, PAGE
from coupons.answering.meshes.mesh import read_bodies
from coupons.making.output.solids import Solid
from coupons.showing.bodies.meet_page import write_met

SIDES = 48


def block(low, high) -> Manifold:
    """A block from corner to corner."""
    size = tuple(float(b - a) for a, b in zip(low, high, strict=True))
    return Manifold.cube(size).translate(tuple(map(float, low)))


def rod(diameter_mm: float, at, high_mm: float, axis: str = "z") -> Manifold:
    """A cylinder from a point along an axis; its corners lie on the drawn circle."""
    solid = Manifold.cylinder(high_mm, diameter_mm / 2, diameter_mm / 2, SIDES)
    if axis == "y":
        solid = solid.rotate((-90, 0, 0))
    return solid.translate(tuple(map(float, at)))


def raised(outline, low_mm: float, high_mm: float) -> Manifold:
    """An outline in x and z, drawn out along y."""
    flat = CrossSection([np.asarray(outline, float)])
    return Manifold.extrude(flat, high_mm - low_mm).rotate((90, 0, 0)).translate((0, high_mm, 0))


HINGE = (-29.0, 17.0)


def housing() -> Manifold:
    """A box open at the top, with a groove for the clip and an ear for the hinge."""
    body = block((-22, -17, 0), (22, 17, 30))
    body += rod(13, (*HINGE, 0), 10) + block((-29, 10.5, 0), (-21, 17, 10))
    body -= block((-12, -9, 4), (12, 9, 31))
    body -= rod(12, (0, -18, 16), 36, "y")  # the light
    body -= block((18, -5, 12), (23, 5, 31))  # the clip's groove
    body -= rod(8, (*HINGE, -1), 12)
    for z in (5, 25):
        body -= rod(2.5, (17, 8, z), 10, "y")
    return body


def drawer() -> Manifold:
    """A frame for a filter, with a head that rests on the housing."""
    body = block((-12, -9, 6), (12, 9, 31)) + block((-22, -17, 30), (22, 17, 38))
    body -= block((18, -5, 29), (23, 5, 39))  # past the clip
    body -= block((-8, -6, 10), (8, 6, 39))
    body -= rod(12, (0, -18, 16), 36, "y")
    for x in (-15, 14):
        body -= rod(5, (x, 0, 31), 8)
    return body


def lid() -> Manifold:
    """A plate with two pins."""
    body = block((-22, -17, 38), (22, 17, 41)) - block((18, -5, 37), (23, 5, 42))
    for x in (-15, 14):
        body += rod(5, (x, 0, 32), 7)
    return body


def clip() -> Manifold:
    """A spring with a foot in the groove of the housing, and a hook over the lid."""
    outline = [(18, 12), (22, 12), (22, 30.5), (24, 30.5), (24, 44), (16.5, 44), (16.5, 41)]
    outline += [(22.4, 41), (22.4, 32), (20, 29), (18, 29)]
    return raised(outline, -5, 5)


def cover() -> Manifold:
    """A plate with an ear for the hinge, on two screws."""
    body = block((-22, 17, 0), (22, 20, 30))
    body += rod(13, (*HINGE, 10.5), 10) + block((-29, 17, 10.5), (-21, 20, 20.5))
    body -= rod(8, (*HINGE, 10), 11)
    for z in (5, 25):
        body -= rod(3, (17, 16, z), 5, "y")
    return body


def hinge_pin() -> Manifold:
    """A pin through both ears."""
    return rod(8, (*HINGE, 0), 20.5)


BODIES = {
    "housing": housing,
    "drawer": drawer,
    "lid": lid,
    "clip": clip,
    "cover": cover,
    "hinge-pin": hinge_pin,
}
UPS = {"clip": "x"}
"""The clip is printed lying on its back; all others as they are drawn."""
FITS = {
    ("clip", "housing"): ("push", ""),
    ("drawer", "housing"): ("slide", ""),
    ("lid", "drawer"): ("push", ""),
    ("hinge-pin", "housing"): ("push", "internal"),
    ("hinge-pin", "cover"): ("slide", "internal"),
}
"""Fit of each joint and the body that moves, by its external and its internal body."""


def draw(folder: Path) -> None:
    """Write each body as STL, and a picture of all with the faces that meet."""
    from coupons.atomic import write_bytes
    from coupons.making.output.preview import preview_png
    from coupons.making.output.stl import facets_bytes

    for name, make in BODIES.items():
        solid = Manifold(make().to_mesh())  # once through 32 bits, as the file will be
        mesh = solid.to_mesh()
        corners = np.asarray(mesh.vert_properties[:, :3])[np.asarray(mesh.tri_verts)]
        data = facets_bytes(corners.astype(np.float64), f"coupon body {name}")
        write_bytes(folder / f"{name}.stl", data)
    paths = [folder / f"{name}.stl" for name in sorted(BODIES)]
    met = meet(read_bodies(paths).bodies, UPS)
    (folder / "met" / LIST).unlink(missing_ok=True)  # edited below, so never replaced unasked
    write_met(met, folder / "met", paths, ups=UPS)
    (folder / "met" / PAGE).unlink()  # long, and made again by `coupons meet`
    _choose_fits(folder / "met" / LIST)
    seen = tuple(_seen(met))
    inserted = frozenset(one.body for one in seen) - {"housing", "cover"}
    write_bytes(folder / "bodies.png", preview_png(seen, inserted))


def _choose_fits(path: Path) -> None:
    """Edit the list as a designer does: the fit of each joint, and which body moves."""
    with path.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        row["move"] = ""
        if row["alone"]:
            continue  # what goes into a hole that meets no body is chosen on another day
        row["fit"], row["move"] = FITS[row["external_body"], row["internal_body"]]
    columns = [*list(rows[0])[:6], "move", *list(rows[0])[6:-1]]
    with path.open("w", encoding="utf-8-sig", newline="") as file:
        writer = csv.DictWriter(file, columns, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def _seen(met: Met) -> Iterator[Solid]:
    """Yield the bodies side by side, the faces that meet marked."""
    x = 0.0
    shown = sorted(enumerate(met.bodies), key=lambda one: list(BODIES).index(one[1].body.name))
    for number, one in shown:
        body = one.body
        marked = np.full(len(body.triangles), -1, dtype=np.int32)
        for joint in met.joints:
            for contact in joint.contacts:
                for at, regions in zip(contact.bodies, contact.regions, strict=True):
                    for region in regions if at == number else ():
                        marked[region.faces] = 0
        # The lid is shown on its back, with its pins up.
        turned = body.vertices_mm * ((1, -1, -1) if body.name == "lid" else (1, 1, 1))
        low, high = turned.min(axis=0), turned.max(axis=0)
        yield Solid(
            body=body.name,
            plate=1,
            origin_mm=(x, 0.0, 0.0),
            vertices_mm=(turned - low).astype(np.float32),
            triangles=body.triangles.astype(np.uint32),
            made_by=marked,
            features=("meets",),
            volume_mm3=body.volume_mm3,
        )
        x += float(high[0] - low[0]) + 10


if __name__ == "__main__":
    draw(Path(sys.argv[1]))
