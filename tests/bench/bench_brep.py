"""The same coupon built by an exact boundary-representation kernel: how long, and which volumes.

An extra that CI does not run: it needs a Python binding of such a kernel, `pip install
cadquery-ocp`, in an environment of its own. Twice: the bodies bare, and with their raised labels,
which are most of the work for either kernel. Run from the root of the project, for example

    PYTHONPATH=tests python tests/bench/bench_brep.py --spec first --json results/bench/brep.json
"""

import argparse
import json
import math
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut, BRepAlgoAPI_Fuse
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace, BRepBuilderAPI_MakePolygon
from OCP.BRepGProp import BRepGProp
from OCP.BRepMesh import BRepMesh_IncrementalMesh
from OCP.BRepOffsetAPI import BRepOffsetAPI_ThruSections
from OCP.BRepPrimAPI import BRepPrimAPI_MakePrism, BRepPrimAPI_MakeRevol
from OCP.collections import List_TopoDS_Shape
from OCP.gp import gp_Ax1, gp_Dir, gp_Pnt, gp_Vec
from OCP.GProp import GProp_GProps
from OCP.StlAPI import StlAPI_Writer
from scipy.spatial import ConvexHull

from coupons.making.bodies.built_bodies import BuiltBody
from coupons.making.bodies.lettering import PEN_MM, RAISED_MM, Stroke, line_strokes
from coupons.making.bodies.posts import SUNK_MM
from coupons.making.bodies.shapes import (
    CHORD_ERROR_MM,
    Loft,
    Part,
    Prism,
    Shape,
    Text,
    Turned,
    to_space,
)
from coupons.making.bodies.windows import OVER_MM
from coupons.making.output.solids import PEN_SIDES, TEXT_SUNK_MM, build_solids
from coupons.making.output.stl import stl_bytes
from coupons.making.plan import Plan, plan_coupon
from coupons.making.spec.coupon_spec import load_spec


def wire(points: list[tuple[float, float, float]]) -> Any:
    polygon = BRepBuilderAPI_MakePolygon()
    for point in points:
        polygon.Add(gp_Pnt(*point))
    polygon.Close()
    return polygon.Wire()


def exact(shape: Shape) -> Any:
    """The shape with true rounds."""
    match shape:
        case Loft():
            sections = BRepOffsetAPI_ThruSections(True, True)
            for at, outline in shape.levels:
                sections.AddWire(wire([to_space(shape.axis, at, p) for p in outline]))
            return sections.Shape()
        case Prism():
            start = [to_space(shape.axis, shape.start_mm, p) for p in shape.outline]
            way = gp_Vec(*to_space(shape.axis, shape.stop_mm - shape.start_mm, (0, 0)))
            face = BRepBuilderAPI_MakeFace(wire(start)).Face()
            return BRepPrimAPI_MakePrism(face, way).Shape()
        case Turned():
            a, b = shape.centre
            profile = [to_space(shape.axis, h, (a + r, b)) for r, h in shape.profile]
            about = gp_Ax1(gp_Pnt(*to_space(shape.axis, 0, (a, b))), direction(shape.axis))
            face = BRepBuilderAPI_MakeFace(wire(profile)).Face()
            return BRepPrimAPI_MakeRevol(face, about).Shape()
        case Text():
            x, y, z = shape.place
            strokes = [
                exact(Prism("z", pass_outline(stroke, x, y), z - TEXT_SUNK_MM, z + RAISED_MM))
                for stroke in line_strokes(shape.text)
            ]
            return combined(BRepAlgoAPI_Fuse, strokes[0], strokes[1:])


def pass_outline(stroke: Stroke, x: float, y: float) -> tuple[tuple[float, float], ...]:
    """The outline of one pass of the many-sided pen, counter-clockwise."""
    angles = [math.tau * (k + 0.5) / PEN_SIDES for k in range(PEN_SIDES)]
    r = PEN_MM / 2 / math.cos(math.pi / PEN_SIDES)
    ends = (stroke.start, stroke.stop)
    points = [(x + a + r * math.cos(t), y + b + r * math.sin(t)) for a, b in ends for t in angles]
    hull = ConvexHull(points)
    return tuple(points[k] for k in hull.vertices)


def direction(axis: Any) -> Any:
    return gp_Dir(*to_space(axis, 1, (0, 0)))


def combined(kind: Any, first: Any, others: list[Any]) -> Any:
    if not others:
        return first
    operation = kind()
    arguments, tools = List_TopoDS_Shape(), List_TopoDS_Shape()
    arguments.Append(first)
    for other in others:
        tools.Append(other)
    operation.SetArguments(arguments)
    operation.SetTools(tools)
    operation.Build()
    return operation.Shape()


def exact_body(body: BuiltBody) -> Any:
    added = [exact(part.shape) for part in body.parts if not part.cut]
    cut = [exact(part.shape) for part in body.parts if part.cut]
    whole = combined(BRepAlgoAPI_Fuse, added[0], added[1:])
    return combined(BRepAlgoAPI_Cut, whole, cut)


def volume(shape: Any) -> float:
    properties = GProp_GProps()
    BRepGProp.VolumeProperties_s(shape, properties)
    return float(properties.Mass())


def rounds_excess(body: BuiltBody) -> float:
    """What many-sided rounds add to the volume of a body, by the polygon identities."""
    total = 0.0
    for part in body.parts:
        if isinstance(part.shape, Turned):
            n = part.shape.sides()
            if part.shape.outside:
                ratio = n / math.pi * math.tan(math.pi / n)
            else:
                ratio = n / math.tau * math.sin(math.tau / n)
            sign = -1 if part.cut else 1
            total += sign * (part.shape.volume_mm3() - hidden(part)) * (ratio - 1)
    return total


def hidden(part: Part) -> float:
    """The volume of a round that is no face of the body: over a cut's mouths, within a base."""
    assert isinstance(part.shape, Turned)
    rim = part.shape.profile[1][0]
    if part.cut:  # both mouths are alike, flared at 45°
        low = rim - OVER_MM
        return 2 * math.pi / 3 * OVER_MM * (rim**2 + rim * low + low**2)
    return math.pi * rim**2 * SUNK_MM


def bare(plan: Plan) -> Plan:
    placed = []
    for item in plan.placed:
        parts = tuple(p for p in item.body.parts if not isinstance(p.shape, Text))
        placed.append(replace(item, body=replace(item.body, parts=parts)))
    return replace(plan, placed=tuple(placed))


def compare(plan: Plan) -> dict[str, Any]:
    build_solids(plan)  # the first call fills caches on our side, as importing did on the other
    start = time.perf_counter()
    solids = build_solids(plan)
    stl_bytes(solids, "bench", placed=True)
    ours = time.perf_counter() - start
    start = time.perf_counter()
    shapes = [exact_body(item.body) for item in plan.placed]
    with tempfile.TemporaryDirectory() as folder:
        for number, shape in enumerate(shapes):
            BRepMesh_IncrementalMesh(shape, CHORD_ERROR_MM, False, 0.5, False)
            StlAPI_Writer().Write(shape, str(Path(folder) / f"{number}.stl"))
    theirs = time.perf_counter() - start
    worst = max(
        abs(solid.volume_mm3 - rounds_excess(item.body) - volume(shape)) / volume(shape)
        for item, solid, shape in zip(plan.placed, solids, shapes, strict=True)
    )
    return {
        "ours_s": ours,
        "exact_kernel_s": theirs,
        "times_faster": theirs / ours,
        "worst_relative_volume_difference": worst,
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--spec", default="first")
    parser.add_argument("--json", type=Path, help="write the figures here")
    chosen = parser.parse_args()
    plan = plan_coupon(load_spec(chosen.spec))
    figures = {
        "command": f"PYTHONPATH=tests python tests/bench/bench_brep.py --spec {chosen.spec}",
        "bodies": len(plan.placed),
        "bare": compare(bare(plan)),
        "with_labels": compare(plan),
    }
    for kind in ("bare", "with_labels"):
        for name, value in figures[kind].items():
            print(f"{kind:<13}{name:<34}{value:.4g}")
    if chosen.json:
        chosen.json.parent.mkdir(parents=True, exist_ok=True)
        chosen.json.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
