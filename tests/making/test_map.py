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


def test_plates_stand_one_below_the_other_each_in_a_frame_around_its_bodies():
    plan = plan_coupon(load_spec("first"), bed_mm=(120.0, 120.0))
    assert plan.plates > 1
    root = ElementTree.fromstring(map_svg(plan))
    bottom = 9.5  # below the title
    for plate in root.iter(f"{SVG}g"):
        if plate.get("data-plate") is None:
            continue
        words, frame = plate.find(f"{SVG}text"), plate.find(f"{SVG}rect")
        assert f"Plate {plate.get('data-plate')} of {plan.plates}," in words.text
        assert "120 × 120 mm" in words.text
        left, top, width, high = (float(frame.get(k)) for k in ("x", "y", "width", "height"))
        assert top == pytest.approx(bottom + 7.0), "a line of words stands above it"
        assert bottom < float(words.get("y")) < top
        ends = [
            float(number)
            for path in plate.iter(f"{SVG}path")
            if path.get("stroke-linejoin") == "round" and path.get("fill") != "none"
            for pair in path.get("d").strip("Mz").split("L")
            for number in pair.split()
        ]
        # Four millimetres of frame all around the bodies.
        assert (min(ends[::2]), max(ends[::2])) == pytest.approx((left + 4, left + width - 4))
        assert (min(ends[1::2]), max(ends[1::2])) == pytest.approx((top + 4, top + high - 4))
        assert left == 2.0, "two millimetres of paper beside it"
        bottom = top + high
    wide, whole = (float(each) for each in root.get("viewBox").split()[2:])
    assert wide >= left + width + 2
    legend = [g for g in root.findall(f"{SVG}g") if g.get("transform")]
    places = [tuple(map(float, re.findall(r"[\d.]+", g.get("transform")))) for g in legend]
    assert all(bottom < y < whole - 1 for _, y in places)
    assert len(set(places)) == len(places)


@pytest.mark.parametrize(
    ("name", "absent"),
    [
        ("first", {"caliper vertical, along z"}),
        ("upright", set()),
        ("spans", {"caliper vertical, along z", "loose", "drawn gap"}),
        ("hardware", {"loose"}),
    ],
)
def test_the_legend_lists_the_marks_that_are_used(name, absent):
    root = ElementTree.fromstring(map_svg(plan_coupon(load_spec(name))))
    told = [t.text for g in root.findall(f"{SVG}g") if g.get("transform") for t in g]
    told = [words for words in told if words and not words.startswith("+")]
    listed = ["fixed", "caliper jaw", "caliper vertical, along z", "loose", "drawn gap"]
    expected = [mark for mark in listed if mark not in absent]
    assert len(told) == len(expected)
    assert all(words.startswith(mark) for words, mark in zip(told, expected, strict=True))
