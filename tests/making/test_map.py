import re
from xml.etree import ElementTree

import pytest

from coupons.making.output.map import map_svg
from coupons.making.plan import plan_coupon, record
from coupons.making.spec.coupon_spec import load_spec, shipped_specs
from coupons.showing.pages.picture import read_picture

SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize("name", shipped_specs())
def test_each_feature_is_a_group_with_its_id(name):
    plan = plan_coupon(load_spec(name))
    root = ElementTree.fromstring(map_svg(plan))
    groups = [g.get("data-id") for g in root.iter(f"{SVG}g") if g.get("class") == "feature"]
    assert sorted(groups) == sorted(f.id for f in record(plan).features)


def test_the_map_is_to_scale_and_in_place():
    plan = plan_coupon(load_spec("first"))
    root = ElementTree.fromstring(map_svg(plan))
    assert root.get("width", "").removesuffix("mm") == root.get("viewBox", "").split()[2]
    circles = {
        g.get("data-id"): g.find(f"{SVG}circle")
        for g in root.iter(f"{SVG}g")
        if g.get("class") == "feature"
    }
    features = {f.id: f for f in record(plan).features}
    place = {
        i: (float(circles[i].get("cx")), float(circles[i].get("cy"))) for i in ("A1", "E5", "DG")
    }
    for i in place:
        assert 2 * float(circles[i].get("r")) == pytest.approx(features[i].size_mm, abs=1e-3)
    for a, b in (("A1", "E5"), ("A1", "DG")):
        assert place[b][0] - place[a][0] == pytest.approx(
            features[b].place_mm[0] - features[a].place_mm[0], abs=0.01
        )
        assert place[b][1] - place[a][1] == pytest.approx(
            features[a].place_mm[1] - features[b].place_mm[1], abs=0.01
        )


def test_gaps_are_written_on_what_is_tried():
    root = ElementTree.fromstring(map_svg(plan_coupon(load_spec("first"))))
    words = {
        g.get("data-id"): [t.text for t in g.iter(f"{SVG}text")]
        for g in root.iter(f"{SVG}g")
        if g.get("class") == "feature"
    }
    assert words["A1"] == ["−0.1"]
    assert words["A2"] == ["0"]
    assert words["B7"] == ["+0.6"]
    assert words["AG"] == []


def test_a_page_can_take_the_map_in_whole(tmp_path):
    """All that the map draws with is among what the pages let pass."""
    text = map_svg(plan_coupon(load_spec("upright")))
    path = tmp_path / "map.svg"
    path.write_text(text, encoding="utf-8")
    picture = read_picture(path)
    assert picture is not None
    taken = ElementTree.fromstring(
        f'<svg xmlns="http://www.w3.org/2000/svg">{picture.inside}</svg>'
    )
    drawn = list(ElementTree.fromstring(text).iter())[1:]
    kept = list(taken.iter())[2:]  # the root and the group that stands for it
    assert [(e.tag, e.attrib, e.text) for e in kept] == [(e.tag, e.attrib, e.text) for e in drawn]


def test_titles_say_what_a_feature_is_with_its_gap():
    plan = plan_coupon(load_spec("first"))
    told = re.findall(r'data-id="(\w+)"><title>([^<]*)</title>', map_svg(plan))
    coupon = record(plan)
    gaps = {trial.feature: trial.gap_mm for trial in coupon.trials}
    assert dict(told).keys() == {feature.id for feature in coupon.features}
    for feature in coupon.features:
        said = dict(told)[feature.id]
        words = f"{feature.id}: {feature.form} {feature.size_mm:g} mm, direction "
        assert said.startswith(f"{words}{feature.direction}")
        gap_mm = re.search(r"gap (\S+) mm", said)
        assert (gap_mm is not None) is (feature.id in gaps)
        if gap_mm:
            assert float(gap_mm[1].replace("−", "-")) == pytest.approx(gaps[feature.id])


def test_colours_tell_what_comes_loose():
    plan = plan_coupon(load_spec("first"))
    groups = re.findall(r'<g class="(loose|fixed)"><path d="[^"]*" fill="([^"]*)"', map_svg(plan))
    assert len(groups) == len(plan.placed)
    loose = sum(item.body.loose for item in plan.placed)
    assert [kind for kind, _ in groups].count("loose") == loose > 0
    assert len(dict(groups)) == len(set(groups)) == 2
