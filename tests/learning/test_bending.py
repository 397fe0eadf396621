"""Rules that bend under the jaws do not pass for scale: how hard they press is learned."""

from dataclasses import replace

import numpy as np
import pytest
from bench.study import replace_caliper
from bench.worlds import NOTHING, changed, on_bare_strip
from support.synthetic import TYPICAL, done_coupons
from support.thin_rule import bare_strip

from coupons.learning.bending import gives_per_mm
from coupons.learning.design import design_of
from coupons.learning.effects import EFFECTS, TERMS, effect_row
from coupons.learning.fit import fit_design
from coupons.learning.observation_table import design_from_table, observation_table
from coupons.learning.posterior.latent import latent_model
from coupons.learning.posterior.stepwise import before_any
from coupons.learning.prior_table import EXTRUSION, NormalPrior
from coupons.making.bodies.ruler_bar import UNSEEN_MM
from coupons.making.plan import plan_coupon, record
from coupons.making.spec.coupon_spec import load_spec
from coupons.measuring.virtual import squeeze
from coupons.measuring.virtual.machine import load_machine
from coupons.measuring.virtual.rehearsal import as_entries, try_out, work_list
from coupons.terms import Direction, Feature, Form, Jaws

pytestmark = pytest.mark.slow

QUIET = {
    "scatter": {"feature_mm": 0.01, "feature_z_mm": 0.01, "print_mm": 0.0, "drift_mm": 0.0}
    | {"blob_chance": 0.0, "print_z_mm": 0.0},
    "axes": {"shrink_x": 0.003, "shrink_y": 0.003},
    "caliper": {"repeat_mm": 0.008, "slip_chance": 0.0},
    "person": {"lapse_chance": 0.0, "judgement_mm": 0.02, "jaw_force_n": 5.0},
    "plastic": {"modulus_mpa": 2000.0},
}
ALIKE = replace(EXTRUSION, press=NormalPrior(0.0, 1e-9))  # jaws that bend nothing


def measured(bent):
    """Return a design in which one machine's rules were read, as they are made or on a strip."""
    machine = changed(changed(load_machine("bench-1"), NOTHING), QUIET)
    (run,) = done_coupons("first")
    run = replace(run, coupon=on_bare_strip(run.coupon) if bent else run.coupon)
    work = work_list(run.coupon)
    sizes, fits = as_entries(work, try_out(machine, work, np.random.default_rng(5)))
    conditions = replace_caliper(run.conditions, machine)
    return design_of([replace(run, conditions=conditions, sizes=sizes, fits=fits)])


@pytest.fixture(scope="module")
def fits():
    """Fits of the same machine's readings: stiff or bent rules, jaws that press or do not."""
    return {
        (bent, table is EXTRUSION): fit_design(measured(bent), table)
        for bent in (False, True)
        for table in (EXTRUSION, ALIKE)
    }


def slot_40_mm(fitted):
    """Return by how much a joint of 40 mm along x prints wider than it is drawn."""
    rows = [effect_row(Feature(form, 40.0, Direction.X)) for form in (Form.SLOT, Form.TONGUE)]
    return float((rows[0] - rows[1]) @ fitted.mean[: len(EFFECTS)])


def test_by_hand_what_a_bare_strip_gives():
    # P/A and P·e²/I, the force 2.7 mm above the middle of 10 × 1.4 mm and 1.3 mm above a block's.
    thin, thick = 1 / 14 + 2.7**2 / (10 * 1.4**3 / 12), 1 / 30 + 1.3**2 / 80
    found = gives_per_mm(bare_strip())
    assert found["F2"] == pytest.approx(60 * thin, rel=1e-6)
    assert found["F1"] == pytest.approx(-10 * thick, rel=1e-6)
    assert found["FW"] == pytest.approx(-(60 * thin + 22 * thick), rel=1e-6)


@pytest.mark.parametrize("name", ["first", "spans", "recheck"])
def test_it_gives_as_a_walk_along_the_bar_finds(name):
    for coupon in (record(plan_coupon(load_spec(name))), bare_strip()):
        walked = squeeze.gives_per_mm(coupon)
        found = gives_per_mm(coupon)
        assert found
        by_id = {f.id: gave for f, gave in zip(coupon.features, walked, strict=True) if gave}
        assert found == pytest.approx(by_id, rel=0.01)


def test_readings_alone_have_it_and_only_between_jaws():
    (run,) = done_coupons("first")
    deep = tuple(replace(entry, jaws=Jaws.DEPTH) for entry in run.sizes)
    design, by_depth = design_of([run]), design_of([replace(run, sizes=deep)])
    assert np.count_nonzero(design.readings.gives) >= 4
    assert np.count_nonzero(by_depth.readings.gives) == 0
    X, y, _ = observation_table([run])
    assert design_from_table(X, y, (0.0,)).readings.gives == pytest.approx(design.readings.gives)


def test_a_reading_takes_it_over_from_its_own_run():
    runs = [replace(run, coupon=on_bare_strip(run.coupon)) for run in done_coupons(*["first"] * 2)]
    model = latent_model(design_of(runs), EXTRUSION)
    design, latent = model.design, model.prior_center.copy()
    at = np.arange(len(TERMS), model.n_shared)[-2:]  # no datum, no second hand: last of the shared
    assert latent[at] == pytest.approx(EXTRUSION.press.mean)
    assert before_any(model, TYPICAL).mean[at] == pytest.approx(EXTRUSION.press.mean)
    assert model.prior_variance(TYPICAL)[at] == pytest.approx(EXTRUSION.press.sd**2)
    before = model.predicted(latent)
    latent[at] += (0.0, 0.001)
    of_second = design.sizes.run[design.readings.size] == 1
    moved = np.where(of_second, design.readings.gives * 0.001, 0.0)
    assert model.predicted(latent) - before == pytest.approx(moved)
    assert abs(moved).max() > 0.05


def test_a_rule_that_bends_does_not_pass_for_scale(fits):
    stiff = slot_40_mm(fits[False, True])
    assert slot_40_mm(fits[True, True]) == pytest.approx(stiff, abs=0.03)
    # What it is for: else the rule's bending is counted as the slot's.
    assert abs(slot_40_mm(fits[True, False]) - stiff) > 0.08


def test_rules_as_they_are_made_answer_as_before(fits):
    now, before = fits[False, True], fits[False, False]
    n = len(EFFECTS)
    assert slot_40_mm(now) == pytest.approx(slot_40_mm(before), abs=UNSEEN_MM)
    sds, sds_before = (np.sqrt(np.diag(each.covariance)) for each in (now, before))
    off = (now.mean[:n] - before.mean[:n]) / sds_before[:n]
    assert abs(off).max() < 0.15
    assert sds[:n] == pytest.approx(sds_before[:n], rel=0.01)
