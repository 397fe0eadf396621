from datetime import date, timedelta
from types import SimpleNamespace

import numpy as np
import pytest
from support.prior_printer import draw_printer, observe, print_sizes
from support.synthetic import done_coupons

from coupons.learning.checking.one_way import OneWayDrift, one_way_drifts
from coupons.learning.design import design_of
from coupons.learning.effects import EFFECTS, TERMS, effect_row, print_moves, prior_mean, prior_sd
from coupons.learning.fit import fit_design
from coupons.learning.prior_table import EXTRUSION
from coupons.showing.words.runs import drift_sentence
from coupons.terms import Direction, Feature, Form

HEIGHTS = [Feature(Form.TONGUE, mm, Direction.Z) for mm in (10.0, 20.0, 40.0, 60.0)]
LENGTHS = [Feature(Form.TONGUE, mm, Direction.X) for mm in (10.0, 20.0, 40.0, 60.0)]
NOISE_MM = 0.03
MOVES = print_moves(EXTRUSION)
PRINT_SDS = np.array(
    [one.share * EXTRUSION.scatters[one.scatter].mean_square ** 0.5 for one in EXTRUSION.prints]
)


def known_run(
    effects,
    rng,
    features=HEIGHTS + LENGTHS,
    noise_mm=NOISE_MM,
    really_sds=PRINT_SDS,
    noise_log_sd=0.0,
):
    """Read sizes of a print: the posterior in closed form, as all is normal here.

    ``really_sds`` are those of the machine's prints, of which the fit of one print knows nothing;
    ``noise_log_sd`` says how roughly it knows the noise.
    """
    rows = np.array([effect_row(feature) for feature in features])
    own = rng.normal(0, really_sds)
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
        mixture=SimpleNamespace(
            model=SimpleNamespace(table=EXTRUSION),
            log_sd_moments=lambda _name: (np.log(noise_mm), noise_log_sd),
        ),
    )


def known_runs(rng, n, a_print=0.0, name="bed_height", **kinds):
    effects = rng.normal(prior_mean(), prior_sd())[: len(EFFECTS)]
    for k in range(n):
        moved = effects.copy()
        moved[EFFECTS.index(name)] += k * a_print
        yield known_run(moved, rng, **kinds)


def prints_of_a_machine(rng):
    """Draw by how much the prints of a machine differ, from the prior."""
    sds = {
        name: one.median * np.exp(one.log_sd * rng.normal())
        for name, one in EXTRUSION.scatters.items()
    }
    return np.array([one.share * sds[one.scatter] for one in EXTRUSION.prints])


def off_the_line(runs, row):
    """Return how far a size of the prints lies from a straight line through them."""
    values = [float(row @ run.mean[: len(EFFECTS)]) for run in runs]
    at = np.arange(len(values))
    return float(np.std(values - np.polyval(np.polyfit(at, values, 1), at)))


@pytest.mark.slow
@pytest.mark.parametrize("n", [3, 6])
def test_one_fit_in_twenty_drifts_by_chance_on_steady_and_on_unsteady_machines(n):
    # 400 machines that do not drift, of which prints differ as the prior says; then the halves of
    # them whose prints lie nearer to a straight line along z, and farther from it. One
    # standard error is 1.1 % of all, and along z, where 2.5 % are expected, 1.1 % of each half.
    rng = np.random.default_rng(n)
    row = np.mean([effect_row(feature) for feature in HEIGHTS], axis=0)
    any_axis, along_z, apart = [], [], []
    for _ in range(400):
        own = prints_of_a_machine(rng)
        runs = list(known_runs(rng, n, noise_mm=NOISE_MM / 6, really_sds=own))
        told = one_way_drifts(runs, [None] * n)
        any_axis.append(any(one.is_found for one in told))
        along_z.append(any(one.is_found for one in told if one.axis == "z"))
        apart.append(off_the_line(runs, row))
    assert 0.025 < np.mean(any_axis) < 0.075
    steady = np.array(apart) < np.median(apart)
    for half in (steady, ~steady):
        assert 0.004 < np.mean(np.array(along_z)[half]) < 0.05


def test_prints_far_off_a_line_tell_a_drift_less_surely_and_few_prints_less_than_many():
    def told(n, off_mm):
        runs = list(
            known_runs(np.random.default_rng(1), n, noise_mm=NOISE_MM / 6, really_sds=0 * PRINT_SDS)
        )
        for run, sign in zip(runs, (1, -1, -1, 1, 1, -1, -1, 1), strict=False):  # not along a line
            run.mean[EFFECTS.index("growth_ext_z")] += sign * off_mm / 2
        return next(one for one in one_way_drifts(runs, [None] * n) if one.axis == "z")

    near, far = told(8, 0.0), told(8, 0.15)
    assert near.sd_mm < 0.5 * far.sd_mm
    # Least squares: 8 · 0.15² over 6 degrees of freedom, and 42 = Σ (k − 3.5)². The prior, in which
    # such heights differ by some 0.03 mm, holds a little against it.
    assert far.sd_mm == pytest.approx(np.sqrt(8 * 0.15**2 / 6 / 42), rel=0.25)
    few = told(3, 0.0)
    # Two axes share the alarms: a normal would have 2.241.
    assert few.limit > near.limit > 2.2414


def test_noise_that_each_print_knows_only_roughly_is_told_by_the_prints_together():
    # Prints that differ in nothing but noise, and by three times as much as each fit takes it for.
    def told(noise_log_sd):
        runs = [
            known_run(
                prior_mean()[: len(EFFECTS)],
                np.random.default_rng([2, k]),
                LENGTHS,
                0.2,
                0 * PRINT_SDS,
                noise_log_sd,
            )
            for k in range(8)
        ]
        for run in runs:
            run.mean += 2 * (run.mean - prior_mean())
        (x,) = one_way_drifts(runs, [None] * 8)
        return x

    sure, rough = told(0.0), told(0.5)
    assert rough.sd_mm > 1.3 * sure.sd_mm


@pytest.mark.slow
def test_the_drift_that_it_says_it_would_find_is_found_in_four_cases_of_five():
    # 200 machines drawn from the prior, each printed twice over with the same own deviations: as it
    # is, and with heights that grow by what would be found; ± 2.8 % one standard error.
    by, wanted = [], []
    for seed in range(200):
        own = prints_of_a_machine(np.random.default_rng([seed, 1]))
        told = []
        for a_print in (0.0, None):
            by_mm = told[0].detectable_mm if a_print is None else a_print
            rng = np.random.default_rng(seed)
            runs = list(known_runs(rng, 6, by_mm / 2, "growth_ext_z", really_sds=own))
            drifts = one_way_drifts(runs, [None] * 6)
            told.append(next(one for one in drifts if one.axis == "z"))
        wanted.append(told[0].detectable_mm)
        by.append(told[1])
    assert np.mean([one.is_found for one in by]) == pytest.approx(0.8, abs=0.07)
    assert np.mean([one.by_mm for one in by]) == pytest.approx(np.mean(wanted), rel=0.05)


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
