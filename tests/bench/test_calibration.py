"""The calibration study, small enough for every run of the slow tests.

The study of more printers is run by hand: see `calibration.py`.
"""

import numpy as np
import pytest
from bench.calibration import study

pytestmark = pytest.mark.slow

PRINTERS = 30


@pytest.fixture(scope="module")
def found():
    return study(PRINTERS)


def test_stated_chances_come_true(found):
    # Ten bins, each within 3.5 standard errors: all of them hold in over 99 % of sound studies.
    for entries, stated, came_true, error in found.table():
        assert abs(came_true - stated) <= 3.5 * error + 0.01, (entries, stated, came_true, error)


def test_drawing_by_the_answer_makes_twice_as_many_slide_as_a_fixed_gap(found):
    answered = found.slid["answer"].mean()
    spread = np.sqrt(answered * (1 - answered) / len(found.slid["answer"]))
    assert answered + 2 * spread >= 2 * found.slid["habit, sliding"].mean()
    assert answered >= 2 * found.slid["habit, snug"].mean()


def test_the_chance_that_all_joints_slide_comes_true(found):
    excess = found.all_came_true - found.all_stated
    assert abs(excess.mean()) <= 3.5 * excess.std() / np.sqrt(len(excess))
