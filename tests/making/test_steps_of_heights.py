"""Heights between two upper faces, which stand free of the bed."""

import io

import numpy as np
import pytest
import trimesh

from coupons.errors import SpecError
from coupons.learning.design import as_feature
from coupons.making.bodies.proportions import JAW_CLEAR_MM
from coupons.making.output.solids import build_solids
from coupons.making.output.stl import stl_bytes
from coupons.making.plan import plan_coupon, record
from coupons.making.spec.coupon_spec import load_spec, parse_spec
from coupons.terms import Direction, Form, Jaws

ROW = (
    'title = "Steps"\n[[row]]\nkind = "sizes"\nform = "{}"\ndirection = "{}"\n'
    "sizes_mm = [4, 8, 30]\non_bed = {}\n"
)


def planned(text):
    return plan_coupon(parse_spec(text.encode(), "steps", "steps.toml"))


def test_the_upright_coupon_has_heights_from_the_bed_and_from_a_floor():
    heights = [
        feature
        for feature in record(plan_coupon(load_spec("upright"))).features
        if feature.form is Form.TONGUE and feature.direction is Direction.Z
    ]
    free = [feature for feature in heights if not feature.on_bed]
    assert len(free) == 5
    assert len(heights) - len(free) >= 6
    for feature in heights:
        lower_mm = feature.place_mm[2] - feature.size_mm / 2
        assert (abs(lower_mm) < 1e-6) is feature.on_bed is as_feature(feature).on_bed


def test_a_depth_rod_finds_the_drawn_height_beside_each_block():
    coupon = record(plan := planned(ROW.format("tongue", "z", "false")))
    (solid,) = build_solids(plan)
    mesh = trimesh.load(io.BytesIO(stl_bytes((solid,), "one", placed=True)), "stl")
    assert {reading.jaws for reading in coupon.readings} == {Jaws.DEPTH}
    for feature in coupon.features:
        x, y, _ = feature.place_mm
        half_mm = max(7.0, feature.size_mm / 3) / 2
        top, near, far = (
            float(mesh.ray.intersects_location([[at, y, 100]], [[0, 0, -1]])[0][:, 2].max())
            for at in (x, x - half_mm - 0.1, x - half_mm - JAW_CLEAR_MM + 0.1)
        )
        assert near == far, "a level floor to its left, as wide as a jaw needs"
        assert near > 1.0
        assert top - near == pytest.approx(feature.size_mm, abs=1e-4)


@pytest.mark.parametrize(("form", "direction"), [("slot", "z"), ("tongue", "x"), ("pin", "z")])
def test_other_sizes_have_no_upper_face_below(form, direction):
    with pytest.raises(SpecError, match="false for tongues across z alone"):
        planned(ROW.format(form, direction, "false"))


def test_heights_stand_on_the_bed_where_nothing_is_said():
    said = record(planned(ROW.format("tongue", "z", "true")))
    unsaid = record(planned(ROW.format("tongue", "z", "true").replace("on_bed = true\n", "")))
    assert said.features == unsaid.features
    assert np.allclose([f.place_mm[2] for f in said.features], [2, 4, 15])


@pytest.mark.parametrize("name", ["first", "upright", "round"])
def test_only_heights_stand_on_the_bed(name):
    for feature in record(plan_coupon(load_spec(name))).features:
        is_height = feature.form is Form.TONGUE and feature.direction is Direction.Z
        assert is_height or not feature.on_bed, feature.id
