"""The wall beside every window is as thick as asked, cut corner and all."""

import io

import numpy as np
import pytest
import trimesh

from coupons.making.output.solids import build_solids
from coupons.making.output.stl import stl_bytes
from coupons.making.plan import plan_coupon, record
from coupons.making.spec.coupon_spec import load_spec, parse_spec, shipped_specs

LEAD_IN_MM = 0.4
ROW = (
    '[[row]]\nkind = "fit"\nform = "{}"\ndirection = "{}"\nsize_mm = 4\ngaps_mm = [0, 0.2]\n'
    "wall_mm = {}\n"
)
WINDOWS = 'title = "Windows"\n' + "".join(
    ROW.format(form, direction, wall)
    for wall in (3.0, 4.5)
    for form, direction in [
        *((form, axis) for form in ("hole", "pin") for axis in "xyz"),
        *((form, d) for form in ("slot", "tongue") for d in ("z", "x", "y", "x+y")),
    ][: 7 if wall > 4 else None]
)
SPECS = {name: (load_spec(name), None) for name in shipped_specs()}
SPECS["windows"] = (parse_spec(WINDOWS.encode(), "windows", "windows.toml"), (400, 400))


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(SPECS))
def test_end_walls_of_upright_windows_are_whole_at_both_mouths(name):
    """Level rays from the middle of each window, at many depths, through the walls beside it."""
    spec, bed = SPECS[name]
    plan = plan_coupon(spec, bed_mm=bed)
    walls = {letter: row.wall_mm for letter, row in zip(spec.row_ids(), spec.rows, strict=True)}
    solids = {solid.body: solid for solid in build_solids(plan)}
    bodies = {item.body.id: item.body for item in plan.placed}
    for feature in record(plan).features:
        flat = feature.form == "slot"
        if feature.form not in ("hole", "slot") or flat != (feature.direction == "z"):
            continue
        mesh = trimesh.load(
            io.BytesIO(stl_bytes((solids[feature.body],), "one", placed=True)), "stl"
        )
        through = np.array([1.0, 0, 0]) if feature.direction == "x" else np.array([0, 1.0, 0])
        along = np.array([-through[1], through[0], 0.0])
        (_, y0, _), (_, y1, _) = bodies[feature.body].box
        for share in np.linspace(-0.49, 0.49, 21):
            place = np.array(feature.place_mm) + share * (y1 - y0) * through + [0, 0, 0.0071]
            flare = max(0.0, LEAD_IN_MM - (0.5 - abs(share)) * (y1 - y0))
            for sign in (1, -1):
                places, _, _ = mesh.ray.intersects_location([place], [sign * along])
                hits = np.sort((places - place) @ (sign * along))
                mouths = 2 if len(hits) > 2 else 1  # the next window's mouth flares too
                assert hits[1] - hits[0] >= walls[feature.row] - mouths * flare - 0.01, feature.id


@pytest.mark.slow
def test_windows_of_plates_keep_a_wall_from_the_cut_corner():
    """In plan, at mid height: no point of a window is nearer to the outside than the wall."""
    spec, bed = SPECS["windows"]
    plan = plan_coupon(spec, bed_mm=bed)
    walls = {letter: row.wall_mm for letter, row in zip(spec.row_ids(), spec.rows, strict=True)}
    seen = 0
    for solid in build_solids(plan):
        features = [f for f in record(plan).features if f.body == solid.body and f.role != "span"]
        flat_on_bed = (
            f.form in ("hole", "slot") and (f.form == "slot") != (f.direction == "z")
            for f in features
        )
        if not all(flat_on_bed):
            continue
        mesh = trimesh.load(io.BytesIO(stl_bytes((solid,), "one", placed=True)), "stl")
        cut = mesh.section(plane_origin=(0, 0, 1.7), plane_normal=(0, 0, 1))
        loops = [np.asarray(loop)[:, :2] for loop in cut.discrete]
        outer = max(loops, key=lambda loop: np.prod(np.ptp(loop, axis=0)))
        for loop in loops:
            if loop is outer:
                continue
            seen += 1
            a, b = outer[:-1, None], outer[1:, None]
            share = ((loop - a) * (b - a)).sum(-1) / ((b - a) ** 2).sum(-1)
            nearest = a + np.clip(share, 0, 1)[..., None] * (b - a)
            away = np.linalg.norm(loop - nearest, axis=-1).min()
            assert away >= walls[features[0].row] - 0.002, solid.body
    assert seen >= 10
