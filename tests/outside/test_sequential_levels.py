"""A published sequential test: the next levels, chosen by expected information, as printed.

Source: Wu & Tian (2014), Journal of Statistical Planning and Inference 149, table 1. After nine
shots each of the next six levels is the one at which one more shot makes the determinant of the
information on mean and scatter largest, at the estimates so far. Levels are printed to 0.1.
"""

import numpy as np
import pytest
from outside.test_quantal_response import WU_TIAN_X, WU_TIAN_Y, probit_fit

from coupons.answering.next.expected_information import trial_information

NEXT_X = np.array([7.3, 7.8, 8.1, 12.2, 8.5, 11.8])
NEXT_Y = np.array([0, 0, 0, 1, 0, 1])
FAR = 1e6  # thresholds so far off that one is left
NO_LAPSE = 1e-12


def information(levels, mu, sigma):
    """What one trial at each level is expected to tell of intercept and slope, (n, 2, 2)."""
    margins = np.column_stack([levels - mu, *(np.full(len(levels), -FAR) for _ in range(3))])
    told = trial_information(margins, np.zeros(len(levels)), sigma, NO_LAPSE)[:, 0, 0]
    rows = np.column_stack([np.ones(len(levels)), levels])
    return told[:, None, None] * rows[:, :, None] * rows[:, None, :]


@pytest.mark.parametrize("shots", range(9, 15))
def test_the_next_level_is_the_printed_one(shots):
    x, y = np.append(WU_TIAN_X, NEXT_X), np.append(WU_TIAN_Y, NEXT_Y)
    mu, sigma, _ = probit_fit(x[:shots], np.ones(shots), y[:shots])
    levels = np.arange(4, 17, 0.005)
    so_far = information(x[:shots], mu, sigma).sum(axis=0)
    best = levels[np.argmax(np.linalg.det(so_far + information(levels, mu, sigma)))]
    assert best == pytest.approx(x[shots], abs=0.05 + 0.005)  # half of the last digit, and the grid
