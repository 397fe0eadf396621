"""The study of pieces to choose from, small enough for every run of the slow tests.

The study of more printers is run by hand: see `study_choices.py`.
"""

import numpy as np
import pytest
from bench.study_choices import study

from coupons.terms import Direction, Form, Grade, Joint

pytestmark = pytest.mark.slow

PRINTERS = 25
SLOT = (Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X),)


def test_three_pieces_fit_far_more_often_than_one_and_as_often_as_stated():
    found = study(PRINTERS, joints=SLOT, fits=(Grade.SLIDE,))
    one, three = (np.array(found.true[f"slide slot {count}"]) for count in (1, 3))
    gained = three - one
    assert gained.mean() - 2 * gained.std() / np.sqrt(len(gained)) > 0.1
    excess = three - np.array(found.stated["slide slot 3"])
    assert abs(excess.mean()) <= 3.5 * excess.std() / np.sqrt(len(excess)) + 0.01
    for _, stated, true, error in found.bins():
        # Of few printers a bin's own error bar means little: none is off by a tenth and four bars.
        assert abs(true - stated) <= 4 * error + 0.1
