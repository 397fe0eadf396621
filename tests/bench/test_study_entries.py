"""The study of chosen entries: its exact chances against joints that are printed and tried."""

import numpy as np
import pytest
from bench.calibration import try_joint
from bench.study_entries import JOINTS, against, chance, holds, joint_truth, share_of_oracle
from support.prior_printer import draw_printer


@pytest.mark.parametrize(("joint", "grade"), JOINTS)
@pytest.mark.slow
def test_the_chance_is_that_of_printed_joints(joint, grade):
    """4,000 prints: standard error 0.008 at most; rows of effects hardly depend on the gap."""
    rng = np.random.default_rng(3)
    printer = draw_printer(rng)
    truth = joint_truth(printer, joint, grade)
    for off_mm in (0.0, 0.1):
        gap_mm = truth[0] + off_mm
        came = np.mean([try_joint(printer, joint, gap_mm, rng) is grade for _ in range(4000)])
        assert chance(truth, gap_mm) == pytest.approx(came, abs=0.03)
    assert chance(truth, truth[0]) >= chance(truth, truth[0] + 0.02)
    assert holds(truth, truth[0] - 1.645 * truth[3], truth[0] + 1.645 * truth[3]) == pytest.approx(
        0.9, abs=0.001
    )


def test_shares_and_differences_are_paired_by_printer():
    def rows(*chances):
        return [{"printer": n, "oracle": 0.8, "fit": each} for n, each in enumerate(chances)]

    share, error = share_of_oracle(rows(0.8, 0.6, 0.7), "fit")
    assert share == pytest.approx(0.7 / 0.8)
    assert error == pytest.approx(0.1 / np.sqrt(3) / 0.8)
    above, paired = against(rows(0.7, 0.5, 0.6), rows(0.8, 0.6, 0.7), "fit")
    assert above == pytest.approx(-0.1 / 0.8)
    assert paired == pytest.approx(0, abs=1e-9)
