"""The contact of a row's pairs, as the record holds it, against the solids and by hand."""

import numpy as np
import pytest
import shapely
import trimesh

from coupons.making.output.map import map_svg
from coupons.making.output.solids import build_solids
from coupons.making.plan import plan_coupon, record
from coupons.making.record import LONG_CONTACT_MM, Coupon
from coupons.making.spec.coupon_spec import load_spec, shipped_specs


def test_every_trial_of_a_shipped_coupon_says_its_contact():
    for name in shipped_specs():
        for trial in record(plan_coupon(load_spec(name))).trials:
            assert trial.contact_mm == max(trial.deep_mm, trial.wide_mm or 0.0) > 1.0


def test_a_shipped_coupon_has_a_long_row_and_its_map_names_it():
    plan = plan_coupon(load_spec("sliding"))
    trials = record(plan).trials
    long = {t.feature[0] for t in trials if t.contact_mm >= LONG_CONTACT_MM}
    assert long == {"E"}
    assert max(t.contact_mm for t in trials if t.feature[0] not in long) < 7
    svg = map_svg(plan)
    assert "Row E is the long one: its pairs bear on each other over 20 mm." in svg
    _, _, _, high_mm = map(float, svg.split('viewBox="')[1].split('"')[0].split())
    line_y = float(svg.split(">Row E")[0].rsplit(' y="', 1)[1].split('"')[0])
    assert line_y < high_mm - 1, "all of it is on the paper"
    assert "the long one" not in map_svg(plan_coupon(load_spec("first")))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "tongue", "slot"), [("sliding", "AG", "A3"), ("first", "BG", "B4")]
)
def test_width_and_depth_are_those_of_the_solids(name, tongue, slot):
    """Cut a loose tongue and a slot level: their straight faces are as long as recorded."""
    plan = plan_coupon(load_spec(name))
    coupon = record(plan)
    trial = next(t for t in coupon.trials if (t.feature, t.mate) == (slot, tongue))
    places = {feature.id: feature for feature in coupon.features}
    solids = {solid.body: solid for solid in build_solids(plan)}

    def outline(id_, z_mm):
        solid = solids[places[id_].body]
        mesh = trimesh.Trimesh(solid.vertices_mm + np.array(solid.origin_mm), solid.triangles)
        cut = mesh.section(plane_origin=(0, 0, z_mm), plane_normal=(0, 0, 1))
        at = shapely.Point(places[id_].place_mm[:2])
        rings = [np.asarray(loop)[:, :2] for loop in cut.discrete]
        return min(
            (ring for ring in rings if shapely.Polygon(ring).contains(at)),
            key=lambda ring: shapely.Polygon(ring).area,
        )

    ring = outline(tongue, places[tongue].place_mm[2])
    side = places[tongue].place_mm[0] + places[tongue].size_mm / 2
    on_side = ring[abs(ring[:, 0] - side) < 1e-4, 1]
    assert np.ptp(on_side) == pytest.approx(trial.wide_mm, abs=1e-3)
    top_mm = 2 * places[slot].place_mm[2]
    straight = [
        z
        for z in np.arange(0.005, top_mm, 0.01)
        if abs(np.ptp(outline(slot, z)[:, 0]) - places[slot].size_mm) < 1e-4
    ]
    assert len(straight) * 0.01 == pytest.approx(trial.deep_mm, abs=0.02)


def test_a_record_of_before_says_no_contact():
    coupon = record(plan_coupon(load_spec("recheck")))
    data = coupon.model_dump(mode="json")
    for trial in data["trials"]:
        del trial["deep_mm"], trial["wide_mm"]
    assert {trial.contact_mm for trial in Coupon.model_validate(data).trials} == {None}
