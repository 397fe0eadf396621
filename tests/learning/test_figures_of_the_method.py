"""Numbers of the method are those that the document states."""

import re
from pathlib import Path

import numpy as np
import pytest

from coupons.learning import carrying, like, pooling
from coupons.learning.posterior import corrections, lattice, stepwise, threshold_marginals

FLOWING = " ".join(
    (Path(__file__).parents[2] / "results" / "MODEL.md").read_text(encoding="utf-8").split()
)


def listed(words):
    (found,) = re.findall(words, FLOWING)
    return tuple(float(each) for each in re.split(", | or ", found))


def test_how_far_machines_and_changes_may_differ():
    assert listed(r"scatters' logarithms: each is ([\d., or]+), all as likely") == pooling.SPREADS
    assert listed(r"g and s may each be ([\d., or]+) of the general prior's sd") == carrying.SIZES
    assert "In half of the new machine's prior it is unlike the others" in FLOWING
    assert "by five times the spread, at most by the general prior's sd" in FLOWING
    assert "In a third of the prior the machine changed in its own way" in FLOWING
    assert pooling.UNLIKE_SHARE == 0.5
    assert pooling.UNLIKE_SPREADS == 5
    assert pooling.ANEW_SHARE == 1 / 3
    assert "carry over if less than half of its prior variance is left" in FLOWING
    assert like.KNOWN == 1 / 2


def test_the_lattice_over_the_scatters():
    assert listed(r"lattice with steps of ([\d.]+) posterior sds") == (lattice._STEP,)
    assert listed(r"as far out as the log posterior has not fallen by ([\d.]+)\.") == (5.5,)
    assert lattice._DROP == 5.5


def test_the_nodes_of_an_own_deviation_and_the_places_of_a_threshold():
    assert listed(r"taken outright \((\d+) nodes\)") == (len(corrections._NODES),)
    assert listed(r"higher hill within (\d+) conditional sds") == (16,)
    assert corrections._NODES[-1, 0] == pytest.approx(16, abs=0.1)
    assert "each threshold is pinned at five values" in FLOWING
    assert threshold_marginals._PINS.tolist() == [-2.5, -1.25, 0.0, 1.25, 2.5]
    assert "At the three heaviest points" in FLOWING


def test_the_normals_of_a_student_t():
    assert "a mixture of ten normals, precision e^(1.6 − 1.3 k)" in FLOWING
    assert pytest.approx([1.6 - 1.3 * k for k in range(10)]) == stepwise._TAIL_STEPS


def test_nodes_of_an_own_deviation_integrate_what_is_known():
    """The integral of a normal density, and of one three times as wide, from their formula."""
    for sd in (1.0, 3.0):
        heights = -0.5 * (corrections._NODES / sd) ** 2 + corrections._LOG_WIDTHS
        assert np.exp(heights).sum() == pytest.approx(np.sqrt(2 * np.pi) * sd, rel=1e-3)
