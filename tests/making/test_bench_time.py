"""A person's time: trials, readings and changes of what is in the hand, each counted once."""

import pytest
from page_coupon import make_record

from coupons.making.bench_time import (
    CHANGE_S,
    READING_S,
    TRIAL_S,
    coupon_seconds,
    in_hand,
    seconds_of,
)
from coupons.making.record import CouponReading, CouponTrial


def trial(feature, mate):
    return CouponTrial(feature=feature, mate=mate, gap_mm=0.1)


def test_going_on_with_the_same_gauge_saves_the_change():
    stay = [trial("A1", "AG1"), trial("A2", "AG1"), trial("A1", "AG2"), trial("A2", "AG2")]
    swap = [stay[0], stay[2], stay[1], stay[3]]
    assert seconds_of(stay) == 4 * TRIAL_S + 2 * CHANGE_S
    assert seconds_of(swap) == 4 * TRIAL_S + 4 * CHANGE_S


def test_readings_need_the_caliper_once():
    readings = [CouponReading(feature=one, jaws="outside") for one in ("A1", "A2", "A3")]
    assert {in_hand(one) for one in readings} == {"caliper"}
    assert seconds_of(readings) == 3 * READING_S + CHANGE_S
    assert seconds_of([]) == 0


def test_a_whole_coupon_is_done_gauge_by_gauge():
    coupon = make_record(rows=2, features=3)
    # Two rows of three slots and two tongues: 12 trials with 4 gauges, 6 readings.
    expected = 12 * TRIAL_S + 4 * CHANGE_S + 6 * READING_S + CHANGE_S
    assert coupon_seconds(coupon) == pytest.approx(expected)
