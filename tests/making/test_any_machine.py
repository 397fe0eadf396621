"""Every shipped coupon, made for other nozzles and layers: nothing is refused, the rest follows."""

import numpy as np
import pytest

from coupons.making.bodies.proportions import nearest_layers
from coupons.making.bodies.shapes import Text
from coupons.making.output.agreement import faults_of
from coupons.making.output.solids import build_solids
from coupons.making.plan import Plan, plan_coupon, record
from coupons.making.spec.coupon_spec import load_spec, parse_spec, shipped_specs

NOZZLES = (0.25, 0.3, 0.4, 0.5, 0.6, 0.8)
LAYERS = (0.05, 0.06, 0.08, 0.1, 0.12, 0.15, 0.16, 0.2, 0.24, 0.28, 0.3, 0.35, 0.4, 0.45, 0.5, 0.6)
MACHINES = [
    (nozzle, layer)
    for nozzle in NOZZLES
    for layer in sorted({*LAYERS, round(0.2 * nozzle, 4), round(0.75 * nozzle, 4)})
    if 0.2 * nozzle - 1e-9 <= layer <= 0.75 * nozzle + 1e-9
]
SOME = [(0.25, 0.05), (0.25, 0.15), (0.4, 0.12), (0.4, 0.28), (0.6, 0.45), (0.8, 0.6), (0.8, 0.3)]


def planned(name: str, nozzle: float, layer: float) -> Plan:
    return plan_coupon(load_spec(name), nozzle_mm=nozzle, layer_height_mm=layer)


def boxes_meet(a, b) -> bool:
    return all(a[0][k] < b[1][k] - 1e-6 and b[0][k] < a[1][k] - 1e-6 for k in (0, 1))


def assert_labels_apart(plan: Plan) -> None:
    for item in plan.placed:
        (x0, y0, _), (x1, y1, _) = item.body.box
        for feature in item.body.features:
            assert x0 < feature.centre[0] < x1, feature.id
            assert y0 < feature.centre[1] < y1, feature.id
        texts = [p.shape for p in item.body.parts if isinstance(p.shape, Text)]
        boxes = [text.corners() for text in texts]
        for k, box in enumerate(boxes):
            assert not any(boxes_meet(box, other) for other in boxes[:k]), item.body.id
            assert box[0][0] >= x0 + 0.3, item.body.id
            assert box[0][1] >= y0 + 0.3, item.body.id
            assert box[1][0] <= x1 - 0.3, item.body.id
            assert box[1][1] <= y1 - 0.3, item.body.id
        # A line is 1.125 times as wide as its nozzle, and both sides of a stroke are drawn.
        least = max(0.8, 2 * 1.125 * plan.assumed.nozzle_mm)
        assert all(text.pen_mm >= least - 1e-5 for text in texts)


def assert_walls_hold(plan: Plan) -> None:
    """Between neighbouring windows stand at least 3 mm and six lines, along the row."""
    least = max(3.0, 6 * 1.125 * plan.assumed.nozzle_mm)
    for item in plan.placed:
        cut = [p for p in item.body.parts if p.cut and p.feature]
        # The blocks of a rule are sizes of their own, held between two rails.
        if not cut or item.body.bar or item.body.features[0].role == "swell":
            continue
        (x0, _, _), (x1, _, _) = item.body.box
        spans = []
        for feature in item.body.features:
            own = [p for p in cut if p.feature == feature.id]
            if own:
                flat_z = feature.direction == "z" and feature.form in ("slot", "tongue")
                xs = [c[0] for c in own[0].shape.corners()]
                half = (max(xs) - min(xs)) / 2 if flat_z else feature.size_mm / 2
                spans.append((feature.centre[0] - half, feature.centre[0] + half))
        edges = [x0 + least / 2, *(x for span in sorted(spans) for x in span), x1 - least / 2]
        for right, left in zip(edges[0::2], edges[1::2], strict=True):
            room = left - right
            first_or_last = right == edges[0] or left == edges[-1]
            assert room >= (0 if first_or_last else least) - 1e-6, item.body.id


def assert_heights_on_layers(plan: Plan) -> None:
    coupon, layer = record(plan), plan.assumed.layer_height_mm
    for feature in coupon.features:
        if feature.direction == "z" and feature.form in ("slot", "tongue"):
            for face in (-0.5, 0.5):
                layers = (feature.place_mm[2] + face * feature.size_mm) / layer
                assert layers == pytest.approx(round(layers), abs=1e-3), feature.id
            assert feature.size_mm == pytest.approx(round(feature.size_mm / layer) * layer)


def assert_gaps_reach(plan: Plan) -> None:
    """A graded row across z reaches from an interference, or none, to clearly loose."""
    coupon = record(plan)
    by_id = {f.id: f for f in coupon.features}
    gaps: dict[str, list[float]] = {}
    for trial in coupon.trials:
        feature = by_id[trial.feature]
        if feature.direction == "z" and feature.form in ("slot", "tongue"):
            gaps.setdefault(feature.row, []).append(trial.gap_mm)
            mate = by_id[trial.mate]
            sign = 1 if feature.form == "slot" else -1
            drawn = sign * (feature.size_mm - mate.size_mm)
            assert drawn == pytest.approx(trial.gap_mm, abs=1e-6)
    for row, found in gaps.items():
        assert min(found) <= 0, row
        assert max(found) >= 0.85, row
        assert len(set(found)) >= 3, row


@pytest.mark.parametrize("name", shipped_specs())
@pytest.mark.parametrize(("nozzle", "layer"), SOME)
def test_shipped_coupons_follow_the_machine(name, nozzle, layer):
    plan = planned(name, nozzle, layer)
    assert_labels_apart(plan)
    assert_walls_hold(plan)
    assert_heights_on_layers(plan)
    assert_gaps_reach(plan)


@pytest.mark.parametrize("name", ["recheck", "upright"])
def test_what_follows_a_wide_nozzle_is_built_right(name):
    plan = planned(name, 0.8, 0.6)
    assert faults_of(plan, build_solids(plan)) == []


@pytest.mark.slow
@pytest.mark.parametrize("name", shipped_specs())
@pytest.mark.parametrize("nozzle", NOZZLES)
def test_every_shipped_coupon_is_made_for_every_machine(name, nozzle):
    layers = [layer for n, layer in MACHINES if n == nozzle]
    assert len(layers) >= 6
    for layer in layers:
        plan = planned(name, nozzle, layer)
        assert_labels_apart(plan)
        assert_walls_hold(plan)
        assert_heights_on_layers(plan)
        assert_gaps_reach(plan)
        if layer in (layers[0], layers[-1]):  # those between are planned alike
            assert faults_of(plan, build_solids(plan)) == [], layer


def test_walls_of_a_spec_are_kept_where_they_are_thick_enough():
    text = (
        'title = "t"\n[[row]]\nkind = "fit"\nform = "slot"\ndirection = "x"\nsize_mm = 5\n'
        "gaps_mm = [0.0, 0.2]\nwall_mm = 5\n"
    )
    for nozzle, wall in ((0.4, 5.0), (0.8, 5.4)):
        plan = plan_coupon(parse_spec(text.encode(), "t", "t"), nozzle_mm=nozzle)
        one, two = (f for f in record(plan).features if f.role == "fit")
        between = two.place_mm[0] - one.place_mm[0] - (one.size_mm + two.size_mm) / 2
        assert between >= wall - 1e-6


@pytest.mark.parametrize(
    ("layer", "gaps"),
    [
        (0.2, [-0.2, 0.0, 0.2, 0.4, 0.6, 0.8, 1.0]),
        (0.28, [-0.28, 0.0, 0.28, 0.56, 0.84, 1.12]),
        (0.3, [-0.3, 0.0, 0.3, 0.6, 0.9]),
    ],
)
def test_gaps_across_z_are_whole_layers_nearest_to_what_was_asked(layer, gaps):
    coupon = record(planned("upright", 0.4, layer))
    found = sorted({t.gap_mm for t in coupon.trials if t.feature.startswith("A")})
    assert found == pytest.approx(gaps)


def test_a_coupon_says_which_rows_were_rounded():
    assert planned("upright", 0.4, 0.2).rounded_rows() == ()
    assert planned("upright", 0.4, 0.28).rounded_rows() == ("A", "B", "D", "E", "F")
    assert planned("first", 0.4, 0.28).rounded_rows() == ()


def test_rounding_to_layers_is_to_the_nearest_for_any_height():
    rng = np.random.default_rng(3)
    for _ in range(300):
        layer, height = rng.uniform(0.04, 0.6), rng.uniform(-1, 30)
        found = nearest_layers(height, layer)
        assert abs(found - height) <= layer / 2 + 1e-6
        assert found / layer == pytest.approx(round(found / layer), abs=1e-4)
