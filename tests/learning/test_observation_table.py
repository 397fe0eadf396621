"""Observations as one numeric table: by hand, and against the arrays that the fit itself uses."""

from dataclasses import replace

import numpy as np
import pytest
from support.small_coupon import FEATURES, TRIALS, feature, small_coupon

from coupons.answering.next.expected_information import as_if_done
from coupons.errors import FitError
from coupons.learning.bending import gives_of
from coupons.learning.design import design_of
from coupons.learning.observation_table import (
    COLUMNS,
    column,
    design_from_table,
    observation_table,
    run_numbers,
)
from coupons.making.plan import plan_coupon, record
from coupons.making.record import CouponReading, CouponTrial
from coupons.making.spec.coupon_spec import load_spec
from coupons.measuring.run.conditions import Caliper
from coupons.terms import Form, Grade, Jaws, Seam


def done():
    """One of everything: hardware, a seam, contacts, all jaws, ranges, sizes at and on the bed."""
    coupon = small_coupon()
    pins = (
        feature("K1", "pin", "z", 6.0, role="gauge", seam=Seam.SHOWN),
        feature("K2", "pin", "z", 6.0, role="gauge", seam=Seam.HIDDEN),
    )
    trials = (
        *TRIALS,
        CouponTrial(feature="B1", mate="K1", gap_mm=-0.1, deep_mm=8.0, wide_mm=3.0),
        CouponTrial(feature="B1", mate="K2", gap_mm=-0.1, deep_mm=2.0),
    )
    readings = (
        *coupon.readings,
        CouponReading(feature="E1", jaws=Jaws.OUTSIDE),
        CouponReading(feature="C2", jaws=Jaws.INSIDE),
        CouponReading(feature="F1", jaws=Jaws.INSIDE, along="z"),
    )
    coupon = small_coupon(features=(*FEATURES, *pins), trials=trials, readings=readings)
    run = as_if_done(coupon)
    caliper = Caliper(resolution_mm=0.02, jaw_land_mm=0.0, uncertainty_mm=0.007)
    sizes = tuple(
        replace(one, row=n, value_mm=one.value_mm + 0.01 * n) for n, one in enumerate(run.sizes)
    )
    fits = [replace(one, row=100 + n) for n, one in enumerate(run.fits)]
    fits[0] = replace(fits[0], tightest=Grade.PUSH, loosest=Grade.LOOSE)
    fits[1] = replace(fits[1], tightest=Grade.NO_GO, loosest=Grade.NO_GO)
    fits[2] = replace(fits[2], tightest=Grade.NO_GO, loosest=Grade.LOOSE)  # says nothing
    conditions = run.conditions.model_copy(update={"caliper": caliper})
    return replace(run, sizes=sizes, fits=tuple(fits), conditions=conditions)


def same(one, other):
    """Compare two designs but for names of sizes and rows of entries, which a table has not."""
    assert [run for run, _ in one.sizes.keys] == [run for run, _ in other.sizes.keys]
    for part in ("sizes", "readings", "trials"):
        of_one, of_other = vars(getattr(one, part)), vars(getattr(other, part))
        for name in of_one.keys() - {"keys", "row", "in_print"}:
            both = (np.asarray(each[name], float) for each in (of_one, of_other))
            np.testing.assert_allclose(*both, atol=1e-12, err_msg=f"{part}.{name}")


def test_the_table_makes_the_arrays_that_the_runs_make():
    runs = [done(), done()]
    X, y, _ = observation_table(runs)
    again = design_from_table(X, y, run_numbers(X))
    same(again, design_of(runs))
    assert again.n_runs == 2


def test_rules_bend_in_the_table_as_in_the_fit():
    run = as_if_done(record(plan_coupon(load_spec("first"))))
    X, y, _ = observation_table([run])
    same(design_from_table(X, y, (0.0,)), design_of([run]))
    assert abs(X[:, column("gives_per_mm")]).max() > 0
    assert X[: len(run.sizes), column("gives_per_mm")].tolist() == gives_of(run.sizes, run.coupon)


def rows_of(run):
    X, y, groups = observation_table([run])
    return [dict(zip(COLUMNS, row.tolist(), strict=True)) for row in X], y, groups


def test_by_hand_what_the_columns_hold():
    run = done()
    rows, y, groups = rows_of(run)
    number = {one.id: at for at, one in enumerate(run.coupon.features)}
    assert len(rows) == len(run.sizes) + len(run.fits) - 1, "what says nothing is left out"
    first = rows[0]  # A1, a slot of 11.8 mm across x
    assert first == dict.fromkeys(COLUMNS, 0.0) | {
        "form": 3,
        "drawn_mm": 11.8,
        "along": -1,
        "jaws": 1,
        "resolution_mm": 0.02,
        "mate": -1,
        "mate_sd_mm": -1,
        "uncertainty_mm": 0.007,
    }
    read = {(s.feature, s.along): row for s, row in zip(run.sizes, rows, strict=False)}
    assert [read["B1", axis]["along"] for axis in "xy"] == [0, 1]
    assert read["F1", "z"]["along"] == 2
    assert (read["D1", None]["jaws"], read["C1", None]["jaws"]) == (0, -1)
    assert (read["C1", None]["on_bed"], read["C2", None]["on_bed"]) == (1, 0)
    assert (read["E1", None]["at_bed"], read["D1", None]["at_bed"]) == (1, 0)
    assert [read[name, None]["direction"] for name in ("D1", "D2", "C1")] == [0, 1, 2]
    fits = [fit for fit in run.fits if (fit.tightest, fit.loosest) != (Grade.NO_GO, Grade.LOOSE)]
    tried = {
        (f.feature, f.mate): (row, rank)
        for f, row, rank in zip(fits, rows[len(run.sizes) :], y[len(run.sizes) :], strict=True)
    }
    row, rank = tried["A1", "G1"]
    assert rank == 2
    assert row == dict.fromkeys(COLUMNS, 0.0) | {
        "kind": 1,
        "feature": number["A1"],
        "form": 3,
        "drawn_mm": 11.8,
        "along": -1,
        "jaws": -1,
        "mate": number["G1"],
        "mate_form": 1,
        "mate_drawn_mm": 12.0,
        "mate_sd_mm": -1,
        "width": 2,
    }
    assert tried["A1", "G2"] == ({**row, "mate": number["G2"], "width": 0}, 0)
    row, _ = tried["B2", "dowel"]
    assert row["mate"] == len(run.coupon.features)
    assert (row["mate_form"], row["mate_drawn_mm"], row["mate_sd_mm"]) == (0, 6.0, 0.003)
    # B1 bears on K2 alone over 2 mm, on K1 over 8; the last that the record says of B1 holds.
    assert (tried["B1", "K1"][0]["contact_mm"], tried["B1", "K1"][0]["seam"]) == (2.0, 1)
    assert (tried["B1", "K2"][0]["contact_mm"], tried["B1", "K2"][0]["seam"]) == (2.0, 0)
    names = [size.feature for size in run.sizes] + [fit.feature for fit in fits]
    assert len(set(groups)) == len(set(names))
    for name in set(names):
        assert len({g for g, n in zip(groups, names, strict=True) if n == name}) == 1


def test_a_range_ends_with_loose_and_runs_keep_their_place():
    X, y, _ = observation_table([done()])
    at = np.flatnonzero(X[:, column("kind")] == 1)[0]
    X[at, column("width")] = 4
    assert design_from_table(X, y, (0.0,)).trials.loosest[0] == 4
    X[:, column("run")] = 7
    assert run_numbers(X) == (7.0,)
    assert run_numbers(X, (3.0,)) == (3.0, 7.0)
    assert run_numbers(X, (7.0,)) == (7.0,)
    assert set(design_from_table(X, y, (3.0, 7.0)).sizes.run) == {1}


@pytest.mark.parametrize(
    ("name", "least", "most"),
    [
        ("kind", 0, 1),
        ("form", 0, 3),
        ("direction", 0, 4),
        ("at_bed", 0, 1),
        ("on_bed", 0, 1),
        ("along", -1, 2),
        ("jaws", -1, 1),
        ("mate_form", 0, 3),
        ("mate_direction", 0, 4),
        ("mate_at_bed", 0, 1),
        ("mate_on_bed", 0, 1),
        ("width", 0, 4),
        ("seam", 0, 1),
    ],
)
def test_codes_end_where_the_table_says(name, least, most):
    X, _, _ = observation_table([done()])
    for value in (least, most):
        X[0, column(name)] = value
        run_numbers(X)
    for value in (least - 1, most + 1, least + 0.5):
        X[0, column(name)] = value
        with pytest.raises(FitError) as error:
            run_numbers(X)
        message = f"Column {name} of X must hold whole numbers from {least} to {most}."
        assert error.value.args[0] == f"{message} Got {value:g} instead."


def test_forms_are_coded_in_the_order_that_the_table_says():
    assert list(Form) == ["pin", "tongue", "hole", "slot"]
