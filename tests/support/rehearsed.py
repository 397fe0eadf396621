"""The first coupon as virtual machines print it and virtual hands find it, without a folder."""

from pathlib import Path

import numpy as np

from coupons.making.plan import plan_coupon, record
from coupons.making.spec.coupon_spec import load_spec
from coupons.measuring.run.conditions import Conditions
from coupons.measuring.run.folder import Run
from coupons.measuring.virtual.machine import load_machine
from coupons.measuring.virtual.rehearsal import as_entries, try_out, work_list


def first_coupon():
    return record(plan_coupon(load_spec("first")))


def rehearsed_run(seed, machine="bench-1", coupon=None, folder="run-a", jaw_land_mm=0.3):
    """Return a run on a machine, or on the shipped one of that name."""
    prints_on = load_machine(machine) if isinstance(machine, str) else machine
    rng = np.random.default_rng(seed)
    return run_by(prints_on, coupon or first_coupon(), rng, jaw_land_mm, folder)


def run_by(machine, coupon, rng, jaw_land_mm, folder="run-a"):
    work = work_list(coupon)
    sizes, fits = as_entries(work, try_out(machine, work, rng))
    conditions = Conditions(
        machine="bench-1",
        material="grey",
        nozzle_mm=0.4,
        layer_height_mm=0.2,
        rehearsed=True,
        caliper={"jaw_land_mm": jaw_land_mm},
    )
    return Run(Path(folder), coupon, conditions, sizes, fits)
