"""Lost motion that differs by axis passes for scale, which widens what is said of the steps."""

import numpy as np
import pytest
from coupons.learning.lost_motion import LOST_X_LESS_Y_MM, mistaken_for_scale
from rehearsed import rehearsed_run
from synthetic import done_coupons, observed, with_reports

from coupons.learning.causes import find_causes
from coupons.learning.design import design_of
from coupons.learning.effects import EFFECTS
from coupons.learning.fit import fit_design, fit_runs
from coupons.measuring.machine import random_machine
from coupons.showing.fit_summary import amount

SCALES = [EFFECTS.index(f"scale_{axis}") for axis in "xy"]


def loses(design, x_less_y_mm):
    """Return the design read off a part that lost so much more along x than along y."""
    sizes, readings = design.sizes, design.readings
    length = (sizes.effects[readings.size] + readings.effects)[:, :3]
    along = length / length.sum(axis=1, keepdims=True)
    lost = x_less_y_mm / 2 * (along[:, 0] - along[:, 1])
    return with_reports(design, value=readings.value - lost)


@pytest.mark.parametrize("coupon", ["first", "spans"])
def test_it_is_what_a_fit_to_such_a_part_finds(coupon):
    design = observed(design_of(done_coupons(coupon)), 3)
    fitted = fit_design(design)
    low, high = (fit_design(loses(design, side * 0.01)).mean[SCALES] for side in (-1, 1))
    found = mistaken_for_scale(fitted)
    expected = np.abs(high - low) / 0.02 * LOST_X_LESS_Y_MM
    assert found[SCALES] == pytest.approx(expected, rel=0.15)
    assert np.count_nonzero(found) == 2


def test_long_spans_leave_less_to_lost_motion():
    first, spans = (
        mistaken_for_scale(fit_design(observed(design_of(done_coupons(coupon)), 3)))[SCALES]
        for coupon in ("first", "spans")
    )
    assert (spans < 0.6 * first).all()


def test_the_steps_are_told_as_well_as_they_are_known():
    fitted = fit_design(observed(design_of(done_coupons("first", "spans")), 5))
    told = [cause for cause in find_causes(fitted).found if "steps of" in cause.cure]
    assert told
    alone = dict(zip(EFFECTS, np.sqrt(np.diag(fitted.covariance)), strict=False))
    for cause in told:
        lost = mistaken_for_scale(fitted)[EFFECTS.index(cause.name)]
        assert cause.sd == pytest.approx(np.hypot(alone[cause.name], lost))
        assert amount(cause).endswith(f"± {100 * cause.sd:.2f} %")


def read_once(machine, seed):
    """Print and read `first` once, and fit it."""
    land_mm = round(machine.caliper.jaw_land_mm, 2)
    return fit_runs([rehearsed_run(seed, machine, jaw_land_mm=land_mm)])


def found_scales(machine, seed):
    """Return error, sd and true value of the scales that one print shows."""
    causes = {cause.name: cause for cause in find_causes(read_once(machine, seed)).found}
    return [
        (causes[name].value, causes[name].sd, -getattr(machine.axes, f"shrink_{name[-1]}"))
        for name in ("scale_x", "scale_y")
        if name in causes
    ]


@pytest.mark.slow
def test_nine_ranges_of_the_steps_in_ten_hold_on_virtual_machines():
    # 80 machines drawn at random, two scales each: ± 2.4 % one standard error. Without the widening
    # 59 ± 4 % held; on machines without lost motion 89 ± 3 %.
    rng = np.random.default_rng(61)
    found = [row for seed in range(80) for row in found_scales(random_machine(rng), seed)]
    value, sd, true = np.array(found).T
    inside = np.mean(np.abs(value - true) < 1.645 * sd)
    assert 0.86 <= inside <= 0.98
    sure = np.abs(value) > 1.645 * sd
    assert (np.sign(value[sure]) == np.sign(true[sure])).all()
    assert sure.mean() > 0.5


@pytest.mark.slow
def test_what_is_missing_without_the_widening_is_the_lost_motion():
    # The same 80 machines with lost motion off: the fit's own sds hold nine in ten, ± 2.4 %.
    rng = np.random.default_rng(61)
    inside = []
    for seed in range(80):
        machine = random_machine(rng)
        none = machine.axes.model_copy(update={"lost_x_mm": 0.0, "lost_y_mm": 0.0})
        machine = machine.model_copy(update={"axes": none})
        fitted = read_once(machine, seed)
        sd = np.sqrt(np.diag(fitted.covariance))[SCALES]
        true = [-machine.axes.shrink_x, -machine.axes.shrink_y]
        inside += list(np.abs(fitted.mean[SCALES] - true) < 1.645 * sd)
    assert 0.82 <= np.mean(inside) <= 0.97
