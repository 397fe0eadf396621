from datetime import date, timedelta
from types import SimpleNamespace

import numpy as np
import pytest
from support.prior_printer import draw_printer, observe, print_sizes
from support.synthetic import done_coupons

from coupons.learning.checking.one_way import OneWayDrift, one_way_drifts
from coupons.learning.design import design_of
from coupons.learning.effects import (
    EFFECTS,
    EXTRUSION,
    TERMS,
    effect_row,
    print_moves,
    prior_mean,
    prior_sd,
)
from coupons.learning.fit import fit_design
from coupons.showing.words.runs import drift_sentence
from coupons.terms import Direction, Feature, Form

HEIGHTS = [Feature(Form.TONGUE, mm, Direction.Z) for mm in (10.0, 20.0, 40.0, 60.0)]
LENGTHS = [Feature(Form.TONGUE, mm, Direction.X) for mm in (10.0, 20.0, 40.0, 60.0)]
NOISE_MM = 0.03
MOVES = print_moves(EXTRUSION)
PRINT_SDS = np.array(
    [one.share * EXTRUSION.scatters[one.scatter].mean_square ** 0.5 for one in EXTRUSION.prints]
)


def known_run(effects, rng, features=HEIGHTS + LENGTHS, noise_mm=NOISE_MM):
    """Read sizes of a print: the posterior in closed form, as all is normal here."""
    rows = np.array([effect_row(feature) for feature in features])
    own = rng.normal(0, PRINT_SDS)
    seen = rows @ (effects + MOVES @ own) + rng.normal(0, noise_mm, len(rows))
    whole = np.zeros((len(rows), len(TERMS)))
    whole[:, : len(EFFECTS)] = rows
    prior = np.diag(prior_sd() ** 2)
    spread = rows @ MOVES * PRINT_SDS
    variance = whole @ prior @ whole.T + spread @ spread.T + noise_mm**2 * np.eye(len(rows))
    gain = prior @ whole.T @ np.linalg.inv(variance)
    mean = prior_mean() + gain @ (seen - whole @ prior_mean())
    sizes = SimpleNamespace(
        effects=rows,
        is_printed=np.ones(len(rows), bool),
        drawn=np.array([feature.size_mm for feature in features]),
    )
    return SimpleNamespace(
        design=SimpleNamespace(sizes=sizes),
        mean=mean,
        covariance=prior - gain @ whole @ prior,
        mixture=SimpleNamespace(model=SimpleNamespace(table=EXTRUSION)),
    )


def known_runs(rng, n, a_print=0.0, name="bed_height"):
    effects = rng.normal(prior_mean(), prior_sd())[: len(EFFECTS)]
    for k in range(n):
        moved = effects.copy()
        moved[EFFECTS.index(name)] += k * a_print
        yield known_run(moved, rng)


@pytest.mark.slow
@pytest.mark.parametrize("n", [3, 6])
def test_one_fit_in_twenty_drifts_by_chance(n):
    # 400 machines that do not drift: one standard error is 1.1 %.
    rng = np.random.default_rng(n)
    found = [
        any(one.is_found for one in one_way_drifts(list(known_runs(rng, n)), [None] * n))
        for _ in range(400)
    ]
    assert 0.02 < np.mean(found) < 0.08


@pytest.mark.slow
def test_the_drift_that_it_says_it_would_find_is_found_in_four_cases_of_five():
    # 200 machines whose heights grow by the drift that would be found; ± 2.8 % one standard error.
    rng = np.random.default_rng(4)
    told = one_way_drifts(list(known_runs(rng, 6)), [None] * 6)
    (z,) = [one for one in told if one.axis == "z"]
    by = []
    for _ in range(200):
        runs = list(known_runs(rng, 6, z.detectable_mm / 2, "growth_ext_z"))
        by += [one for one in one_way_drifts(runs, [None] * 6) if one.axis == "z"]
    assert np.mean([one.is_found for one in by]) == pytest.approx(0.8, abs=0.09)
    assert np.mean([one.by_mm for one in by]) == pytest.approx(z.detectable_mm, rel=0.15)


def test_the_order_is_that_of_the_dates_where_all_are_known():
    rng = np.random.default_rng(5)
    runs = list(known_runs(rng, 6, 0.05, "growth_ext_z"))
    days = [date(2026, 1, 1) + timedelta(7 * k) for k in range(6)]
    mixed = [3, 0, 5, 1, 4, 2]
    sorted_, shuffled = (
        one_way_drifts([runs[k] for k in order], [days[k] for k in order])[0]
        for order in (range(6), mixed)
    )
    assert shuffled == sorted_
    assert (sorted_.axis, sorted_.dated, sorted_.is_found) == ("z", True, True)
    assert sorted_.by_mm == pytest.approx(0.10, abs=3 * sorted_.sd_mm)
    undated = one_way_drifts(runs, [None, *days[1:]])[0]
    assert not undated.dated


def test_two_prints_tell_no_drift_and_axes_that_one_run_lacks_are_left_out():
    rng = np.random.default_rng(6)
    runs = list(known_runs(rng, 4))
    assert one_way_drifts(runs[:2], [None] * 2) == ()
    flat = known_run(prior_mean()[: len(EFFECTS)], rng, LENGTHS)
    assert [one.axis for one in one_way_drifts([*runs, flat], [None] * 5)] == ["x"]


def test_what_the_prior_holds_back_of_a_drift_is_given_back():
    # Each fit moved six tenths of the way from the prior to its print, as its covariance says.
    runs = []
    for k in range(5):
        run = known_run(prior_mean()[: len(EFFECTS)], np.random.default_rng(0))
        really = np.zeros(len(TERMS))
        really[EFFECTS.index("growth_ext_z")] = 0.05 * k
        run.mean = prior_mean() + 0.6 * really
        run.covariance = 0.4 * np.diag(prior_sd() ** 2)
        runs.append(run)
    (z,) = [one for one in one_way_drifts(runs, [None] * 5) if one.axis == "z"]
    assert z.by_mm == pytest.approx(0.10)  # 0.05 mm a face


def test_a_drift_is_told_with_what_to_do_and_nothing_else_is():
    found = OneWayDrift("z", 0.031, 0.008, 40.0, 2.4, True)
    said = drift_sentence([found, OneWayDrift("x", 0.01, 0.008, 20.0, 2.4, True)])
    assert said.startswith("The prints drift one way, in the order of their dates: outer sizes of")
    assert "about 40 mm change, those along z by +0.031 ± 0.008 mm a print" in said
    assert "along x" not in said
    assert "fit the last prints alone" in said
    assert drift_sentence([OneWayDrift("z", 0.01, 0.008, 40.0, 2.4, True)]) == ""


@pytest.mark.slow
def test_prints_that_drift_along_z_are_found_by_fits_of_each():
    # Eight prints of one coupon on a printer of the middle of the prior whose steps grow by
    # 0.06 mm a print; then the same without.
    rng = np.random.default_rng(7)
    design = design_of(done_coupons("upright"))
    printer = draw_printer(rng)
    at = EFFECTS.index("growth_ext_z")
    told = []
    for a_print in (0.03, 0.0):
        fits = []
        for k in range(8):
            terms = prior_mean()
            terms[at] += k * a_print
            moved = type(printer)(terms, printer.scatters, printer.table)
            fits.append(fit_design(observe(moved, design, print_sizes(moved, design, rng), rng)))
        told.append({one.axis: one for one in one_way_drifts(fits, [None] * 8)})
    assert told[0]["z"].is_found
    assert told[0]["z"].by_mm == pytest.approx(0.06, abs=0.03)
    assert not told[1]["z"].is_found
