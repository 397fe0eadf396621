"""A seam on one side of round walls does not pass for a printer that is fatter along an axis."""

from dataclasses import replace

import numpy as np
import pytest
from bench.study import replace_caliper
from bench.worlds import NOTHING, changed
from support.synthetic import done_coupons

from coupons.learning.design import design_of
from coupons.learning.effects import EFFECTS, effect_row, seam_share
from coupons.learning.fit import fit_design
from coupons.learning.prior_table import EXTRUSION, NormalPrior
from coupons.measuring.virtual.machine import load_machine
from coupons.measuring.virtual.rehearsal import as_entries, try_out, work_list
from coupons.terms import Direction, Feature, Form

QUIET = {
    "scatter": {"feature_mm": 0.005, "feature_z_mm": 0.005, "print_mm": 0.0, "drift_mm": 0.0}
    | {"blob_chance": 0.0, "print_z_mm": 0.0},
    "axes": {"lost_x_mm": 0.02, "lost_y_mm": 0.02, "shrink_x": 0.002, "shrink_y": 0.002},
    "caliper": {"repeat_mm": 0.005},
    "person": {"lapse_chance": 0.0, "judgement_mm": 0.02},
}
SEAM = {"bead": {"seam_mm": 0.08, "seam_along": "y"}}


def wider_along_y(table):
    """Return how much wider along y than along x a 15 mm tongue is taken to print.

    The machine does the same along both, but for the seams of its round walls.
    """
    machine = changed(changed(load_machine("bench-1"), NOTHING), QUIET)
    machine = changed(machine, SEAM)
    (run,) = done_coupons("first")
    work = work_list(run.coupon)
    sizes, fits = as_entries(work, try_out(machine, work, np.random.default_rng(4)))
    conditions = replace_caliper(run.conditions, machine)
    design = design_of([replace(run, conditions=conditions, sizes=sizes, fits=fits)])
    x, y = (effect_row(Feature(Form.TONGUE, 15.0, d)) for d in (Direction.X, Direction.Y))
    return float((y - x) @ fit_design(design, table).mean[: len(EFFECTS)])


@pytest.mark.slow
def test_a_seam_along_y_leaves_flat_sizes_alone():
    assert wider_along_y(EXTRUSION) == pytest.approx(0.0, abs=0.006)
    # What the bump is for: without it the seam passes for a wider line along y.
    none = replace(EXTRUSION, bump=NormalPrior(0.0, 1e-6))
    assert wider_along_y(none) > 0.009


def test_the_bump_is_in_readings_of_standing_rounds_along_one_axis():
    pin, hole = Feature(Form.PIN, 8.0, Direction.Z), Feature(Form.HOLE, 8.0, Direction.Z)
    lying, flat = Feature(Form.PIN, 8.0, Direction.Y), Feature(Form.TONGUE, 8.0, Direction.X)
    read = [(pin, "x"), (pin, "y"), (hole, "x"), (pin, None), (lying, "x"), (flat, None)]
    beyond = np.array([effect_row(f, along) - effect_row(f) for f, along in read])
    assert seam_share(beyond) == pytest.approx([0.5, -0.5, -0.5, 0.0, 0.0, 0.0])
