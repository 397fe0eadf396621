"""The guide's numbers, worked out by hand: wants, gains, chances, and when it is enough."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from scipy.special import ndtr
from support.small_coupon import small_coupon

from coupons.answering.next.guide import (
    Ahead,
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
from coupons.learning.effects import TERMS, effect_row, prior_mean, prior_sd
from coupons.learning.posterior.latent import Scatters
from coupons.learning.posterior.stepwise import NormalPosterior
from coupons.making.record import CouponReading, CouponTrial
from coupons.measuring.run.entries import FitEntry, SizeEntry
from coupons.terms import Direction, Feature, Form, Grade, Jaws

SCATTERS = Scatters(
    tau=0.03,
    tau_z=0.07,
    sigma=0.015,
    omega=0.04,
    rho=0.02,
    rho_scale=0.0002,
    rho_scale_z=0.0008,
    rho_bed=0.05,
    rho_roof=0.06,
)


@pytest.fixture(scope="module")
def guide():
    return guide_of(small_coupon(), scatters=SCATTERS)


def by_name(wants):
    return {want.name: want for want in wants}


def test_what_a_small_coupon_can_teach():
    wants = wants_of(small_coupon())
    assert [(*want.choices, want.name, want.grade) for want in wants] == [
        ("slide", "fits", "gap to slide, slot/tongue 12 mm across x", Grade.SLIDE),
        ("slide", "fits", "gap to slide, slot/tongue 12 mm across y", Grade.SLIDE),
        ("slide", "fits", "gap to slide, slot/tongue 12 mm across z", Grade.SLIDE),
        ("push", "fits", "gap to push, hole/pin 8 mm axis along x", Grade.PUSH),
        ("push", "fits", "gap to push, hole/pin 8 mm axis along z", Grade.PUSH),
        ("screw", "widen a 3.4 mm hole by", None),
    ]
    # How often a joint has own deviations in the plane, along z, and a judgement.
    own = [(want.in_plane, want.along_z, want.judged) for want in wants]
    assert own == [(2, 0, 1), (2, 0, 1), (0, 2, 1), (1, 1, 1), (2, 0, 1), (1, 0, 0)]


def test_a_part_that_exists_and_a_coupon_without_holes_for_screws():
    lying = [f for f in small_coupon().features if f.form is not Form.HOLE or f.id == "F1"]
    names = [want.name for want in wants_of(small_coupon(features=tuple(lying)))]
    assert not [name for name in names if name.startswith("widen")]
    assert wants_of(small_coupon(features=())) == ()


def test_a_gap_is_what_both_bodies_close_and_the_middle_of_the_window():
    row = dict(zip(TERMS, by_name(wants_of(small_coupon()))[SLIDE_X].row, strict=True))
    # The tongue is 12 mm and the slot 0.3 mm wider; a scale acts on the difference.
    expected = {
        "scale_x": 12 - 12.3,
        "scale_int": -12.3,
        "growth_ext": 2,
        "growth_int": 2,
        "growth_ext_xy": 2,
        "growth_int_xy": 2,
        "from_slide": 0.5,
        "from_loose": 0.5,
    }
    assert {name: value for name, value in row.items() if value} == pytest.approx(expected)


SLIDE_X = "gap to slide, slot/tongue 12 mm across x"
PUSH_Z = "gap to push, hole/pin 8 mm axis along z"


def test_a_push_pin_has_the_losses_of_round_pairs_with_a_seam():
    row = dict(zip(TERMS, by_name(wants_of(small_coupon()))[PUSH_Z].row, strict=True))
    assert (row["from_push"], row["from_slide"], row["from_loose"]) == (0.5, 0.5, 0.0)
    assert (row["round_loss"], row["seam_loss"]) == (1.0, 1.0)
    assert (row["lying_loss"], row["contact_loss"]) == (0.0, 0.0)
    assert (row["growth_ext"], row["growth_int"]) == (2.0, 2.0)
    assert row["scale_int"] == pytest.approx(-8.3)
    lying = by_name(wants_of(small_coupon()))["gap to push, hole/pin 8 mm axis along x"].row
    assert dict(zip(TERMS, lying, strict=True))["lying_loss"] != 0


def test_a_hole_for_a_screw_is_widened_by_what_it_closes(guide):
    widened = known(guide, guide.start).values_mm[-1]
    hole = effect_row(Feature(Form.HOLE, 3.4, Direction.Z)) @ prior_mean()[: -4 - 4]
    assert widened == pytest.approx(-hole)
    assert widened > 0.1


def test_joints_vary_between_prints_and_by_themselves(guide):
    names = [want.name for want in guide.wants]
    prints = dict(zip(names, guide.prints_mm2, strict=True))
    alone = dict(zip(names, guide.alone_mm2, strict=True))
    # Both growths with half of rho on each of four faces; the scale on the gap of 0.3 mm.
    both_mm2 = 4 * 0.02**2 + (0.3 * 0.0002) ** 2
    assert prints[SLIDE_X] == pytest.approx(both_mm2)
    assert prints[PUSH_Z] == pytest.approx(both_mm2)
    # One hole: the whole of rho and half of it, with the scale over 3.4 mm.
    hole_mm2 = 1.25 * 0.02**2 + (3.4 * 0.0002) ** 2
    assert prints["widen a 3.4 mm hole by"] == pytest.approx(hole_mm2)
    assert alone[SLIDE_X] == pytest.approx(2 * 0.03**2 + 0.04**2)
    assert alone["gap to slide, slot/tongue 12 mm across z"] == pytest.approx(2 * 0.07**2 + 0.04**2)
    assert alone["widen a 3.4 mm hole by"] == pytest.approx(0.03**2)
    assert guide.hand_mm2 == pytest.approx(2 * 0.03**2)


def test_tasks_are_trials_then_readings_with_what_is_drawn(guide):
    coupon = small_coupon()
    assert guide.n_trials == len(coupon.trials) == 12
    assert guide.tasks == (*coupon.trials, *coupon.readings)
    sizes = {f.id: f.size_mm for f in coupon.features}
    drawn = [t.gap_mm for t in coupon.trials] + [sizes[r.feature] for r in coupon.readings]
    assert guide.drawn_mm == pytest.approx(drawn)
    assert guide.row_letters[:4] == ("A", "A", "A", "A")
    assert guide.row_letters[-1] == "H"


def test_a_coupon_has_a_guide_up_to_600_tasks():
    coupon = small_coupon()
    many = (*coupon.readings * 60,)
    assert guide_of(small_coupon(readings=many[: 600 - 12])) is not None
    assert guide_of(small_coupon(readings=many[: 601 - 12])) is None
    assert guide_of(small_coupon(trials=(), readings=coupon.readings[:1])) is not None


def test_what_a_reading_brings_is_its_share_of_the_spread_of_each_want(guide):
    number = len(guide.tasks) - 2  # the gauge G1, a tongue of 12 mm across x
    assert guide.tasks[number] == CouponReading(feature="G1", jaws=Jaws.OUTSIDE)
    # Of the gap a reading of the tongue sees growth, scale, lost motion and difference; together
    # with the print's own growth and scale, a zero of 0.010 mm, an own deviation and the noise.
    sd = dict(zip(TERMS, prior_sd(), strict=True))
    own_mm2 = 0.03**2 + 1.25 * 0.02**2 + (12 * 0.0002) ** 2 + 0.010**2
    growth_mm2 = 4 * sd["growth_ext"] ** 2 + 4 * sd["growth_ext_xy"] ** 2
    seen_mm2 = growth_mm2 + (12 * sd["scale_x"]) ** 2 + sd["lost_motion"] ** 2
    noise_mm2 = (0.015**2 + 0.01**2 / 12) * 7 / 5
    shared_mm2 = growth_mm2 + 12 * (12 - 12.3) * sd["scale_x"] ** 2
    fall_mm2 = shared_mm2**2 / (seen_mm2 + own_mm2 + noise_mm2)
    at = [want.name for want in guide.wants].index(SLIDE_X)
    row = guide.wanted[at]
    spread_mm2 = row @ guide.start.covariance @ row + guide.prints_mm2[at] + guide.alone_mm2[at]
    only = replace(guide, wants=guide.wants[at : at + 1], wanted=guide.wanted[at : at + 1])
    only = replace(only, prints_mm2=guide.prints_mm2[[at]], alone_mm2=guide.alone_mm2[[at]])
    assert gains(only, guide.start)[number] == pytest.approx(fall_mm2 / spread_mm2)
    # 15 s for a reading, and 8 s more to take up the caliper.
    assert worths(only, guide.start)[number] == pytest.approx(fall_mm2 / spread_mm2 / 23)
    held = worths(only, guide.start, "caliper")[number]
    assert held == pytest.approx(fall_mm2 / spread_mm2 / 15)


def test_gains_of_all_wants_add_up_and_a_choice_counts_its_own(guide):
    found = {choice: gains(guide, guide.start, choice) for choice in ("slide", "push", "screw")}
    assert sum(found.values()) == pytest.approx(gains(guide, guide.start, "all"))
    assert guide.weights("slide").tolist() == [1, 1, 1, 0, 0, 0]
    assert guide.weights("nothing").tolist() == [1] * 6


def shrunk(now, factor):
    return NormalPosterior(now.mean, now.covariance * factor**2)


def test_half_an_interval_is_of_90_percent_with_what_prints_differ_by(guide):
    so_far = known(guide, guide.start)
    row, prints_mm2 = guide.wanted[0], guide.prints_mm2[0]
    half = 1.6448536 * (row @ guide.start.covariance @ row + prints_mm2) ** 0.5
    assert so_far.halves_mm[0] == pytest.approx(half)
    assert so_far.values_mm[0] == pytest.approx(row @ guide.start.mean)


def test_the_chance_is_that_of_both_ends_of_the_window(guide):
    # The terms known exactly: a joint in the middle of a window of 0.2 mm, give or take what one
    # joint and its print have of their own.
    exact = shrunk(guide.start, 0.0)
    first = TERMS.index("from_slide")
    low_mm, high_mm = exact.mean[first : first + 2]
    sd_mm = (guide.prints_mm2[0] + guide.alone_mm2[0]) ** 0.5
    chances = known(guide, exact).chances
    assert chances[0] == pytest.approx(2 * ndtr((high_mm - low_mm) / 2 / sd_mm) - 1)
    assert np.isnan(chances[-1])
    # Where thresholds lie on one another no joint fits.
    mean = exact.mean.copy()
    mean[first + 1] = mean[first] - 0.1
    assert known(guide, NormalPosterior(mean, exact.covariance)).chances[0] == 0.0


def test_narrower_is_the_mean_over_the_chosen_wants(guide):
    sharp = replace(guide, prints_mm2=guide.prints_mm2 * 0)
    assert narrowing(sharp, guide.start, shrunk(guide.start, 0.75)) == pytest.approx(0.25)
    assert narrowing(sharp, guide.start, guide.start) == 0
    # Of one want alone something is learned.
    covariance = guide.start.covariance.copy()
    later = NormalPosterior(guide.start.mean, covariance * 0.25)
    free = replace(sharp, wanted=sharp.wanted * np.array([[1], [1], [1], [0], [0], [0]]))
    free = replace(free, prints_mm2=np.array([0.0, 0.0, 0.0, 1.0, 1.0, 1.0]))
    assert narrowing(free, guide.start, later) == pytest.approx(0.25)
    assert narrowing(free, guide.start, later, "slide") == pytest.approx(0.5)
    assert narrowing(free, guide.start, later, "push") == 0


@pytest.mark.parametrize(
    ("factors", "count"),
    [
        # After five of ten entries the other five bring 0.9 to 0.882; after four they brought more.
        ([1, 1, 1, 1, 0.9, 0.9, 0.9, 0.9, 0.9, 0.882], 5),
        # Less than three in a hundred is too little, three are not.
        ([1, 1, 1, 1, 0.9702], 0),
        ([1, 1, 1, 1, 0.9698], 5),
        ([0.9, 0.9, 0.9, 0.9], 4),
        ([], 0),
    ],
)
def test_it_is_enough_where_five_more_bring_less_than_three_in_a_hundred(guide, factors, count):
    sharp = replace(guide, prints_mm2=guide.prints_mm2 * 0)
    steps = tuple(shrunk(guide.start, factor) for factor in factors)
    assert enough_after(sharp, Ahead(tuple(range(len(steps))), steps)) == count


def test_an_order_has_every_task_once_and_each_is_the_best_of_those_left(guide):
    whole = fixed_order(guide)
    assert sorted(whole.numbers) == list(range(len(guide.tasks)))
    assert len(whole.known) == len(guide.tasks)
    assert fixed_order(guide, count=3).numbers == whole.numbers[:3]
    assert look_ahead(guide, guide.start, range(len(guide.tasks))).numbers == whole.numbers[:5]
    assert look_ahead(guide, guide.start, [2, 7]).numbers in ((2, 7), (7, 2))
    assert look_ahead(guide, guide.start, []) == Ahead((), ())
    assert best_task(guide, guide.start, []) is None
    assert best_task(guide, guide.start, {4}) == 4
    halves = [known(guide, each).halves_mm for each in (guide.start, *whole.known)]
    assert all((after <= before + 1e-12).all() for before, after in pairwise(halves))


def test_what_is_alike_is_done_in_the_order_of_the_record(guide):
    # Two gauges of one size tell the same of a slot: the first of them is taken.
    twins = [n for n, task in enumerate(guide.tasks) if task.feature == "A2"][:2]
    assert [guide.tasks[n].mate for n in twins] == ["G1", "G2"]
    assert best_task(guide, guide.start, twins[::-1]) == twins[0]


def test_an_expected_entry_lowers_each_variance_by_what_it_brings(guide):
    for number in (0, guide.n_trials):  # a trial, a reading
        after = look_ahead(guide, guide.start, [number]).known[0]
        assert np.array_equal(after.mean, guide.start.mean)
        spread = [
            np.einsum("wi,ij,wj->w", guide.wanted, now.covariance, guide.wanted)
            for now in (guide.start, after)
        ]
        whole = spread[0] + guide.prints_mm2 + guide.alone_mm2
        fell = ((spread[0] - spread[1]) / whole).sum()
        assert fell == pytest.approx(gains(guide, guide.start)[number])


def test_trials_and_readings_are_known_by_what_they_touch():
    trial = CouponTrial(feature="A1", mate="G1", gap_mm=0.1)
    assert key_of(trial) == key_of(FitEntry(3, "A1", "G1", Grade.PUSH, Grade.SLIDE))
    reading = CouponReading(feature="B1", jaws=Jaws.INSIDE, along="x")
    assert key_of(reading) == key_of(SizeEntry(3, "B1", 6.0, Jaws.INSIDE, "x"))
    assert key_of(reading) != key_of(SizeEntry(3, "B1", 6.0, Jaws.INSIDE, "y"))


def test_a_reading_moves_what_is_wanted_by_its_miss(guide):
    # The tongue G1 is read 0.1 mm too large: the wanted gap grows, and by nothing where it misses
    # by what the prior says.
    def gap_mm(miss_mm):
        entry = SizeEntry(0, "G1", 12.0 + miss_mm, Jaws.OUTSIDE, None)
        return known(guide, learned(guide, [entry])).values_mm[0]

    expected = effect_row(Feature(Form.TONGUE, 12.0, Direction.X)) @ prior_mean()[: -4 - 4]
    start = known(guide, guide.start).values_mm[0]
    assert gap_mm(expected) == pytest.approx(start)
    assert gap_mm(expected + 0.1) > start + 0.05
    assert gap_mm(expected - 0.1) < start - 0.05


def test_who_tried_first_is_the_hand_that_is_meant(guide):
    task = guide.tasks[0]

    def left(*hands):
        entries = [FitEntry(0, task.feature, task.mate, Grade.SLIDE, Grade.SLIDE, h) for h in hands]
        return known(guide, learned(guide, entries)).halves_mm[0]

    # The first is the one whose hand it is, named or not; entries of others count for less.
    assert left("mk", "mk") == left("", "") == left("jo", "jo")
    assert left("mk", "jo") > left("mk", "mk")
    assert left("", "jo") == left("mk", "jo")
    later = learned(guide, [FitEntry(0, "A1", "G1", Grade.PUSH, Grade.PUSH)])
    assert learned(guide, [], later) is later
