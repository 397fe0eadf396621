"""The exported mesh, read back by another library, shows what the record says."""

import io
from dataclasses import replace

import numpy as np
import pytest
import trimesh

from coupons.errors import PlanError
from coupons.making.bodies.shapes import Loft, Part, rectangle
from coupons.making.output.solids import Solid, build_solids
from coupons.making.output.stl import stl_bytes
from coupons.making.plan import Plan, plan_coupon, record
from coupons.making.spec.coupon_spec import load_spec


@pytest.fixture(scope="module")
def first() -> Plan:
    return plan_coupon(load_spec("first"))


@pytest.fixture(scope="module")
def solids(first: Plan) -> dict[str, Solid]:
    return {solid.body: solid for solid in build_solids(first)}


def read_back(*solids: Solid) -> trimesh.Trimesh:
    data = stl_bytes(tuple(solids), "read back", placed=True)
    return trimesh.load(io.BytesIO(data), file_type="stl")


def loops_at(mesh: trimesh.Trimesh, z_mm: float) -> list[np.ndarray]:
    section = mesh.section(plane_origin=(0, 0, z_mm), plane_normal=(0, 0, 1))
    return [np.asarray(loop)[:, :2] for loop in section.discrete]


def loop_around(loops: list[np.ndarray], place: tuple[float, float]) -> np.ndarray:
    """The smallest loop whose box holds the place."""
    boxes = [(loop.min(axis=0), loop.max(axis=0)) for loop in loops]
    inside = [
        i for i, (low, high) in enumerate(boxes) if np.all(low < place) and np.all(place < high)
    ]
    return loops[min(inside, key=lambda i: np.prod(boxes[i][1] - boxes[i][0]))]


def area(loop: np.ndarray) -> float:
    x, y = loop[:, 0], loop[:, 1]
    return abs(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1])) / 2


def across_flats(loop: np.ndarray) -> float:
    """Twice the distance from the middle to the nearest side."""
    middle = (loop.min(axis=0) + loop.max(axis=0)) / 2
    sides = np.diff(loop, axis=0)
    long = np.linalg.norm(sides, axis=1) > 1e-6
    away = loop[:-1][long] - middle
    cross = sides[long][:, 0] * away[:, 1] - sides[long][:, 1] * away[:, 0]
    normal = cross / np.linalg.norm(sides[long], axis=1)
    return 2 * float(np.abs(normal).min())


def test_every_body_is_one_watertight_piece_above_the_bed(solids):
    for solid in solids.values():
        mesh = read_back(solid)
        assert mesh.is_watertight, solid.body
        assert mesh.is_winding_consistent, solid.body
        assert mesh.body_count == 1, solid.body
        assert mesh.volume == pytest.approx(solid.volume_mm3, rel=1e-4), solid.body
        assert mesh.bounds[0][2] == pytest.approx(0, abs=1e-6), solid.body


@pytest.mark.slow
def test_rounds_have_their_drawn_diameter_across_flats_and_by_area(first, solids):
    rounds = [f for f in record(first).features if f.form in ("hole", "pin")]
    assert len(rounds) > 20
    for feature in rounds:
        x, y, z = feature.place_mm
        loop = loop_around(loops_at(read_back(solids[feature.body]), z), (x, y))
        by_area = 2 * np.sqrt(area(loop) / np.pi)
        if feature.role != "gauge" or feature.form == "hole":  # a loose pin has a seam groove
            assert by_area == pytest.approx(feature.size_mm, abs=0.005), feature.id
        if feature.form == "hole":
            assert across_flats(loop) == pytest.approx(feature.size_mm, abs=0.005), feature.id


def test_slots_and_tongues_have_their_drawn_width(first, solids):
    flats = [f for f in record(first).features if f.form in ("slot", "tongue") and f.role != "span"]
    assert len(flats) > 15
    for feature in flats:
        x, y, z = feature.place_mm
        loop = loop_around(loops_at(read_back(solids[feature.body]), z), (x, y))
        axis = 0 if feature.direction == "x" else 1
        width = float(np.ptp(loop[:, axis]))
        assert width == pytest.approx(feature.size_mm, abs=0.005), feature.id


def test_each_triangle_of_a_feature_lies_on_its_faces(first, solids):
    """Provenance: the triangles that a straight hole's cutter left are on its drawn cylinder."""
    feature = next(f for f in record(first).features if f.id == "A3")
    solid = solids["A"]
    of_hole = solid.triangles[solid.made_by == solid.features.index("A3")]
    points = solid.vertices_mm[np.unique(of_hole)] + solid.origin_mm
    straight = points[np.abs(points[:, 2] - feature.place_mm[2]) < 1.45]
    radii = np.hypot(*(straight[:, :2] - feature.place_mm[:2]).T)
    assert len(straight) > 100
    assert np.all(np.abs(radii - feature.size_mm / 2) < 0.003)
    assert np.hypot(*(points[:, :2] - feature.place_mm[:2]).T).max() < feature.size_mm / 2 + 0.5


def block(low: float, high: float, *, cut: bool = False) -> Part:
    section = rectangle((low, 0.0), (high, 5.0))
    return Part(Loft("z", ((0.0, section), (3.0, section))), cut=cut)


@pytest.mark.parametrize(
    ("parts", "words"),
    [
        ((block(0, 4), block(6, 9)), "2 separate pieces"),
        ((block(0, 9), block(4, 5, cut=True)), "2 separate pieces"),
        ((block(0, 4), block(-1, 6, cut=True)), "no volume"),
    ],
)
def test_a_body_that_the_kernel_makes_wrong_in_silence_is_caught(first, parts, words):
    """The kernel never raises; these solids are valid to it and useless to a printer."""
    broken = replace(first.placed[0].body, id="Z", parts=parts, features=())
    plan = replace(first, placed=(replace(first.placed[0], body=broken),))
    with pytest.raises(PlanError, match=f"body Z: expected one watertight solid, got {words}"):
        build_solids(plan)


def test_bodies_keep_their_distance(first):
    covers = [(item.plate, *item.cover()) for item in first.placed]
    for i, (plate_a, low_a, high_a) in enumerate(covers):
        for plate_b, low_b, high_b in covers[:i]:
            apart = (
                max(low_a[k] - high_b[k] for k in (0, 1)),
                max(low_b[k] - high_a[k] for k in (0, 1)),
            )
            assert plate_a != plate_b or max(apart) >= 4 - 1e-6
