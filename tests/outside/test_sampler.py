"""The fit against a Hamiltonian sampler (numpyro's) on the very same posterior.

Compared is what answers are made of: the gaps at which each grade begins, flat and round, and the
growths. The reference is the sampler's, the posterior is `naive_posterior`'s.
"""

import pytest

from coupons.learning.fit import fit_design


@pytest.mark.slow
@pytest.mark.parametrize(("name", "seed"), [("small", 2), ("first", 3)])
def test_means_and_sds_agree_with_a_sampler(name, seed):
    """Means within 0.1 posterior sd and sds within 10 %, with the sampler's own error on top."""
    from support import naive_posterior as naive
    from support.sampled import FLAT, GROWTHS, ROUND, compare

    design = {"small": naive.small_design, "first": naive.first_design}[name](seed)
    draws, diverged = naive.sample(design, 4000, seed)
    assert diverged == 0
    asked = GROWTHS | FLAT | (ROUND if name == "first" else {})
    found = compare(fit_design(design), draws, asked)
    assert len(found) >= 4
    for one in found:
        assert one.independent > 1000, one  # else the sampler is no reference
        assert abs(one.off_sds) < 0.1 + one.error, one
        assert abs(one.sd_ratio - 1) < 0.1 + one.error, one
