import json
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.stats import multivariate_normal
from support.known_profile import known_profile

from coupons.answering.compare import still
from coupons.answering.compare.likelihood_ratio import NO_FROM, SIZES, WATCH_FROM, paths, weigh
from coupons.answering.compare.recheck_series import (
    A_YEAR,
    DRIFT,
    EXTRUSION_SHARE,
    STEPS,
    ProfileData,
    RecheckSeries,
    told_by,
)
from coupons.answering.compare.side_by_side import Verdict
from coupons.answering.compare.still import Still, still_good
from coupons.answering.question import Question
from coupons.answering.words.still import still_lines, todo_sentence
from coupons.cli import main
from coupons.errors import AnswerError
from coupons.learning.effects import TERMS, prior_mean, prior_sd
from coupons.learning.prior_table import EXTRUSION
from coupons.learning.profile import Hand
from coupons.learning.profile_file import write_profile
from coupons.terms import Direction, Form, Grade, Joint

DRAWER = {"drawer": Question(Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X), Grade.SLIDE)}
UNTOLD = dict.fromkeys(TERMS, 1.0)


def full(**changes):
    return known_profile(printed_on=date(2026, 1, 5), runs=3, sd_share=0.2, **changes)


def recheck(month, fatter_mm=0.0, **changes):
    """A print in a month on which every face stands so much prouder."""
    means = {"growth_ext": 0.04 + fatter_mm, "growth_int": 0.06 + fatter_mm}
    return known_profile(
        means,
        0.3,
        printed_on=date(2026, month, 5),
        entries_sha256=f"{month:x}" * 64,
        **changes,
    )


def held(*rechecks, **options):
    return still_good(full(), rechecks, DRAWER, **options)


def test_an_unchanged_machine_is_still_good():
    found = held(recheck(2), recheck(3), recheck(4))
    assert found.verdict is Still.YES
    (drawer,) = found.joints
    assert drawer.verdict is Verdict.WORKS
    # The drawing is as right as it was, and three prints more tell so more surely.
    assert drawer.best_gap_mm == drawer.gap_mm
    assert drawer.chance_then < drawer.chance < drawer.chance_then + 0.05


def test_each_print_of_an_unchanged_machine_tells_more_of_it():
    checks = [recheck(month) for month in (2, 3, 4, 5)]
    chances = [held(*checks[:n]).joints[0].chance for n in (1, 2, 3, 4)]
    assert chances == sorted(chances)
    assert chances[0] > held(*checks).joints[0].chance_then


@pytest.mark.parametrize(
    ("lost", "says"), [(0.05, "Go on drawing with this profile"), (0.2, "fit them together")]
)
def test_what_to_do_agrees_with_the_table_where_prints_together_say_otherwise(lost, says):
    """More prints can move an answer on a machine that did not change."""
    found = held(recheck(2))
    (drawer,) = found.joints
    less = replace(drawer, chance=drawer.best_chance - lost)
    todo = todo_sentence(replace(found, joints=(less,)))
    assert says in todo
    assert todo.endswith(", and print the next re-check in a month.")


def test_a_machine_that_grew_fatter_is_not_and_the_drawing_is_drawn_anew():
    found = held(recheck(2), recheck(3, 0.06), recheck(4, 0.06), recheck(5, 0.06), same_hand=True)
    assert found.verdict is Still.NO
    evidence = found.evidence
    assert evidence.cause == "extrusion"
    assert found.since == date(2026, 3, 5)
    assert evidence.shift == pytest.approx(0.06, abs=2 * evidence.sd)
    assert evidence.path[-1] == evidence.value > evidence.path[0]
    (drawer,) = found.joints
    assert drawer.verdict is Verdict.REDRAW
    # Four faces by 0.06 mm, less what the full profile still counts for.
    assert drawer.best_gap_mm - drawer.gap_mm == pytest.approx(0.22, abs=0.06)


def test_what_is_far_off_is_weighed_too():
    found = held(recheck(2, 0.9))
    assert np.isfinite(found.evidence.value)
    assert found.verdict is Still.NO


def test_one_odd_print_is_watched_and_forgotten_when_the_next_are_as_before():
    moved = [recheck(2, 0.06), recheck(3, 0.06)]
    assert held(*moved, same_hand=True).verdict is not Still.YES
    back = [recheck(month) for month in range(4, 9)]
    assert held(moved[0], *back, same_hand=True).verdict is Still.YES


def test_another_hand_moves_thresholds_and_not_the_machine():
    # Every threshold 0.06 mm higher is two sds of what hands differ by.
    names = ("from_force", "from_push", "from_slide", "from_loose")
    base = known_profile()
    means = {name: base.means[name] + 0.06 for name in names}
    checks = [recheck(month) for month in (2, 3, 4)]
    by_another = [one.model_copy(update={"means": one.means | means}) for one in checks]
    values = [
        still_good(full(), by_another, DRAWER, same_hand=same).evidence.value
        for same in (False, True)
    ]
    assert values[0] < WATCH_FROM


@pytest.mark.parametrize(
    ("names", "same"),
    [
        (("Bo", "Bo", "Bo"), True),
        (("Bo", "Bo", "Al"), False),
        (("Bo", "Bo", None), False),
        ((None, None, None), False),
    ],
)
def test_one_person_is_known_by_name(names, same, monkeypatch):
    hands = [Hand(by=name) if name else None for name in names]
    base, *checks = (
        one.model_copy(update={"hand": hand})
        for one, hand in zip([full(), recheck(2), recheck(3)], hands, strict=True)
    )
    asked = []

    def noted(profiles, same_hand, times):
        asked.append(same_hand)
        return RecheckSeries(profiles, same_hand, times)

    monkeypatch.setattr(still, "RecheckSeries", noted)
    still_good(base, checks, DRAWER)
    assert asked == [same]


def test_a_recheck_that_says_nothing_changes_nothing():
    empty = known_profile(sd_share=UNTOLD, printed_on=date(2026, 2, 5), entries_sha256="e" * 64)
    with pytest.raises(AnswerError, match="say nothing of this machine"):
        held(empty)
    found = held(recheck(3), empty)
    assert found.verdict is Still.YES


def naive(series):
    """The evidence by the densities of the numbers themselves, one change after another."""
    total = 0.0
    weights = series.nodes
    null = [multivariate_normal(cov=series.covariance(*one)).logpdf(series.t) for one in weights]
    moved, shares = series.changes(), series.change_weights[-1]
    for at, share in enumerate(shares):
        cause, shape = divmod(at, moved.shape[2])
        by = moved[:, cause, shape]
        for size in SIZES:
            other = [
                multivariate_normal(
                    cov=series.covariance(*one) + size**2 * np.outer(by, by)
                ).logpdf(series.t)
                for one in weights
            ]
            ratio = np.exp(np.logaddexp.reduce(other) - np.logaddexp.reduce(null))
            total += share * ratio / len(SIZES)
    return total


def test_the_evidence_is_what_the_densities_say():
    series = RecheckSeries([full(), recheck(2), recheck(3, 0.03)])
    series.scatter_nodes = series.scatter_nodes[:2]
    series.causes = {name: series.causes[name] for name in ("extrusion", "scale_x")}
    assert weigh(series).value == pytest.approx(naive(series), rel=1e-6)


def test_the_weights_are_one_after_a_year():
    series = RecheckSeries([full(), *[recheck(2 + k % 10) for k in range(A_YEAR)]])
    assert series.change_weights.sum(axis=1)[-1] == pytest.approx(STEPS + DRIFT)
    first = list(series.causes).index("extrusion") * len(series.shapes)
    assert series.change_weights[0, first] == pytest.approx(STEPS / A_YEAR * EXTRUSION_SHARE)
    assert np.all(series.change_weights[0, first + 1 : first + A_YEAR] == 0)


def test_the_numbers_of_a_profile_give_its_posterior_back():
    profile = recheck(3, 0.02)
    told = told_by(profile)
    sd = prior_sd(EXTRUSION)
    gain = told.loadings
    mean = gain @ told.t
    covariance = np.eye(len(TERMS)) - gain @ gain.T
    assert np.allclose(covariance * np.outer(sd, sd), profile.covariance_matrix, atol=1e-9)
    assert np.allclose(prior_mean() + sd * mean, profile.mean_vector, atol=1e-9)


def test_the_machine_as_it_is_now_is_what_all_prints_say_of_it():
    # Unchanged, the terms are the sum of all information, as in any normal model.
    series = RecheckSeries([full(), recheck(2)], same_hand=True)
    series.scatter_nodes = np.full((1, len(EXTRUSION.prints)), 1e-12)
    now = weigh(series)
    at = TERMS.index("skew")  # no print effect moves it
    sd = prior_sd(EXTRUSION)[at]
    information = [(1 / share**2 - 1) / sd**2 for share in (0.2, 0.3)]
    # The rest of the mixture is the likeliest change, which is of another term.
    assert now.covariance[at, at] == pytest.approx(1 / (sum(information) + sd**-2), rel=1e-6)


def scalar_series(n, noise_sd):
    """A machine with one term, known outright, and re-checks of it with noise; prints are alike."""
    at = TERMS.index("growth_ext")
    unit = np.zeros((len(TERMS), 1))
    unit[at] = 1.0
    none, prints = np.zeros((1, len(EXTRUSION.prints))), np.ones(len(EXTRUSION.prints))
    share = 1 / (1 + noise_sd**2)
    known = ProfileData(np.zeros(1), unit, none, prints, np.full((1, 1), 1e-9))
    again = ProfileData(
        np.zeros(1), unit * np.sqrt(share), none, prints, np.full((1, 1), noise_sd**2 * share)
    )
    series = RecheckSeries([full()] * (n + 1), same_hand=True)
    series.told = [known, *[again] * n]
    series.t, series.of = np.zeros(n + 1), np.arange(n + 1)
    series.loadings = np.concatenate([one.loadings for one in series.told], axis=1)
    series.scatter_nodes = series.scatter_nodes[:1]
    series.causes = {"extrusion": unit[:, 0]}
    return series, np.sqrt(share)


@pytest.mark.parametrize(("noise_sd", "seen"), [(0.5, 2.0), (0.2, -1.5)])
def test_what_moved_is_what_the_recheck_saw_drawn_towards_none(noise_sd, seen):
    series, gain = scalar_series(1, noise_sd)
    series.t = np.array([0.0, gain * seen])
    found = weigh(series)
    # One change of normal size, seen once with noise, on a machine that was known outright.
    variance = 1 / (1 / max(SIZES) ** 2 + 1 / noise_sd**2)
    mean = variance * seen / noise_sd**2
    sd = prior_sd(EXTRUSION)[TERMS.index("growth_ext")]
    assert found.shift == pytest.approx(sd * mean, rel=1e-6)
    assert found.sd == pytest.approx(sd * variance**0.5, rel=1e-6)
    assert (found.cause, found.cause_share, found.since) == ("extrusion", 1.0, 0)
    # Before any re-check one machine in five is taken to have changed.
    chance = 0.2 * found.value / (0.2 * found.value + 0.8)
    at = TERMS.index("growth_ext")
    assert found.mean[at] - prior_mean()[at] == pytest.approx(chance * sd * mean, rel=1e-4)
    expected = chance * variance + chance * (1 - chance) * mean**2
    assert found.covariance[at, at] == pytest.approx(sd**2 * expected, rel=1e-4)
    others = np.arange(len(TERMS)) != at
    assert found.covariance[others, others] == pytest.approx(prior_sd(EXTRUSION)[others] ** 2)


def test_a_change_that_can_be_found_is_found_four_times_in_five():
    series, gain = scalar_series(3, 0.4)
    series.t = np.zeros(4)
    detectable = weigh(series).detectable_sds["extrusion"]
    values = []
    for noise in (-0.84, -2.0):  # what one re-check in five, or one in forty, falls short by
        series.t = np.array([0, 0, 0, gain * (detectable + 0.4 * noise)])
        values.append(weigh(series).value)
    assert values[0] > 0.9 * NO_FROM
    assert values[1] < 0.5 * NO_FROM


def test_nothing_can_be_found_of_a_cause_that_the_last_recheck_says_nothing_of():
    series, _ = scalar_series(2, 0.4)
    series.causes |= {"skew": np.eye(len(TERMS))[TERMS.index("skew")]}
    assert set(weigh(series).detectable_sds) == {"extrusion"}


@pytest.mark.slow
@pytest.mark.parametrize(
    ("shift_sds", "cusum"),
    # Average run lengths of a two-sided cumulative sum chart with k = 0.5 and h = 4, whose false
    # alarms are one in 168 checks: D. C. Montgomery, Introduction to Statistical Quality Control,
    # table of the tabular cusum (values from memory).
    [(1.0, 8.38), (2.0, 3.34), (3.0, 2.19)],
)
def test_run_lengths_are_those_of_a_control_chart_that_knows_the_machine(shift_sds, cusum):
    # The limit is put where an unchanged machine is told no in as many checks of the first year as
    # the chart's. 4,000 series, standard error of a run length 1 %. No chart looks for a change of
    # unknown size and time at once as soon as one made for a change of one sd: a third longer.
    n, noise_sd, many = 40, 0.25, 4000
    series, root = scalar_series(n, noise_sd)
    rng = np.random.default_rng(3)
    noise = root * noise_sd * rng.normal(size=(n, many))
    machine = rng.normal(size=many)
    quiet = paths(series, np.concatenate([machine[None], root * machine + noise]))[0]
    limit = np.quantile(quiet[:A_YEAR].max(axis=0), 1 - A_YEAR / 168)
    moved = root * (machine + shift_sds * noise_sd)
    values = paths(series, np.concatenate([machine[None], moved + noise]))[0]
    found = values >= limit
    assert found.any(axis=0).mean() > 0.99
    length = np.mean(np.argmax(found, axis=0) + 1)
    assert length < 1.34 * cusum
    assert length > 0.7 * cusum


@pytest.mark.slow
def test_a_year_without_a_change_says_no_seldom_even_where_the_machine_is_known_outright():
    # The hardest case: nothing that prints have of their own blurs a change. 4,000 years, the
    # evidence exceeds its limit in 1 year of c at most (Doob); standard error 0.3 %.
    series, root = scalar_series(A_YEAR, 0.25)
    rng = np.random.default_rng(4)
    machine = rng.normal(size=4000)
    t = root * (machine + 0.25 * rng.normal(size=(A_YEAR, 4000)))
    most = paths(series, np.concatenate([machine[None], t]))[0].max(axis=0)
    assert np.mean(most >= NO_FROM) < 0.05 + 0.01
    assert np.mean(most >= WATCH_FROM) < 1 / WATCH_FROM


@pytest.mark.parametrize(
    ("rechecks", "says"),
    [
        ([recheck(2, machine="bench-2")], "re-check 1: expected machine 'bench-1' as in the full"),
        ([recheck(2, material="white")], "expected material 'grey' as in the full profile"),
        ([recheck(2), recheck(3, nozzle_mm=0.6)], "re-check 2: expected nozzle_mm 0.4"),
        ([recheck(2, layer_height_mm=0.3)], "expected layer_height_mm 0.2"),
        ([recheck(2), recheck(2)], "re-check 2: expected a print of its own, got the same entries"),
        ([full()], "re-check 1: expected a print of its own"),
        (
            [recheck(2).model_copy(update={"printed_on": date(2025, 12, 1)})],
            "expected a later print",
        ),
        (
            [recheck(2, prints=("a" * 16,)), recheck(3, prints=("b" * 16, "a" * 16))],
            "re-check 2: expected a print of its own, got a print that is in the full profile",
        ),
        ([], "at least one re-check"),
    ],
)
def test_what_cannot_be_held_against_one_another_is_refused(rechecks, says):
    with pytest.raises(AnswerError, match=says):
        still_good(full(), rechecks, DRAWER)


def test_runs_are_named_in_the_order_of_their_prints():
    checks = [recheck(3), recheck(2)]
    assert held(*checks, runs=("march", "february")).runs == ("february", "march")
    assert held(*checks).runs == ("", "")


def test_one_print_of_the_full_profile_is_no_recheck_of_it():
    base = full(prints=("a" * 16, "b" * 16))
    one, own = recheck(2, prints=("b" * 16,)), recheck(3, prints=("c" * 16,))
    with pytest.raises(AnswerError, match="re-check 1: expected a print of its own"):
        still_good(base, [one, own], DRAWER)


def test_rechecks_may_be_given_in_any_order():
    checks = [recheck(2), recheck(3, 0.05), recheck(4, 0.05)]
    one, other = held(*checks), held(*checks[::-1])
    assert one.evidence.path == other.evidence.path
    assert one.dates == other.dates == (date(2026, 2, 5), date(2026, 3, 5), date(2026, 4, 5))


def said(tmp_path, *profiles, options=()):
    paths = []
    for n, profile in enumerate(profiles):
        write_profile(profile, tmp_path / f"{n}.json")
        paths.append(str(tmp_path / f"{n}.json"))
    return CliRunner().invoke(main, ["still", *paths, *options])


def test_the_command_says_yes_what_was_found_and_what_would_have_been(tmp_path):
    result = said(tmp_path, full(), recheck(2))
    assert result.exit_code == 0, result.output
    lines = result.output.splitlines()
    assert lines[0].startswith("YES: bench-1, grey is still as its profile of 2026-01-05 says")
    assert max(map(len, lines)) <= 80
    text = " ".join(result.output.split())
    assert "joints drawn by the full profile still work" in text
    assert "would be found by it with 80 % power" in text


def test_the_command_says_no_with_what_moved_and_what_to_do(tmp_path):
    profiles = [full(), recheck(2), recheck(3, 0.06), recheck(4, 0.06), recheck(5, 0.06)]
    joints = tmp_path / "joints.csv"
    joints.write_text("name,internal,external,size_mm,across,fit\nlid,slot,tongue,12,x,slide\n")
    options = ["--same-hand", "--joints", str(joints)]
    result = said(tmp_path, *profiles, options=options)
    assert result.exit_code == 1
    text = " ".join(result.output.split())
    assert text.startswith("NO: bench-1, grey is no longer as its profile of 2026-01-05 says")
    assert "from the re-check of 2026-03-05 on" in text
    assert "Look at the extrusion amount" in text
    assert "lid 0.40" in text
    assert "0 of 1 joints drawn by the full profile still work" in text
    data = json.loads(said(tmp_path, *profiles, options=[*options, "--json"]).output)
    assert (data["still"], data["cause"], data["since"]) == ("no", "extrusion", "2026-03-05")
    assert len(data["evidence_path"]) == 4


def test_a_profile_of_an_older_model_is_to_be_fitted_again(tmp_path):
    kept = Path(__file__).parents[1] / "kept_profiles" / "version-2.json"
    write_profile(recheck(2), tmp_path / "r.json")
    result = CliRunner().invoke(main, ["still", str(kept), str(tmp_path / "r.json")])
    assert result.exit_code == 1
    assert "expected a profile of today's model" in result.stderr


def test_no_chance_of_the_table_is_cut():
    found = held(recheck(2))
    rare = tuple(replace(one, chance_then=0.001, chance=0.001) for one in found.joints)
    lines = list(still_lines(replace(found, joints=rare)))
    assert "…" not in "".join(lines)
    assert all("<1\N{NO-BREAK SPACE}%" in line for line in lines[1:])


def test_listed_joints_are_held_pair_by_pair_and_a_hole_without_a_fit_is_left_out(tmp_path):
    joints = tmp_path / "joints.csv"
    joints.write_text(
        "name,internal,external,size_mm,across,fit,hardware\n"
        "filter cell,pocket,plate,40x25,xy,slide,\ncover screw,,,,z,,screw M3 medium\n",
        encoding="utf-8",
    )
    result = said(tmp_path, full(), recheck(2), options=("--joints", str(joints)))
    assert result.exit_code == 0, result.output
    assert "filter cell, across x" in result.output
    assert "2 of 2 joints drawn by the full profile still work" in result.output
    assert "without a fit: cover screw." in " ".join(result.output.split())


def test_a_list_of_which_nothing_can_be_held_says_so(tmp_path):
    joints = tmp_path / "joints.csv"
    joints.write_text(
        "name,internal,external,size_mm,across,fit,hardware\ncover screw,,,,z,,screw M3 medium\n",
        encoding="utf-8",
    )
    told = said(tmp_path, full(), recheck(2), options=("--joints", str(joints))).output
    assert "0 of 0" not in told
    assert "No joint drawn by the full profile can be held" in told
    assert "without a fit: cover screw." in " ".join(told.split())
    assert "\n\n\n" not in told
