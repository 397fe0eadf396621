"""A control chart's numbers, worked out by hand."""

import pytest

from coupons.answering.compare.drift import chart

# Four runs known to 1, 0.5, 2 and 1 mm: weights 1, 4, 1/4 and 1 over the squares. A weighted mean
# has the variance of one over the sum of its weights.
UNLIKE_SDS = [1.0, 0.5, 2.0, 1.0]


@pytest.mark.parametrize(
    ("values", "run", "sds"),
    [
        # From run 2 on: 9 against 0, variance 1/1 + 1/(4 + 1/4 + 1).
        ([0, 9, 9, 9], 1, 9 / (1 + 1 / 5.25) ** 0.5),
        # From run 3 on: 1/(1 + 4) + 1/(1/4 + 1) = 1.
        ([0, 0, 9, 9], 2, 9.0),
        ([0, 0, 0, 9], 3, 9 / (1 + 1 / 5.25) ** 0.5),
        # Run 2 alone: 1/4 of its own, and 1/(1 + 1/4 + 1) of the others.
        ([0, 9, 0, 0], 1, 9 / (1 / 4 + 1 / 2.25) ** 0.5),
        # Run 3 alone is 4 beside 1/(1 + 4 + 1); as a step it would be a fifth of 18, with sd 1.
        ([0, 0, 18, 0], 2, 18 / (4 + 1 / 6) ** 0.5),
    ],
)
def test_a_change_is_told_in_standard_deviations_by_the_weights(values, run, sds):
    found = chart(values, UNLIKE_SDS).signal
    assert (found.run, found.sds) == (run, pytest.approx(sds))


def test_the_center_and_what_would_be_seen_are_by_the_weights():
    found = chart([1.0, 2.0, 0.0, 1.0], UNLIKE_SDS)
    assert found.center_mm == pytest.approx((1 * 1 + 4 * 2 + 0 + 1 * 1) / 6.25)
    # A step by the limit is found in half of all cases, 0.84 more finds four of five.
    assert found.detectable_middle_mm == pytest.approx(found.limit + 0.84)
    last_mm = (1 + 1 / 5.25) ** 0.5
    assert found.detectable_last_mm == pytest.approx((found.limit + 0.84) * last_mm)
    assert (found.values_mm, found.sds_mm) == ((1.0, 2.0, 0.0, 1.0), (1.0, 0.5, 2.0, 1.0))


def test_two_runs_have_the_limit_of_a_normal():
    # 1.96 of a single difference, whose variance is the sum of both.
    found = chart([0.0, 1.0], [0.3, 0.4])
    assert found.limit == pytest.approx(1.95996, abs=1e-5)
    assert found.detectable_last_mm == pytest.approx((1.95996 + 0.84) * 0.5, abs=1e-4)
    assert (found.signal.run, found.signal.sds) == (1, pytest.approx(2.0))
    assert found.signal.why == "from run 2 on 1.00 mm wider"
    assert chart([0.0, 0.97], [0.3, 0.4]).signal is None


def test_three_runs_are_a_step_one_alone_or_a_drift():
    alone = chart([0.0, 1.0, 0.0], [0.1] * 3).signal
    assert (alone.run, alone.why) == (1, "run 2 alone 1.00 mm wider")
    # By least squares a run: 1 mm, with variance 0.01/2.
    drift = chart([2.0, 1.0, 0.0], [0.1] * 3).signal
    assert (drift.run, drift.why) == (0, "1.00 mm narrower from run to run")
    assert drift.sds == pytest.approx(1 / 0.005**0.5)


def test_a_drift_is_by_the_month_where_months_are_known():
    # 0.04 mm a month over 0, 1 and 3 months, whose squares about their mean sum up to 14/3.
    found = chart([0.20, 0.24, 0.32], [0.001] * 3, [0.0, 1.0, 3.0]).signal
    assert (found.run, found.why) == (0, "0.040 mm wider a month")
    assert found.sds == pytest.approx(40 * (14 / 3) ** 0.5)
    step = chart([0.2, 0.2, 0.3, 0.3], [0.001] * 4, [0.0, 1.0, 2.0, 3.0]).signal
    assert step.why == "from run 3 on 0.10 mm wider"
