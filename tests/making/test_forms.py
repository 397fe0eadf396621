"""Every form in every direction, read back from the exported mesh by rays of another library."""

import io
import json
import math
from dataclasses import replace

import numpy as np
import pytest
import trimesh
from support.directions import VECTORS

from coupons.making.output.agreement import disagreements
from coupons.making.output.solids import LETTER, build_solids
from coupons.making.output.stl import stl_bytes
from coupons.making.plan import Plan, plan_coupon, record
from coupons.making.record import CouponFeature, read_coupon
from coupons.making.spec.coupon_spec import parse_spec


def fit(form: str, direction: str, size: float = 4, gaps: str = "[0, 0.2, 0.4]") -> str:
    return (
        f'[[row]]\nkind = "fit"\nform = "{form}"\ndirection = "{direction}"\n'
        f"size_mm = {size}\ngaps_mm = {gaps}\n"
    )


ALL_FORMS = 'title = "All forms"\n' + "".join(
    [
        *(fit(form, axis, 6) for form in ("hole", "pin") for axis in "xyz"),
        *(fit(form, d) for form in ("slot", "tongue") for d in ("x", "y", "z", "x+y", "x-y")),
        '[[row]]\nkind = "spans"\ndirection = "x"\ntongues_mm = [3, 8]\nslots_mm = [12]\n',
        '[[row]]\nkind = "spans"\ndirection = "x-y"\ntongues_mm = [8, 20]\nslots_mm = [10]\n',
        '[[row]]\nkind = "swell"\ndirection = "x"\ntongues_mm = [16]\nslots_mm = [8]\n',
        '[[row]]\nkind = "swell"\ndirection = "y"\ntongues_mm = [16]\nslots_mm = [8]\n',
        '[[row]]\nkind = "sizes"\nform = "tongue"\ndirection = "z"\nsizes_mm = [2, 4, 12]\n',
    ]
)

ACROSS_AXIS = {"x": ("y",), "y": ("x",), "z": ("x", "y", "x+y")}


@pytest.fixture(scope="module")
def plan() -> Plan:
    return plan_coupon(parse_spec(ALL_FORMS.encode(), "all", "all.toml"))


@pytest.fixture(scope="module")
def meshes(plan: Plan) -> dict[str, trimesh.Trimesh]:
    return {
        solid.body: trimesh.load(io.BytesIO(stl_bytes((solid,), "one", placed=True)), "stl")
        for solid in build_solids(plan)
    }


def width(mesh: trimesh.Trimesh, place: tuple, along: tuple, *, outermost: bool) -> float:
    """Distance between the faces met on both sides of a place, nearest or outermost."""
    total = 0.0
    # A little aside of the middle, so that no ray runs along an edge of the mesh.
    start = np.array(place) + np.array([0.0131, 0.0172, 0.0093]) * (1 - np.abs(along))
    for sign in (1, -1):
        ray = sign * np.array(along, float)
        hits, _, _ = mesh.ray.intersects_location([start], [ray])
        away = (hits - start) @ ray
        total += away.max() if outermost else away[away > 1e-6].min()
    return float(total)


def directions(feature: CouponFeature) -> tuple[str, ...]:
    if feature.form in ("hole", "pin"):
        return ACROSS_AXIS[feature.direction]
    return (feature.direction,)


@pytest.mark.slow
def test_every_drawn_size_is_in_the_mesh(plan, meshes):
    coupon = record(plan)
    kinds = {(f.form, f.direction, f.role) for f in coupon.features}
    assert len(kinds) > 35
    for feature in coupon.features:
        x, y, z = feature.place_mm
        place = (x, y, z + 0.3) if feature.at_bed else (x, y, z)
        whole = feature.role == "span" and feature.id[-1] in "WXY"
        for direction in directions(feature):
            found = width(meshes[feature.body], place, VECTORS[direction], outermost=whole)
            assert found == pytest.approx(feature.size_mm, abs=0.005), (feature.id, direction)


def test_every_body_is_one_watertight_piece_on_the_bed(meshes):
    for name, mesh in meshes.items():
        assert mesh.is_watertight, name
        assert mesh.body_count == 1, name
        assert mesh.bounds[0][2] == pytest.approx(0, abs=1e-6), name


def test_flat_features_across_z_start_and_end_on_layers(plan):
    layer = plan.assumed.layer_height_mm
    upright = [
        f
        for f in record(plan).features
        if f.direction == "z" and f.form in ("slot", "tongue") and f.role != "span"
    ]
    assert len(upright) == 10
    for feature in upright:
        for face in (-0.5, 0.5):
            layers = (feature.place_mm[2] + face * feature.size_mm) / layer
            assert layers == pytest.approx(round(layers), abs=1e-6), feature.id


@pytest.mark.parametrize("form", ["hole", "slot"])
def test_both_mouths_of_a_window_have_a_lead_in(form):
    spec = parse_spec(
        ('title = "t"\n' + fit(form, "z" if form == "hole" else "x")).encode(), "t", "t"
    )
    plan = plan_coupon(spec)
    body = next(s for s in build_solids(plan) if s.body == "A")
    mesh = trimesh.load(io.BytesIO(stl_bytes((body,), "one", placed=True)), "stl")
    feature = next(f for f in record(plan).features if f.id == "A2")
    x, y, _ = feature.place_mm
    for z in (0.1, 3.5):
        found = width(mesh, (x, y, z), VECTORS["x"], outermost=False)
        assert found == pytest.approx(feature.size_mm + 2 * 0.3, abs=0.03)


def test_walls_between_neighbours_are_as_thick_as_asked(plan, meshes):
    """From the middle between two slots along x, the faces left and right are a wall apart."""
    features = {f.id: f for f in record(plan).features}
    row = next(f.row for f in features.values() if f.form == "slot" and f.direction == "x")
    a, b = features[f"{row}1"], features[f"{row}2"]
    middle = (a.place_mm[0] + a.size_mm / 2 + b.place_mm[0] - b.size_mm / 2) / 2
    place = (middle, a.place_mm[1], a.place_mm[2])
    assert width(meshes[row], place, VECTORS["x"], outermost=False) >= 3.0 - 1e-6


def test_a_seated_mate_stays_clear_of_raised_labels(plan, meshes):
    """Full depth: a pin's shoulder meets the plate before its foot could meet a label."""
    feature = next(f for f in record(plan).features if f.id == "CG")  # row C: holes along z
    assert (feature.form, feature.direction) == ("pin", "z")
    mesh = meshes["CG"]
    x, y, _ = feature.place_mm
    down = [[0.0, 0.0, -1.0]]
    just_outside = feature.size_mm / 2 + 0.3
    seat, _, _ = mesh.ray.intersects_location([[x + just_outside, y + 0.01, 50]], down)
    foot, _, _ = mesh.ray.intersects_location([[x + just_outside + 1.2, y + 0.01, 50]], down)
    assert seat[:, 2].max() - foot[:, 2].max() >= 0.6 + 0.3


@pytest.mark.slow
def test_nothing_but_windows_and_lying_posts_overhangs(plan):
    """No supports: a face that leans out more than 45° belongs to a short roof or a post's tip."""
    forms = {f.id: f for f in record(plan).features}
    for solid in build_solids(plan):
        corners = solid.vertices_mm.astype(float)[solid.triangles]
        normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        size = np.linalg.norm(normal, axis=1)
        leans = (
            (normal[:, 2] < -0.72 * size) & (size > 1e-4) & (corners[:, :, 2].max(axis=1) > 0.05)
        )
        for made_by in set(solid.made_by[leans].tolist()):
            assert made_by >= 0, (solid.body, "an overhang that is no feature's")
            feature = forms[solid.features[made_by]]
            lying = (feature.direction == "z") != (feature.form in ("hole", "pin"))
            assert lying, feature.id


@pytest.mark.slow
def test_a_ring_on_its_post_clears_the_labels_of_the_base(plan, meshes):
    fixed = [f for f in record(plan).features if f.form == "pin" and f.role == "fit"]
    pin = next(f for f in fixed if f.direction == "z")
    mesh = meshes[pin.body]
    x, y, _ = pin.place_mm
    down = [[0.0, 0.0, -1.0]]
    seat, _, _ = mesh.ray.intersects_location([[x + pin.size_mm / 2 + 0.6, y + 0.01, 50]], down)
    solid = next(s for s in build_solids(plan) if s.body == pin.body)
    top_of_letters = solid.vertices_mm[solid.triangles[solid.made_by == LETTER]][..., 2].max()
    assert seat[:, 2].max() >= top_of_letters + 0.3


def test_a_loose_pin_has_a_groove_for_its_seam_away_from_the_caliper(plan, meshes):
    pin = next(
        f for f in record(plan).features if (f.form, f.direction, f.role) == ("pin", "z", "gauge")
    )
    grooved = {}
    for degrees in np.arange(0, 180, 7.5):
        along = (math.cos(math.radians(degrees)), math.sin(math.radians(degrees)), 0)
        found = width(meshes[pin.body], pin.place_mm, along, outermost=False)
        grooved[degrees] = found < pin.size_mm - 0.05
    assert [degrees for degrees, groove in grooved.items() if groove] == [67.5]


def test_one_of_two_gauges_shows_its_seam_and_the_record_says_which(plan, meshes):
    pins = [f for f in record(plan).features if f.form == "pin"]
    along = (math.cos(math.radians(67.5)), math.sin(math.radians(67.5)), 0)
    loose = [f for f in pins if f.role == "gauge" and f.direction == "z"]
    assert [f.seam for f in loose] == ["hidden", "shown"]
    for pin in pins:
        if pin.direction == "z":
            found = width(meshes[pin.body], pin.place_mm, along, outermost=False)
            assert (found < pin.size_mm - 0.05) == (pin.seam == "hidden"), pin.id
        else:  # what lies has no groove
            assert pin.seam == "shown", pin.id
    assert all(f.seam is None for f in record(plan).features if f.form != "pin")


def test_a_record_that_says_nothing_of_seams_is_still_read(plan, tmp_path):
    old = record(plan).model_dump(mode="json")
    for feature in old["features"]:
        del feature["seam"]
    (tmp_path / "coupon.json").write_text(json.dumps(old))
    read = read_coupon(tmp_path / "coupon.json")
    assert {f.seam for f in read.features} == {None}
    assert len(read.features) == len(old["features"])


@pytest.mark.slow
def test_the_record_is_held_against_each_feature_s_own_triangles(plan):
    coupon, solids = record(plan), build_solids(plan)
    assert disagreements(coupon, solids) == []
    moved = tuple(
        f.model_copy(update={"place_mm": (f.place_mm[0] + 0.02, *f.place_mm[1:])})
        for f in coupon.features
    )
    found = disagreements(coupon.model_copy(update={"features": moved}), solids)
    # What is measured along y or z alone does not notice a shift along x.
    noticed = {p.where.removeprefix("feature ") for p in found}
    own = {name for solid in solids for name in solid.features}
    assert any(f.id not in own for f in coupon.features)  # lengths between faces of other parts
    for f in coupon.features:
        round_one = f.form in ("hole", "pin")
        across_x = f.direction != "x" if round_one else "x" in f.direction
        assert (f.id in noticed) == across_x, f.id


def test_a_length_that_the_solid_does_not_have_is_reported(plan):
    coupon, solids = record(plan), build_solids(plan)
    own = {name for solid in solids for name in solid.features}
    lengths = [f for f in coupon.features if f.id not in own]
    assert {f.direction for f in lengths} == {"x", "y", "x-y"}
    longer = tuple(f.model_copy(update={"size_mm": f.size_mm + 0.02}) for f in lengths)
    found = disagreements(coupon.model_copy(update={"features": longer}), solids)
    assert [p.where for p in found] == [f"feature {f.id}" for f in lengths]
    assert all("0.010 mm off" in str(p) for p in found)


@pytest.mark.slow
def test_a_feature_without_a_surface_is_reported(plan):
    solids = build_solids(plan)
    blank = tuple(replace(s, made_by=np.full_like(s.made_by, -1)) for s in solids)
    found = disagreements(record(plan), blank)
    assert len(found) == sum(len(s.features) for s in solids)
    assert str(found[0]).endswith("got none.")


@pytest.mark.slow
def test_a_surface_out_of_place_is_noticed_from_five_thousandths_on(plan):
    coupon, solids = record(plan), build_solids(plan)
    for direction, way in VECTORS.items():
        for off_mm, is_noticed in ((0.004, False), (0.006, True)):
            shift = off_mm * np.array(way)
            moved = tuple(
                f.model_copy(update={"place_mm": tuple(np.add(f.place_mm, shift))})
                for f in coupon.features
                if f.form in ("slot", "tongue") and f.direction == direction
            )
            assert moved
            found = disagreements(coupon.model_copy(update={"features": moved}), solids)
            assert bool(found) is is_noticed, (direction, off_mm)
