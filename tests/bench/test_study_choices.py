"""The study of pieces to choose from, small enough for every run of the slow tests.

The study of more printers is run by hand: see `study_choices.py`.
"""

from itertools import pairwise

import numpy as np
import pytest
from bench.study_choices import bins, column, study

from coupons.terms import Direction, Form, Joint

pytestmark = pytest.mark.slow

PRINTERS = 25
SLOT = (Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X),)


def test_three_pieces_fit_far_more_often_than_one_and_as_often_as_stated():
    rows = study(PRINTERS, joints=SLOT)
    one, three = (column(rows, f"true {count}") for count in (1, 3))
    gained = three - one
    assert gained.mean() - 2 * gained.std() / np.sqrt(len(gained)) > 0.1
    excess = three - column(rows, "stated 3")
    assert abs(excess.mean()) <= 3.5 * excess.std() / np.sqrt(len(excess)) + 0.01
    for _, stated, true, error in bins(rows):
        # Of few printers a bin's own error bar means little: none is off by a tenth and four bars.
        assert abs(true - stated) <= 4 * error + 0.1
    # Who knows more does better, beyond the error of 25 printers; no other set promises more.
    for least, most in pairwise(("true 3", "print 3", "machine 3")):
        better = column(rows, most) - column(rows, least)
        assert better.mean() > -2 * better.std() / np.sqrt(len(better))
    assert (column(rows, "every") - column(rows, "chosen")).max() <= 0.005
