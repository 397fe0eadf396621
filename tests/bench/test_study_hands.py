"""A small run of the study of new hands; the whole one is in results/study/hands.json."""

import numpy as np
import pytest
from bench.study_hands import Bench, one_printer

COUNT = 8


@pytest.mark.slow
def test_trials_of_a_new_hand_find_a_hand_that_is_far_off():
    """Twelve printers whose second person asks for 0.08 mm more, nearly three prior sds."""
    bench = Bench()
    every = [one_printer(bench, (7, n), [COUNT], new_mm=0.08) for n in range(12)]
    held = {name: np.array([np.mean(one[name]["held"]) for one in every]) for name in every[0]}
    won = np.array([np.mean(one[COUNT]["slides"]) - np.mean(one["old"]["slides"]) for one in every])
    error = held[COUNT].std(ddof=1) / np.sqrt(len(every))
    assert held["old"].mean() < 0.75
    assert held[COUNT].mean() > held["old"].mean() + 2 * error
    assert won.mean() > 2 * won.std(ddof=1) / np.sqrt(len(every))
