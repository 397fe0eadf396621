"""The guide: what comes next, what it brings, when it is enough."""

from dataclasses import replace

import numpy as np
import pytest
from support.page_coupon import make_record

from coupons.answering.next.guide import (
    ENOUGH,
    MORE,
    best_task,
    enough_after,
    fixed_order,
    gains,
    guide_of,
    key_of,
    known,
    learned,
    look_ahead,
    narrowing,
    worths,
)
from coupons.answering.next.wants import wants_of
from coupons.learning.effects import LOSSES, TERMS, prior_sd
from coupons.making.bench_time import in_hand, seconds_of
from coupons.making.plan import plan_coupon, record
from coupons.making.record import CouponReading
from coupons.making.spec.coupon_spec import load_spec
from coupons.measuring.run.entries import FitEntry, SizeEntry
from coupons.showing.pages.entry_page import choices_of
from coupons.terms import GRADES, Grade


@pytest.fixture(scope="module")
def coupon():
    return record(plan_coupon(load_spec("starter")))


@pytest.fixture(scope="module")
def guide(coupon):
    return guide_of(coupon)


def test_wants_are_those_that_the_coupon_has_forms_for(coupon):
    names = [want.name for want in wants_of(coupon)]
    assert names == [
        "gap to slide, slot/tongue 12 mm across x",
        "gap to slide, slot/tongue 12 mm across y",
        "gap to push, hole/pin 8 mm axis along z",
        "widen a 3.4 mm hole by",
    ]
    spans = record(plan_coupon(load_spec("spans")))
    assert {want.choices for want in wants_of(spans)} == {("slide", "fits")}


def test_nothing_to_do_or_too_much_has_no_guide(coupon):
    assert guide_of(coupon.model_copy(update={"trials": (), "readings": ()})) is None
    assert guide_of(coupon.model_copy(update={"readings": coupon.readings * 24})) is None


def test_the_prior_answers_what_nobody_tried(guide):
    so_far = known(guide, guide.start)
    assert np.all(so_far.halves_mm > 0.3)
    slide_x, slide_y = so_far.values_mm[:2]
    assert slide_x == pytest.approx(slide_y)


def entry(task, grade=Grade.SLIDE, by=""):
    return FitEntry(0, task.feature, task.mate, grade, grade, by)


def test_the_next_task_is_worth_most_and_the_hand_stays_where_that_costs_little(guide):
    left = range(len(guide.tasks))
    first = best_task(guide, guide.start, left)
    assert worths(guide, guide.start)[first] == max(worths(guide, guide.start))
    now = learned(guide, [entry(guide.tasks[first])])
    held = in_hand(guide.tasks[first])
    free, holding = worths(guide, now), worths(guide, now, held)
    same = [in_hand(task) == held for task in guide.tasks]
    assert np.all(holding[same] > free[same])
    assert np.allclose(holding[np.invert(same)], free[np.invert(same)])


def test_a_choice_asks_for_its_own(guide):
    slide = best_task(guide, guide.start, range(len(guide.tasks)), choice="slide")
    screw = best_task(guide, guide.start, range(len(guide.tasks)), choice="screw")
    forms = {"A": "flat", "B": "flat", "C": "round", "D": "round"}
    assert forms[guide.row_letters[slide]] == "flat"
    assert isinstance(guide.tasks[screw], CouponReading)
    assert forms[guide.row_letters[screw]] == "round"
    assert np.array_equal(gains(guide, guide.start, "rows"), gains(guide, guide.start, "all"))


def test_both_fits_are_the_sliding_faces_and_the_push_pins(guide):
    assert list(guide.weights("fits")) == [1, 1, 1, 0]
    assert list(guide.weights("slide")) == [1, 1, 0, 0]
    both = gains(guide, guide.start, "slide") + gains(guide, guide.start, "push")
    assert gains(guide, guide.start, "fits") == pytest.approx(both)


def test_a_choice_that_another_one_covers_as_well_is_not_shown(guide):
    assert [key for key, _ in choices_of(guide)] == [
        *("all", "slide", "push", "fits", "screw", "listed")
    ]
    spans = guide_of(record(plan_coupon(load_spec("spans"))))
    assert [key for key, _ in choices_of(spans)] == ["all", "listed"]
    lying = guide_of(record(plan_coupon(load_spec("upright"))))
    kinds = {kind for want in lying.wants for kind in want.choices}
    assert kinds == {"slide", "push", "fits"}
    assert [key for key, _ in choices_of(lying)] == ["all", "slide", "push", "listed"]
    assert [key for key, _ in choices_of(None)] == ["all", "listed"]


def test_entries_in_any_grade_narrow_what_is_wanted(guide):
    order = fixed_order(guide, count=12)
    entries = [
        entry(task) if in_hand(task) != "caliper" else reading(guide, number)
        for number, task in ((n, guide.tasks[n]) for n in order.numbers)
    ]
    now = learned(guide, entries)
    assert np.all(known(guide, now).halves_mm < known(guide, guide.start).halves_mm)


def reading(guide, number, off_mm=0.0):
    task = guide.tasks[number]
    return SizeEntry(0, task.feature, guide.drawn_mm[number] + off_mm, task.jaws, task.along)


def test_strangers_say_nothing(guide):
    stranger = FitEntry(0, "A1", "BG", Grade.SLIDE, Grade.SLIDE)
    assert key_of(stranger) not in {key_of(task) for task in guide.tasks}
    assert learned(guide, [stranger]) is guide.start


def test_another_hand_counts_for_less(guide):
    task = guide.tasks[0]
    alone = learned(guide, [entry(task, by="mk"), entry(task, by="mk")])
    two = learned(guide, [entry(task, by="mk"), entry(task, by="jo")])
    row = guide.rows[0]
    assert row @ two.covariance @ row > row @ alone.covariance @ row


def test_the_fixed_order_narrows_all_the_way_and_says_where_to_stop(guide):
    order = fixed_order(guide, count=30)
    assert len(set(order.numbers)) == 30
    stop = enough_after(guide, order)
    steps = (guide.start, *order.known)
    assert narrowing(guide, steps[stop], steps[stop + MORE]) < ENOUGH
    assert narrowing(guide, steps[stop - 1], steps[stop - 1 + MORE]) >= ENOUGH
    assert 8 <= stop <= 24


def test_the_chosen_order_beats_the_order_of_the_list(guide):
    """What any joint may vary by after the same minutes at the bench, on average over the wants."""
    order = fixed_order(guide, count=16)
    minutes = seconds_of(guide.tasks[n] for n in order.numbers)
    listed, now = [], guide.start
    for number in range(len(guide.tasks)):
        if seconds_of(guide.tasks[n] for n in [*listed, number]) > minutes:
            break
        now = look_ahead(guide, now, [number], count=1).known[0]
        listed.append(number)
    chosen, by_list = (np.log(spread(guide, one)).mean() for one in (order.known[-1], now))
    assert chosen < by_list - 0.05


def spread(guide, now):
    known_mm2 = np.einsum("wi,ij,wj->w", guide.wanted, now.covariance, guide.wanted)
    return known_mm2 + guide.prints_mm2 + guide.alone_mm2


def test_what_was_learned_before_narrows_the_start(coupon):
    fresh = guide_of(coupon)
    mean = fresh.start.mean[: len(TERMS)]
    taught = guide_of(coupon, mean=mean, covariance=np.diag((0.3 * prior_sd()) ** 2))
    assert np.all(known(taught, taught.start).halves_mm < known(fresh, fresh.start).halves_mm)
    order, again = fixed_order(fresh, count=30), fixed_order(taught, count=30)
    assert enough_after(taught, again) < enough_after(fresh, order)


def test_a_coupon_of_any_shape_has_a_guide():
    for spec in ("hardware", "upright", "spans", "round"):
        guide = guide_of(record(plan_coupon(load_spec(spec))))
        assert np.all(np.isfinite(gains(guide, guide.start)))
    small = guide_of(replace_hardware(make_record()))
    assert len(small.tasks) == len(small.drawn_mm)


def replace_hardware(coupon):
    return coupon.model_copy(update={"hardware": coupon.hardware})


def test_all_five_grades_are_taken(guide):
    values = [known(guide, learned(guide, [entry(guide.tasks[0], g)])).values_mm[0] for g in GRADES]
    assert np.all(np.diff(values) < 0)  # the looser it goes, the smaller the gap to draw
    assert replace(guide, hand_mm2=0.0).hand_mm2 == 0


@pytest.mark.slow
def test_the_chance_of_a_gap_is_that_of_a_joint_drawn_so(guide):
    """Against 200,000 printers drawn from what is known: standard error 0.001."""
    now = learned(guide, [entry(guide.tasks[n], Grade.SLIDE) for n in range(0, guide.n_trials, 3)])
    so_far = known(guide, now)
    draws = np.random.default_rng(4).multivariate_normal(now.mean, now.covariance, 200_000)
    at = len(TERMS) - len(LOSSES) - len(GRADES) + 1
    for number, want in enumerate(guide.wants):
        if want.grade is None:
            assert np.isnan(so_far.chances[number])
            continue
        thresholds = draws[:, at : at + 4]
        rank = GRADES.index(want.grade)
        middle = draws @ guide.wanted[number] - thresholds[:, rank - 1 : rank + 1].mean(axis=1)
        sd = np.sqrt(guide.prints_mm2[number] + guide.alone_mm2[number])
        felt = (
            so_far.values_mm[number]
            - middle
            + sd * np.random.default_rng(5).normal(size=len(draws))
        )
        came = np.mean((felt >= thresholds[:, rank - 1]) & (felt < thresholds[:, rank]))
        assert so_far.chances[number] == pytest.approx(came, abs=0.03)
