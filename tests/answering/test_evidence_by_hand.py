"""The evidence of re-checks on plain cases: one term, one hand, one change."""

import math
from dataclasses import replace
from datetime import date
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.optimize import brentq
from support.known_profile import known_profile

from coupons.answering.compare import still
from coupons.answering.compare.likelihood_ratio import weigh
from coupons.answering.compare.recheck_series import CAUSES, ProfileData, RecheckSeries, told_by
from coupons.answering.compare.side_by_side import Verdict
from coupons.answering.compare.still import JointStill, Still, StillGood, still_good
from coupons.answering.question import Question
from coupons.errors import AnswerError
from coupons.learning.effects import TERMS, prior_sd
from coupons.learning.prior_table import EXTRUSION
from coupons.learning.profile import LogSpread
from coupons.terms import Direction, Form, Grade, Joint

DRAWER = Question(Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X), Grade.SLIDE)
SDS = dict(zip(TERMS, prior_sd(EXTRUSION), strict=True))


def unit(name):
    return np.eye(len(TERMS))[TERMS.index(name)]


def scalar_series(noise_sd, *seen, times=None):
    """A growth that is known outright at first; each re-check sees it with noise, in prior sds."""
    row = unit("growth_ext")[:, None]
    none, prints = np.zeros((1, len(EXTRUSION.prints))), np.ones(len(EXTRUSION.prints))
    share = 1 / (1 + noise_sd**2)
    told = [ProfileData(np.zeros(1), row, none, prints, np.full((1, 1), 1e-9))]
    for each in seen:
        t = np.array([each * share**0.5])
        rest = np.full((1, 1), noise_sd**2 * share)
        told.append(ProfileData(t, row * share**0.5, none, prints, rest))
    series = RecheckSeries([known_profile()] * len(told), same_hand=True, times=times)
    series.told = told
    series.t = np.concatenate([one.t for one in told])
    series.of = np.arange(len(told))
    series.loadings = np.concatenate([one.loadings for one in told], axis=1)
    series.scatter_nodes = series.scatter_nodes[:1]
    series.causes = {"extrusion": row[:, 0]}
    return series


def ratio(seen, noise_sd, change_sd):
    """Return the density with a change of this size over that without, of one number seen."""
    with_it = noise_sd**2 + change_sd**2
    logs = seen**2 / 2 * (1 / noise_sd**2 - 1 / with_it)
    return math.exp(logs) * (noise_sd**2 / with_it) ** 0.5


@pytest.mark.parametrize(("noise_sd", "seen"), [(0.3, 0.0), (0.3, 0.9), (0.5, -1.5)])
def test_the_evidence_of_one_recheck_is_a_mean_of_likelihood_ratios(noise_sd, seen):
    # Sizes of 0.25 and 0.75 prior sds alike. A step has a twelfth of 0.8, a drift 0.2: over one
    # month of six it is a sixth as large.
    step = np.mean([ratio(seen, noise_sd, size) for size in (0.25, 0.75)])
    drift = np.mean([ratio(seen, noise_sd, size / 6) for size in (0.25, 0.75)])
    found = weigh(scalar_series(noise_sd, seen))
    assert found.value == pytest.approx(0.8 / 12 * step + 0.2 * drift, rel=1e-6)
    assert found.path == (found.value,)
    assert found.since == 0  # one print cannot show a steady change


def test_a_drift_is_by_the_months_that_passed():
    # Twelve months after the first print a drift is twice as large as a step.
    noise_sd, seen = 0.3, 0.9
    found = weigh(scalar_series(noise_sd, seen, times=[2.0, 14.0]))
    step = np.mean([ratio(seen, noise_sd, size) for size in (0.25, 0.75)])
    drift = np.mean([ratio(seen, noise_sd, 2 * size) for size in (0.25, 0.75)])
    assert found.value == pytest.approx(0.8 / 12 * step + 0.2 * drift, rel=1e-6)


@pytest.mark.parametrize("last_month", [3.0, 12.0])
def test_a_drift_is_told_as_far_as_it_came(last_month):
    # One prior sd over all months: three steps of it would be 0.33, 0.67 and 1.
    months = np.linspace(0.0, last_month, 4)
    found = weigh(scalar_series(0.05, *(months[1:] / last_month), times=months))
    assert found.since is None
    assert found.shift == pytest.approx(SDS["growth_ext"], rel=0.02)
    assert found.sd < 0.06 * SDS["growth_ext"]
    now = found.mean[TERMS.index("growth_ext")]
    first = known_profile().means["growth_ext"]
    assert now - first == pytest.approx(found.shift, rel=0.02)


def test_a_step_that_is_still_to_come_does_not_count_and_a_later_one_is_told():
    # The second of two re-checks alone is off: the step came with it.
    found = weigh(scalar_series(0.2, 0.0, 1.2))
    assert found.since == 1
    first = weigh(scalar_series(0.2, 0.0))
    assert found.path[0] == pytest.approx(first.value)
    assert len(found.path) == 2


@pytest.mark.parametrize("noise_sd", [0.3, 1.0])
def test_what_can_be_found_is_what_reaches_the_limit_and_a_little_more(noise_sd):
    # The smallest z, in sds of the noise, at which one size with half of a step's share reaches 8.
    def short(z, size):
        return 0.8 / 12 / 2 * ratio(z * noise_sd, noise_sd, size) - 8

    least = min(brentq(short, 0, 40, args=(size,)) for size in (0.25, 0.75))
    found = weigh(scalar_series(noise_sd, 0.0)).detectable_sds["extrusion"]
    assert found == pytest.approx((least + 0.84) * noise_sd, rel=1e-6)


def series_of(*profiles, **more):
    return RecheckSeries(list(profiles), **more)


def test_causes_are_those_that_the_rechecks_say_something_of():
    # A term tells 1 − share² of a variance of one; at least 0.02 is something.
    shares = dict.fromkeys(TERMS, 1.0) | {"skew": 0.98, "scale_x": 0.995, "growth_int": 0.5}
    series = series_of(known_profile(), known_profile(sd_share=shares))
    assert set(series.causes) == {"skew", "growth_int", "extrusion"}
    assert series.causes["extrusion"] == pytest.approx(unit("growth_ext") + unit("growth_int"))
    assert series.causes["skew"] == pytest.approx(unit("skew"))
    # Of the first profile it says nothing, and several re-checks count by the best of them.
    later = series_of(known_profile(sd_share=shares), *[known_profile(sd_share=1.0)] * 2)
    assert later.causes == {}
    best = series_of(known_profile(), known_profile(sd_share=1.0), known_profile(sd_share=shares))
    assert set(best.causes) == set(series.causes)
    assert not set(CAUSES) & {"scale_int", "growth_ext_xy", "growth_int_xy", "curl_ext"}
    assert set(CAUSES) <= {"extrusion", *TERMS}


def test_extrusion_has_two_fifths_among_the_causes():
    series = series_of(known_profile(), known_profile(), known_profile())
    weights = series.change_weights.reshape(2, len(series.causes), 3)
    by_cause = dict(zip(series.causes, weights[-1].sum(axis=1), strict=True))
    whole = 0.8 * 2 / 12 + 0.2  # two steps of twelve, and the drift
    assert by_cause["extrusion"] == pytest.approx(0.4 * whole)
    rest = 0.6 / (len(by_cause) - 1)
    assert by_cause["skew"] == pytest.approx(rest * whole)
    assert weights[0].sum() == pytest.approx(0.8 / 12 + 0.2)
    alone = series_of(known_profile(), known_profile())
    alone.causes = {"skew": unit("skew")}
    assert alone.change_weights.sum() == pytest.approx(0.8 / 12 + 0.2)


def test_shapes_are_steps_then_a_drift_from_the_first_print():
    series = series_of(*[known_profile()] * 3, times=[1.0, 4.0, 10.0])
    assert [shape.tolist() for shape in series.shapes] == [[0, 1, 1], [0, 0, 1], [0, 0.5, 1.5]]
    assert series_of(*[known_profile()] * 3).times.tolist() == [0, 1, 2]


FULL, SECOND, THIRD = known_profile(sd_share=0.2), known_profile(sd_share=0.3), known_profile()


def seen(series, name, at):
    """Return by how much the numbers of one profile show a term."""
    loads = series.loadings.T @ unit(name)
    return np.where(series.of == at, loads, 0.0)


@pytest.mark.parametrize("each_another", [False, True])
def test_profiles_agree_on_a_machine_and_each_hand_with_itself(each_another):
    # Of a diagonal posterior a profile shows 1 − share² of a term: 0.96, 0.91 and 0.99. A hand
    # moves all thresholds by 0.03 mm: 0.03/0.08 of force's, 0.03/0.06 of push's.
    series = series_of(FULL, SECOND, THIRD)
    squares = FULL.print_squares
    found = series.covariance(squares, each_another)
    shown = (0.96, 0.91, 0.99)

    def shared(one, at, other, then):
        return float(seen(series, one, at) @ found @ seen(series, other, then))

    for at, then in ((0, 1), (0, 2), (1, 2)):
        both = shown[at] * shown[then]
        assert shared("skew", at, "skew", then) == pytest.approx(both)
        hand = 1.0 if at == 0 or each_another else 0.0
        force, push = 0.03 / 0.08 * hand, 0.03 / 0.06
        assert shared("from_force", at, "from_force", then) == pytest.approx(both * (1 - force**2))
        crossed = shared("from_force", at, "from_push", then)
        assert crossed == pytest.approx(-both * force * push)
    # One person tried all: nothing is taken off.
    same = series_of(FULL, SECOND, THIRD, same_hand=True)
    whole = same.covariance(squares, each_another)
    crossed = seen(same, "from_force", 0) @ whole @ seen(same, "from_force", 1)
    assert crossed == pytest.approx(0.96 * 0.91)
    assert len(same.nodes) == 48
    assert len(series.nodes) == 96


def test_numbers_of_one_profile_are_independent_where_prints_differ_as_believed():
    # Of the bed no fit knows more than its own print differs by, which is little here.
    profile = known_profile(sd_share=0.2, scatters={"rho_bed": 0.01})
    series = series_of(profile, SECOND, same_hand=True)
    own = series.covariance(profile.print_squares, False)[: series.ends[0], : series.ends[0]]
    assert own == pytest.approx(np.eye(len(own)), abs=1e-3)
    # Where they differ more, the growths scatter more: by half of what more there is of rho.
    more = profile.print_squares.copy()
    more[0] += 0.02**2
    wide = series.covariance(more, False)[: series.ends[0], : series.ends[0]]
    growth = series.loadings[:, : series.ends[0]].T @ unit("growth_ext")
    added = growth @ (wide - own) @ growth
    assert added == pytest.approx((0.96 * 0.5 * 0.02 / SDS["growth_ext"]) ** 2)


def test_of_several_prints_their_own_parts_are_means():
    three = known_profile(sd_share=0.2, runs=3)
    told = told_by(three)
    assert told.prints.tolist() == [3.0] * len(EXTRUSION.prints)
    series = series_of(three, SECOND, same_hand=True)
    more = three.print_squares.copy()
    more[0] += 0.02**2
    ends = series.ends[0]
    wide = series.covariance(more, False) - series.covariance(three.print_squares, False)
    growth = series.loadings[:, :ends].T @ unit("growth_ext")
    added = growth @ wide[:ends, :ends] @ growth
    assert added == pytest.approx((0.96 * 0.5 * 0.02 / SDS["growth_ext"]) ** 2 / 3)


def test_nodes_of_the_scatters_are_spread_as_they_are_believed():
    scatters = {"rho": 0.02, "rho_bed": 0.05}
    profile = known_profile(scatters=scatters)
    nodes = series_of(profile, profile).scatter_nodes
    assert nodes.shape == (48, len(EXTRUSION.prints))
    logs = np.log(nodes) / 2
    places = [effect.scatter for effect in EXTRUSION.prints]
    for name, mm in scatters.items():
        of = logs[:, places.index(name)]
        assert of.mean() == pytest.approx(math.log(mm), abs=0.02)
        assert of.std() == pytest.approx(0.2, rel=0.1)
    # Both effects of rho go with it, the second at a half; different scatters go by themselves.
    assert nodes[:, 1] == pytest.approx(nodes[:, 0] / 4)
    others = [places.index(name) for name in dict.fromkeys(places)]
    apart = np.corrcoef(logs[:, others].T) - np.eye(len(others))
    assert np.abs(apart).max() < 0.4


def test_another_hand_tells_less_of_the_first_ones_thresholds():
    # Nothing but one threshold and squareness is known: 0.2 of the prior's sd from the first
    # person, 0.3 from another, who differs by 0.03 of 0.08 mm. Two normals seen with noise.
    shares = dict.fromkeys(TERMS, 1.0)
    first, other = (
        known_profile(sd_share=shares | {"from_slide": share, "skew": share})
        for share in (0.2, 0.3)
    )
    quiet = {name: LogSpread(median_mm=1e-9, log_sd=0.0) for name in first.scatters}
    pair = [one.model_copy(update={"scatters": quiet}) for one in (first, other)]
    common = 1 - (0.03 / 0.08) ** 2
    before = np.array([[1, common], [common, 1]])
    noise = np.diag([1 / (1 / 0.2**2 - 1), 1 / (1 / 0.3**2 - 1)])
    left = before - before @ np.linalg.solve(before + noise, before)
    at = TERMS.index("from_slide")
    found = weigh(series_of(*pair))
    assert found.covariance[at, at] == pytest.approx(left[0, 0] * SDS["from_slide"] ** 2, rel=1e-3)
    alone = 1 / (1 / 0.2**2 + 1 / 0.3**2 - 1)
    same = weigh(series_of(*pair, same_hand=True))
    assert same.covariance[at, at] == pytest.approx(alone * SDS["from_slide"] ** 2, rel=1e-3)


# What is made of it.


@pytest.mark.parametrize(
    ("value", "verdict"),
    [(0.1, "yes"), (1.99, "yes"), (2.0, "watch"), (7.99, "watch"), (8.0, "no"), (1e6, "no")],
)
def test_watch_from_two_and_no_from_eight(value, verdict):
    evidence = SimpleNamespace(value=value, since=None)
    found = StillGood(FULL, (None,), evidence, (), (), None)
    assert found.verdict is Still(verdict)
    assert found.since is None
    days = (date(2026, 2, 5), date(2026, 3, 5))
    dated = replace(found, dates=days, evidence=SimpleNamespace(value=value, since=1))
    assert dated.since == days[1]


@pytest.mark.parametrize(
    ("chance", "best", "verdict"),
    [
        (0.5, 0.6, Verdict.WORKS),
        (0.5, 0.61, Verdict.REDRAW),
        (0.49, 0.55, Verdict.NO_WORSE),
        (0.9, 0.9, Verdict.WORKS),
    ],
)
def test_a_drawing_is_drawn_anew_where_it_loses_more_than_ten_points(chance, best, verdict):
    assert JointStill("lid", 0.3, 0.9, chance, 0.4, best).verdict is verdict


def recheck(day, entries, **changes):
    return known_profile(sd_share=0.3, printed_on=day, entries_sha256=entries * 64, **changes)


def times_of(monkeypatch, *profiles):
    asked = []

    def noted(*given):
        asked.append(given[2])
        return SimpleNamespace(causes={})  # which is refused, before anything is weighed

    monkeypatch.setattr(still, "RecheckSeries", noted)
    with pytest.raises(AnswerError, match="say nothing"):
        still_good(profiles[0], profiles[1:], {})
    return asked[0]


def test_months_are_counted_from_the_full_profile(monkeypatch):
    first = known_profile(printed_on=date(2026, 1, 5), sd_share=0.2)
    days = (date(2026, 2, 4), date(2027, 1, 5))
    found = times_of(monkeypatch, first, recheck(days[0], "a"), recheck(days[1], "b"))
    # A month is 365.25/12 days.
    assert found == pytest.approx([0.0, 30 / 30.4375, 365 / 30.4375])
    undated = recheck(None, "c")
    assert times_of(monkeypatch, first, undated) is None
    assert times_of(monkeypatch, known_profile(sd_share=0.2), recheck(days[0], "a")) is None


def test_prints_of_one_day_may_be_held_against_one_another():
    first = known_profile(printed_on=date(2026, 1, 5), sd_share=0.2)
    assert still_good(first, [recheck(date(2026, 1, 5), "a")], {}).dates == (date(2026, 1, 5),)
    with pytest.raises(AnswerError) as refused:
        still_good(first, [recheck(date(2026, 1, 4), "a"), recheck(date(2026, 1, 3), "a")], {})
    problems = refused.value.problems
    # In the order of time: both before the full profile, the second of the same entries.
    assert [(p.where, p.got) for p in problems] == [
        ("re-check 1", "2026-01-03, before 2026-01-05"),
        ("re-check 2", "the same entries again"),
        ("re-check 2", "2026-01-04, before 2026-01-05"),
    ]


def test_a_change_that_could_be_found_is_told_over_the_four_faces_of_a_joint():
    found = still_good(FULL, [recheck(None, "a")], {"drawer": DRAWER})
    sds = found.evidence.detectable_sds["extrusion"]
    assert found.detectable_mm == pytest.approx(4 * 0.08 * sds)
    (drawer,) = found.joints
    assert drawer.gap_mm == pytest.approx(drawer.best_gap_mm, abs=0.03)
    assert found.unanswered == ()
    only = dict.fromkeys(TERMS, 1.0) | {"skew": 0.2}
    lengths = known_profile(sd_share=only, entries_sha256="b" * 64)
    assert still_good(FULL, [lengths], {}).detectable_mm is None


def test_what_has_no_fit_or_was_not_measured_is_left_unanswered():
    shares = {"growth_int_z": 1.0, "growth_ext_z": 1.0, "scale_z": 1.0}
    vague = known_profile(sd_share=shares)
    questions = {
        "gap": replace(DRAWER, printed_gap_mm=0.2),
        "drawer": DRAWER,
        "shelf": replace(DRAWER, joint=replace(DRAWER.joint, direction=Direction.Z)),
    }
    again = known_profile(sd_share=shares, entries_sha256="a" * 64)
    found = still_good(vague, [again], questions)
    assert found.unanswered == ("gap", "shelf")
    assert [one.name for one in found.joints] == ["drawer"]


def as_now(*rechecks, **means):
    """Return the profile as it is now, where these terms moved and each is known to 0.01."""
    mean = FULL.mean_vector.copy()
    for name, value in means.items():
        mean[TERMS.index(name)] = value
    covariance = 1e-4 * np.eye(len(TERMS))
    return still._as_now(FULL, rechecks, SimpleNamespace(mean=mean, covariance=covariance))


def test_the_machine_as_it_is_now_has_what_all_prints_taught():
    now = as_now(recheck(None, "a"), recheck(None, "b", runs=2), growth_ext=0.07)
    assert now.means["growth_ext"] == 0.07
    assert now.means["skew"] == FULL.means["skew"]
    assert now.covariance_matrix == pytest.approx(1e-4 * np.eye(len(TERMS)))
    assert now.counts.informing == (1 + 1 + 2,) * len(EXTRUSION.prints)
    assert (now.counts.trials, now.machine) == (FULL.counts.trials, FULL.machine)


@pytest.mark.parametrize(("slide_mm", "is_kept"), [(0.05, True), (0.0, True), (-0.01, False)])
def test_thresholds_that_no_longer_rise_are_those_of_the_full_profile(slide_mm, is_kept):
    now = as_now(recheck(None, "a"), from_slide=slide_mm, from_loose=0.35, growth_ext=0.07)
    edges = {name: now.means[name] for name in ("from_push", "from_slide", "from_loose")}
    moved = {"from_push": 0.0, "from_slide": slide_mm, "from_loose": 0.35}
    assert edges == (moved if is_kept else {name: FULL.means[name] for name in edges})
    assert now.means["growth_ext"] == 0.07


def test_rechecks_without_dates_stay_in_the_order_given():
    one, other = recheck(date(2026, 3, 5), "a"), recheck(None, "b")
    assert still._in_order([one, other]) == [one, other]
    early = recheck(date(2026, 2, 5), "b")
    assert still._in_order([one, early]) == [early, one]
