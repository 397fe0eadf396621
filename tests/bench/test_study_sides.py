"""The study of sides, small enough for the slow tests: see `study_sides.py`."""

import numpy as np
import pytest
from bench.study_sides import study

pytestmark = pytest.mark.slow


def test_intervals_of_unlike_sides_hold():
    # Each printer is asked of all kinds of joints at once: the error bar counts printers.
    shares = study(20)
    mean = np.mean([values.mean() for values in shares.values()])
    error = max(values.std(ddof=1) / np.sqrt(len(values)) for values in shares.values())
    assert abs(mean - 0.90) <= 0.04 + 2 * error
