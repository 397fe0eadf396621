"""The limit of a chart where it reduces to published ones."""

import numpy as np
import pytest

from coupons.answering.compare.drift import _apart, _limit, chart


@pytest.mark.parametrize(("runs", "published"), [(3, 2.34), (5, 2.56), (10, 2.80)])
def test_runs_alone_have_the_limit_of_the_analysis_of_means(runs, published):
    # Nelson's exact critical values h(0.05; k, infinite degrees of freedom) of the analysis of
    # means, which charts each of k equal groups against the mean of all (numbers from memory).
    rows = np.array([_apart(np.arange(runs) == k, np.ones(runs)) for k in range(runs)])
    rows /= np.linalg.norm(rows, axis=1)[:, None]
    assert _limit(rows) == pytest.approx(published, abs=0.02)


def test_two_runs_have_the_limit_of_a_difference():
    # The normal distribution's two-sided 5 % point (textbook).
    assert chart([0.2, 0.2], [0.03, 0.04]).limit == pytest.approx(1.959964, abs=1e-6)
    assert chart([0.2, 0.2 + 1.95 * 0.05], [0.03, 0.04]).signal is None
    assert chart([0.2, 0.2 + 1.97 * 0.05], [0.03, 0.04]).signal is not None


def test_flow_rates_of_the_handbook():
    # NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, ten batches (numbers from memory).
    # Its chart for individuals, limits three standard deviations of 1.665 from the mean 50.81,
    # has no run outside; with that standard deviation given nor has this one.
    rates = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
    moving_range_sd = np.mean(np.abs(np.diff(rates))) / 1.128
    assert 50.81 + 3 * moving_range_sd == pytest.approx(55.8041, abs=5e-4)
    found = chart(rates, [moving_range_sd] * 10)
    assert found.center_mm == pytest.approx(50.81, abs=5e-5)
    alone = [rate - (sum(rates) - rate) / 9 for rate in rates]
    assert max(map(abs, alone)) < found.limit * moving_range_sd * np.sqrt(10 / 9)
