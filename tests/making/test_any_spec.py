"""Whatever rows a spec holds: it is refused in words, or it is made right."""

from itertools import combinations

import numpy as np
import pytest

from coupons.errors import PlanError
from coupons.making.bodies.shapes import Text
from coupons.making.output.agreement import faults_of
from coupons.making.output.solids import build_solids
from coupons.making.plan import Plan, plan_coupon, record
from coupons.making.spec.coupon_spec import parse_spec


def random_row(rng: np.random.Generator) -> str:
    kind = str(rng.choice(["fit", "fit", "hardware", "sizes", "spans", "swell"]))
    form = str(rng.choice(["hole", "pin", "slot", "tongue"]))
    axes = ["x", "y", "z"] if form in ("hole", "pin") else ["x", "y", "z", "x+y", "x-y"]
    level = "x y x+y x-y".split() if kind == "spans" else ["x", "y"]
    direction = str(rng.choice(level if kind in ("spans", "swell") else axes))
    size = round(0.2 * int(rng.integers(11, 60)), 2)
    keys: dict[str, object] = {"kind": f'"{kind}"', "direction": f'"{direction}"'}
    if kind in ("fit", "hardware", "sizes"):
        keys["form"] = f'"{form}"'
    if kind in ("fit", "hardware"):
        keys["gaps_mm"] = [round(0.2 * i - 0.2, 2) for i in range(int(rng.integers(1, 12)))]
    match kind:
        case "fit":
            keys |= {"size_mm": size, "gauges": int(rng.integers(1, 5))}
        case "hardware":
            keys |= {"name": '"piece"', "nominal_mm": size, "limits_mm": [0, 0]}
            keys |= {"outer_mm": size + 6}
        case "sizes":
            keys["sizes_mm"] = [round(size + 1.4 * i, 2) for i in range(int(rng.integers(1, 6)))]
        case "spans":
            blocks = [float(b) for b in rng.integers(3, 40, int(rng.integers(2, 5)))]
            keys |= {"tongues_mm": blocks, "slots_mm": [12.0] * (len(blocks) - 1)}
        case "swell":
            keys |= {"tongues_mm": [size + 12], "slots_mm": [size]}
    keys |= {"wall_mm": int(rng.choice([3, 4, 6])), "length_mm": int(rng.choice([4, 7, 10]))}
    return "[[row]]\n" + "".join(f"{key} = {value}\n" for key, value in keys.items())


def random_held_row(rng: np.random.Generator) -> str:
    """Holes for a screw or an insert."""
    size = round(0.2 * int(rng.integers(13, 40)), 2)  # the smallest hole is 2 mm
    keys = {"kind": f'"{rng.choice(["thread", "insert"])}"', "name": '"piece"', "source": '"none"'}
    keys |= {"direction": f'"{rng.choice(["x", "y", "z"])}"', "nominal_mm": size}
    keys["holes_mm"] = [round(size * (0.8 + 0.05 * i), 3) for i in range(4)]
    keys |= {"wall_mm": int(rng.choice([3, 4, 6])), "depth_mm": int(rng.choice([4, 8]))}
    return "[[row]]\n" + "".join(f"{key} = {value}\n" for key, value in keys.items())


def plan_of_some(seed: int) -> Plan | None:
    rng = np.random.default_rng(seed)
    text = 'title = "any"\n' + "".join(random_row(rng) for _ in range(3))
    if seed % 2:
        text += random_held_row(rng)
    nozzle = float(rng.choice([0.25, 0.4, 0.4, 0.6, 0.8]))
    layer = round(nozzle * float(rng.choice([0.2, 0.3, 0.5, 0.7, 0.75])), 4)
    machine = {"nozzle_mm": nozzle, "layer_height_mm": layer}
    try:
        return plan_coupon(parse_spec(text.encode(), "any", "any"), **machine)
    except PlanError:  # in words: the table in test_spec.py holds them
        return None


def boxes_meet(a, b) -> bool:
    return all(a[0][k] < b[1][k] - 1e-6 and b[0][k] < a[1][k] - 1e-6 for k in (0, 1))


@pytest.mark.slow
def test_what_is_accepted_is_made_right():
    made = 0
    for seed in range(80):
        plan = plan_of_some(seed)
        if plan is None:
            continue
        made += 1
        coupon = record(plan)
        assert len({f.id for f in coupon.features}) == len(coupon.features), seed
        assert faults_of(plan, build_solids(plan)) == [], seed
        for item in plan.placed:
            (x0, y0, _), (x1, y1, _) = item.body.box
            texts = [p.shape.corners() for p in item.body.parts if isinstance(p.shape, Text)]
            assert not any(boxes_meet(a, b) for a, b in combinations(texts, 2)), (
                seed,
                item.body.id,
            )
            for low, high in texts:
                assert low[0] >= x0 + 0.3, (seed, item.body.id)
                assert low[1] >= y0 + 0.3, (seed, item.body.id)
                assert high[0] <= x1 - 0.3, (seed, item.body.id)
                assert high[1] <= y1 - 0.3, (seed, item.body.id)
    assert made > 30
