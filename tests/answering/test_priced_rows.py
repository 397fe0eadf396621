"""What rows cost and reach, and what a goal makes of what is known, by hand."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from support.known_profile import known_profile
from support.small_coupon import small_coupon

from coupons.answering.next import coupon as coupon_module
from coupons.answering.next.coupon import Gain, ask_about, gains, most_for_its_time
from coupons.answering.next.from_nothing import profile_from_nothing
from coupons.answering.next.goal import Goal, JointWant
from coupons.answering.next.new_coupon import Proposal
from coupons.answering.next.priced_rows import PricedRow, PriceList, minutes_of
from coupons.answering.next.row_information import N_SHARED, draw_printers
from coupons.answering.offset import answer
from coupons.answering.print_gains import Narrowed, PrintGains
from coupons.answering.question import Question
from coupons.learning.effects import TERMS
from coupons.learning.prior_table import EXTRUSION
from coupons.learning.profile import MeasuredRange
from coupons.learning.profile_file import read_profile
from coupons.making.estimate import flow_mm3_s
from coupons.making.plan import plan_coupon, record
from coupons.making.spec.coupon_spec import Assumed, load_spec
from coupons.making.spec.row_kinds import FitRow, SizesRow
from coupons.terms import Direction, Form, Grade, Joint

X, Z = Direction.X, Direction.Z
SLIDE = Question(Joint(Form.SLOT, Form.TONGUE, 12.0, X), Grade.SLIDE)


def priced(print_s=60.0, height_mm=3.0, trials=4, readings=2, trials_s=60.0):
    return PricedRow(None, print_s, height_mm, trials, readings, trials_s, frozenset(), None)


@pytest.mark.parametrize(
    ("rows", "print_s", "bench_s"),
    [
        ([], 0, 0),
        # 120 s for the plate, 1.5 s for each of 15 layers of 0.2 mm; a reading takes 15 s, and
        # 8 s to take up the caliper.
        ([priced()], 120 + 15 * 1.5 + 60, 60 + 2 * 15 + 8),
        ([priced(readings=0)], 120 + 15 * 1.5 + 60, 60),
        # The tallest row decides about the layers, the caliper is taken up once.
        ([priced(), priced(height_mm=4.0)], 120 + 20 * 1.5 + 120, 120 + 4 * 15 + 8),
        # A layer that is begun counts, 0.6 mm are three layers in binary fractions too.
        ([priced(height_mm=0.6)], 120 + 3 * 1.5 + 60, 60 + 38),
        ([priced(height_mm=0.61)], 120 + 4 * 1.5 + 60, 60 + 38),
    ],
)
def test_rows_on_one_plate_take_their_plastic_layers_and_tries(rows, print_s, bench_s):
    assert minutes_of(rows, 0.2) == pytest.approx((print_s / 60, bench_s / 60))


@pytest.fixture(scope="module")
def prices():
    return PriceList(Assumed(), 120.0, draw_printers(profile_from_nothing(), 2))


def test_a_row_is_priced_by_what_is_printed_tried_and_read(prices):
    row = FitRow(kind="fit", form="slot", direction="x", size_mm=12.0, gaps_mm=(0.2, 0.3, 0.4))
    found = prices(row)
    # Three slots with two gauges each; of three slots the first is read, both gauges, and the
    # block from outside, both ways.
    assert (found.trials, found.readings) == (6, 5)
    # Two gauges in turn: 10 s a trial and 8 s for each change of what is in the hand.
    assert found.trials_s == 6 * 10 + 2 * 8
    assert {one for one in found.reaches if one[4]} == {
        (Form.SLOT, X, 12.2, 12.4, True),
        (Form.TONGUE, X, 12.0, 12.0, True),
    }
    assert {one[:2] for one in found.reaches if not one[4]} == {
        (Form.TONGUE, X),
        (Form.TONGUE, Direction.Y),
    }
    assert found.roots.shape[:2] == (2, N_SHARED)
    assert prices(row) is found
    twice = PriceList(Assumed(), 240.0, prices.printers)(row)
    assert twice.print_s == pytest.approx(found.print_s / 2)
    assert found.print_s * flow_mm3_s(Assumed(), 120.0) > 3 * 12 * 3 * 3


def test_what_is_only_read_reaches_its_sizes_untried(prices):
    found = prices(SizesRow(kind="sizes", form="tongue", direction="x", sizes_mm=(4, 20)))
    assert found.reaches == {(Form.TONGUE, X, 4.0, 20.0, False)}
    assert (found.trials, found.readings, found.trials_s) == (0, 2, 0)


def test_a_row_that_breaks_a_rule_has_no_price(prices):
    tall = FitRow(kind="fit", form="hole", direction="x", size_mm=60.0, gaps_mm=(0.2,), depth_mm=3)
    assert prices(tall) is None
    assert prices(tall) is None


# What is wanted.


def asked(question=SLIDE, **changes):
    return ask_about(known_profile(**changes), question)


def test_a_want_is_met_where_it_is_measured_and_known_so_far():
    known_to_mm = asked().known_to_mm
    assert not JointWant(asked()).is_met
    assert JointWant(asked(), known_to_mm * 1.001).is_met
    assert JointWant(asked(), known_to_mm).is_met
    assert not JointWant(asked(), known_to_mm * 0.999).is_met
    assert not JointWant(asked(sd_share=1.0), 10.0).is_met


def test_rows_are_made_about_the_gap_that_is_believed_to_be_right():
    target = JointWant(asked()).target
    assert (target.forms, target.direction, target.size_mm) == (
        (Form.SLOT, Form.TONGUE),
        X,
        12.0,
    )
    assert target.gap_mm == pytest.approx(answer(known_profile(), SLIDE).best_gap_mm, abs=0.01)
    printed = replace(SLIDE, printed_gap_mm=0.15)
    expected = answer(known_profile(), printed).best_gap_mm
    assert JointWant(asked(printed)).target.gap_mm == pytest.approx(expected, abs=0.01)


SHELF = Question(Joint(Form.SLOT, Form.TONGUE, 12.0, Z), Grade.SLIDE)


def test_a_goal_has_a_row_for_each_case_and_means_them_by_want():
    wants = [JointWant(asked(SHELF)), JointWant(asked(), 0.05)]
    goal = Goal(known_profile(), wants)
    # Across layers the tongue stands on the bed or not; in the plane there is one case.
    assert goal.rows.shape == (3, N_SHARED)
    assert not goal.rows[:, len(TERMS) :].any()
    assert goal.rows[2, TERMS.index("growth_ext")] == pytest.approx(-2)
    variances = goal.variances(np.stack([np.eye(N_SHARED), 3 * np.eye(N_SHARED)]))
    assert variances == pytest.approx(2 * (goal.rows**2).sum(axis=1))
    # Beside what stays open the variances of a want's cases count by their mean.
    none = goal.halves_mm(np.zeros(3), ())
    some = goal.halves_mm(np.array([0.02, 0.04, 0.01]), ())
    gained = (some / 1.6449) ** 2 - (none / 1.6449) ** 2
    assert gained == pytest.approx([0.03, 0.01])
    both = goal.halves_mm(np.array([[0.02, 0.04, 0.01], [0.0, 0.0, 0.0]]), ())
    assert both == pytest.approx(np.stack([some, none]))


def test_a_loss_is_of_logarithms_that_stop_where_it_is_enough():
    goal = Goal(known_profile(), [JointWant(asked(SHELF)), JointWant(asked(), 0.05)])
    assert goal.loss(np.array([0.2, 0.1])) == pytest.approx(np.log(0.2) + np.log(0.1))
    assert goal.loss(np.array([0.2, 0.01])) == pytest.approx(np.log(0.2) + np.log(0.05))
    several = goal.loss(np.array([[0.2, 0.1], [0.01, 0.06]]))
    assert several == pytest.approx(np.log([0.02, 0.0006]))


def test_what_stays_open_is_what_the_next_print_differs_by():
    # Twice 0.02 mm of rho, known to a fifth: exp(2·0.2²) more than its median's square.
    profile = known_profile(scatters={"rho": 0.02, "rho_scale": 1e-7})
    question = replace(SLIDE, contact_mm=20.0)
    goal = Goal(profile, [JointWant(ask_about(profile, question))])
    expected = 1.6449 * (4 * 0.02**2 * np.exp(0.08)) ** 0.5
    assert goal.halves_mm(np.zeros(1), ()) == pytest.approx([expected], rel=1e-3)
    (known,) = goal.known_to_mm(np.zeros((len(TERMS),) * 2), ())
    assert known == pytest.approx(expected, rel=0.02)


def test_reaches_join_what_was_measured_before():
    small = tuple(
        MeasuredRange(form=form, direction=X, low_mm=4, high_mm=8, tried_mm=(4, 8))
        for form in (Form.SLOT, Form.TONGUE)
    )
    profile = known_profile(measured=small)
    goal = Goal(profile, [JointWant(ask_about(profile, SLIDE))])
    found = {
        (one.form, one.direction): one
        for one in goal.measured_with(
            [(Form.SLOT, X, 6.0, 20.0, True), (Form.PIN, Z, 5.0, 5.0, False)]
        )
    }
    slot = found[Form.SLOT, X]
    assert (slot.low_mm, slot.high_mm, slot.tried_mm) == (4, 20, (4, 20))
    assert found[Form.PIN, Z].tried_mm is None
    assert found[Form.TONGUE, X].high_mm == 8
    # Beyond the sizes that were tried it stays less sure, until a coupon reaches them.
    reach = [(form, X, 4.0, 14.0, True) for form in (Form.SLOT, Form.TONGUE)]
    assert goal.halves_mm(np.zeros(1), reach) < goal.halves_mm(np.zeros(1), ())


def test_nothing_printed_yet_is_the_prior_with_nothing_measured():
    profile = profile_from_nothing(0.6, 0.3)
    assert (profile.nozzle_mm, profile.layer_height_mm, profile.measured) == (0.6, 0.3, ())
    assert set(profile.counts.informing) == {0}
    assert (profile.counts.trials, profile.counts.readings) == (0, 0)
    assert not ask_about(profile, SLIDE).measured
    assert not profile.rehearsed


# Which coupon to print next.


def test_the_shares_of_a_coupon_count_what_it_tries():
    coupons = {name: record(plan_coupon(load_spec(name))) for name in ("sliding", "upright")}
    profile = known_profile(sd_share=0.6)
    both = [ask_about(profile, SLIDE), ask_about(profile, SHELF)]
    found = {gain.coupon: gain for gain in gains(profile, both, coupons)}
    assert {name: gain.tries for name, gain in found.items()} == {
        "sliding": (True, False),
        "upright": (False, True),
    }
    for number, name in enumerate(("sliding", "upright")):
        gain, want = found[name], both[number]
        assert 0 < gain.known_to_mm[number] < want.known_to_mm
        shrunk = 1 - gain.known_to_mm[number] / want.known_to_mm
        assert gain.narrower == pytest.approx(shrunk / 2), "the other one counts as unchanged"


def test_the_coupon_is_chosen_that_narrows_most_a_minute_and_the_first_of_equals():
    found = [Gain("long", (0.1,), (True,), 0.6), Gain("short", (0.1,), (True,), 0.3)]
    minutes = {"long": 60.0, "short": 20.0}
    assert most_for_its_time(found, minutes).coupon == "short"
    assert most_for_its_time(found, {"long": 60.0, "short": 30.0}).coupon == "long"


def told_by_each(monkeypatch, shares):
    """Let each coupon leave a share of the terms' covariance; return what was believed before."""
    before = []

    def covariance_after(coupon, belief):
        before.append(belief)
        return belief.covariance * shares[coupon.spec.name]

    monkeypatch.setattr(coupon_module, "covariance_after", covariance_after)
    return before


def named(name, **changes):
    one = small_coupon(**changes)
    return one.model_copy(update={"spec": one.spec.model_copy(update={"name": name})})


def test_where_none_narrows_those_that_try_come_first_then_what_the_model_learns(monkeypatch):
    shares = {"some": 0.5, "much": 0.25, "tries": 1.0, "blurs": 2.0}
    told_by_each(monkeypatch, shares)
    coupons = {name: named(name, trials=()) for name in ("some", "much")}
    coupons |= {name: named(name) for name in ("tries", "blurs")}
    want = asked(sd_share=0.5)
    found = gains(known_profile(sd_share=0.5), [want], coupons)
    assert [gain.coupon for gain in found] == ["tries", "blurs", "much", "some"]
    assert [gain.narrower for gain in found] == pytest.approx([0.0] * 4, abs=0.02)
    assert [gain.tries for gain in found] == [(True,), (True,), (False,), (False,)]
    # One that narrows comes before them all.
    shares["tries"] = 0.9
    assert gains(known_profile(sd_share=0.5), [want], coupons)[0].coupon == "tries"


def test_what_is_believed_of_scatters_are_their_root_mean_squares(monkeypatch):
    before = told_by_each(monkeypatch, {"one": 1.0})
    profile = known_profile({"skew": 0.001}, scatters={"tau": 0.03})
    gains(profile, [asked()], {"one": named("one")})
    kept = read_profile(Path(__file__).parents[1] / "kept_profiles" / "version-1.json")
    gains(kept, [asked()], {"one": named("one")})
    now, old = before
    # A log-normal of 0.2 has exp(0.2²) of its median as root mean square.
    assert now.scatters.tau == pytest.approx(0.03 * np.exp(0.04))
    assert now.mean == pytest.approx(profile.mean_vector)
    assert now.covariance == pytest.approx(profile.covariance_matrix)
    lacks = set(EXTRUSION.scatters) - set(kept.scatters)
    assert lacks
    for name in lacks:  # as before any print
        prior = EXTRUSION.scatters[name]
        expected = prior.median * np.exp(prior.log_sd**2)
        assert getattr(old.scatters, name) == pytest.approx(expected)


def proposal(within_mm=None, before_mm=(0.2,)):
    wants = tuple(JointWant(asked(), within_mm) for _ in before_mm)
    none = (0.0,) * len(before_mm)
    return Proposal(
        wants, (), Assumed(), 60, 1, 40, 20, before_mm, none, none, none, none, none, ()
    )


def test_a_print_is_worth_it_where_it_narrows_by_a_twentieth():
    assert proposal().is_worth((0.189,), (0.2,))
    assert not proposal().is_worth((0.191,), (0.2,))
    # An interval that is narrow enough already does not count.
    assert not proposal(0.2).is_worth((0.1,), (0.2,))
    assert proposal(0.199).is_worth((0.1,), (0.2,))
    two = proposal(before_mm=(0.2, 0.1))
    assert two.is_worth((0.2, 0.05), (0.2, 0.1))
    assert two.narrower((0.1, 0.09)) == pytest.approx((0.5 + 0.1) / 2)


def test_another_print_narrows_by_the_mean_of_what_is_foreseen():
    fits = (
        Narrowed(SLIDE, (0.3, 0.2), 0.15),  # by a quarter
        Narrowed(SLIDE, (0.3, 0.1), 0.12),  # by nothing: more prints never blur
        Narrowed(SLIDE, (0.3, None), 0.1),
        Narrowed(SLIDE, (0.3, 0.1), None),
    )
    assert PrintGains((1, 2), fits, "first").narrower == pytest.approx(0.125)
    assert PrintGains((1, 2), fits[2:], "").narrower is None
