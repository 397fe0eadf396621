"""What the caliper is asked for is there to be read: its size, and room for the jaws beside it."""

import io

import numpy as np
import pytest
import trimesh
from support.directions import VECTORS

from coupons.making.output.solids import build_solids
from coupons.making.output.stl import stl_bytes
from coupons.making.plan import plan_coupon, record
from coupons.making.spec.coupon_spec import load_spec, parse_spec, shipped_specs
from coupons.terms import EXTERNAL

JAW_MM = 5.0

FORMED = '[[row]]\nkind = "{}"\nform = "{}"\ndirection = "{}"\n'
POSTS = 'title = "Posts"\n' + "".join(
    FORMED.format("sizes", form, direction) + "sizes_mm = [3, 4, 5, 8]\nlength_mm = 9\n"
    for form, direction in [
        *(("pin", axis) for axis in "xyz"),
        *(("tongue", axis) for axis in ("x", "y", "z", "x+y", "x-y")),
    ]
)
POSTS += "".join(
    FORMED.format("fit", form, direction) + "size_mm = 4\ngaps_mm = [0, 0.2, 0.4]\nread_every = 1\n"
    for form, direction in [
        *(("pin", axis) for axis in "xyz"),
        *(("tongue", axis) for axis in ("x", "y", "x+y", "x-y")),
        *(("hole", axis) for axis in "xyz"),
    ]
)
COUPONS = {name: load_spec(name) for name in shipped_specs()}
COUPONS["posts"] = parse_spec(POSTS.encode(), "posts", "posts.toml")


@pytest.fixture(scope="module", params=sorted(COUPONS))
def made(request):
    plan = plan_coupon(COUPONS[request.param], bed_mm=(300, 300))
    meshes = {
        solid.body: trimesh.load(io.BytesIO(stl_bytes((solid,), "one", placed=True)), "stl")
        for solid in build_solids(plan)
    }
    return record(plan), meshes


def hits_mm(mesh, start, ray):
    # A little aside, so that no ray runs along an edge of the mesh.
    aside = np.array([0.0131, 0.0172, 0.0093])
    start = np.array(start) + aside - (aside @ ray) * ray
    places, _, _ = mesh.ray.intersects_location([start], [ray])
    return np.sort((places - start) @ np.array(ray))


def asked(coupon):
    features = {feature.id: feature for feature in coupon.features}
    for reading in coupon.readings:
        feature = features[reading.feature]
        yield feature, reading.along or feature.direction.value


def test_every_size_that_is_asked_for_is_in_the_solid(made):
    coupon, meshes = made
    for feature, along in asked(coupon):
        x, y, z = feature.place_mm
        start = (x, y, z + 0.3 if feature.at_bed else z)
        ray = np.array(VECTORS[along])
        half = feature.size_mm / 2
        # The lower face of a step between upper faces lies beside it.
        for sign in (1,) if feature.on_bed is False else (1, -1):
            hits = hits_mm(meshes[feature.body], start, sign * ray)
            assert np.abs(hits - half).min() < 0.006, (feature.id, along)


def test_jaws_have_room_beside_every_post_that_they_read(made):
    """From each face outwards there is nothing for 5 mm, half way up and near the free end."""
    coupon, meshes = made
    roles = {"fit", "gauge", "span"}
    lengths = {bar.body for bar in coupon.bars}
    for feature, along in asked(coupon):
        posts = feature.form in EXTERNAL and feature.role in roles
        if not posts or along == "z" or feature.body in lengths:
            continue
        ray = np.array(VECTORS[along])
        for sign in (1, -1):
            hits = hits_mm(meshes[feature.body], feature.place_mm, sign * ray)
            beyond = hits[hits > feature.size_mm / 2 + 0.01]
            assert not len(beyond) or beyond.min() >= feature.size_mm / 2 + JAW_MM - 1e-3, (
                feature.id,
                along,
            )


def test_no_height_is_asked_of_a_pin_that_stands_on_a_flat(made):
    coupon, _ = made
    lying = [
        (feature, along)
        for feature, along in asked(coupon)
        if feature.form == "pin" and feature.direction != "z"
    ]
    assert all(along not in ("z", feature.direction) for feature, along in lying)
    counted = [feature.id for feature, _ in lying]
    assert len(counted) == len(set(counted))  # once each
