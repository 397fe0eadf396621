"""The virtual caliper bends what it holds: this cause alone, on rules new and old."""

import json

import numpy as np
import pytest
from support.ideal_machine import IDEAL, changed
from support.thin_rule import bare_strip

from coupons.making.plan import plan_coupon, record
from coupons.making.record import read_coupon
from coupons.making.spec.coupon_spec import load_spec
from coupons.measuring.virtual.machine import load_machine, random_machine, shipped_machines
from coupons.measuring.virtual.rehearsal import try_out, work_list
from coupons.measuring.virtual.squeeze import gives_per_mm

EXACT = changed(
    IDEAL,
    caliper={"zero_mm": 0.0, "repeat_mm": 0.0, "resolution_mm": 1e-4, "slip_chance": 0.0}
    | {"session_mm": 0.0, "session_inside_mm": 0.0},
    person={"jaw_force_n": 5.0},
    plastic={"modulus_mpa": 2000.0},
)


def off_mm(coupon, machine):
    drawn = {f.id: f.size_mm for f in coupon.features}
    found = try_out(machine, work_list(coupon), np.random.default_rng(1)).readings_mm
    pairs = zip(coupon.readings, found, strict=True)
    return {reading.feature: value - drawn[reading.feature] for reading, value in pairs}


def test_a_bare_strip_bends_under_the_jaws():
    """P/A and P·e²/I worked by hand: 5 N at 2.7 mm above the middle of a strip of 10 × 1.4 mm."""
    per_mm = 5 / 2000 * (1 / 14 + 2.7**2 / (10 * 1.4**3 / 12))
    found = off_mm(bare_strip(), EXACT)
    assert found["F2"] == pytest.approx(60 * per_mm, abs=2e-3)  # a notch is pressed apart
    assert -0.51 < found["FW"] < -0.48
    assert abs(found["F1"]) < 0.003


def test_rules_as_they_are_made_hold_still():
    for name in ("first", "spans", "recheck"):
        coupon = record(plan_coupon(load_spec(name)))
        bars = {bar.body for bar in coupon.bars}
        found = off_mm(coupon, EXACT)
        rules = {f.id: f for f in coupon.features if f.body in bars}
        assert len(rules) >= 4
        off = [found[id_] for id_ in rules]
        assert max(map(abs, off)) <= 0.01
        assert np.polyfit([f.size_mm for f in rules.values()], off, 1)[0] == pytest.approx(
            -4e-5, abs=1.5e-5
        )


def test_harder_hands_and_softer_plastic_bend_it_more():
    coupon = bare_strip()
    once = off_mm(coupon, EXACT)["FW"]
    twice = off_mm(coupon, changed(EXACT, person={"jaw_force_n": 10.0}))["FW"]
    stiff = off_mm(coupon, changed(EXACT, plastic={"modulus_mpa": 4000.0}))["FW"]
    none = off_mm(coupon, changed(EXACT, person={"jaw_force_n": 0.0}))["FW"]
    assert (twice, stiff, none) == pytest.approx((2 * once, once / 2, 0), abs=2e-4)


def test_nothing_but_a_rule_is_squeezed():
    coupon = record(plan_coupon(load_spec("first")))
    bars = {bar.body for bar in coupon.bars}
    gives = dict(zip((f.id for f in coupon.features), gives_per_mm(coupon), strict=True))
    assert {id_ for id_, gave in gives.items() if gave != 0} == {
        f.id for f in coupon.features if f.body in bars
    }


def test_a_rule_along_a_diagonal_gives_as_one_along_x():
    coupon = record(plan_coupon(load_spec("spans")))
    gives = dict(zip((f.id for f in coupon.features), gives_per_mm(coupon), strict=True))
    for a, b in (("A", "B"), ("C", "D")):
        pairs = [(gives[id_], gives[b + id_[1:]]) for id_ in gives if id_[0] == a]
        assert len(pairs) > 4
        for one, other in pairs:
            assert one == pytest.approx(other, rel=1e-3)


def test_a_record_from_before_bars_were_recorded_is_read_and_holds_still(tmp_path):
    text = bare_strip().model_dump(mode="json")
    del text["bars"]
    (tmp_path / "coupon.json").write_text(json.dumps(text), encoding="utf-8")
    old = read_coupon(tmp_path / "coupon.json")
    assert off_mm(old, EXACT) == pytest.approx(dict.fromkeys(("F1", "F2", "F3", "FW"), 0.0))


def test_every_shipped_and_every_random_hand_presses():
    machines = [load_machine(name) for name in shipped_machines()]
    machines += [random_machine(np.random.default_rng(seed)) for seed in range(20)]
    assert all(1 <= machine.person.jaw_force_n <= 6 for machine in machines)
    assert len({machine.plastic.modulus_mpa for machine in machines}) > 20
