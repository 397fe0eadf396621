"""The Laplace mixture against an ensemble sampler (emcee) on the very same posterior.

Compared is what answers are made of: growths, and the gaps at which push and slide begin. Two
parts of this small posterior are too long-tailed for it: the threshold of loose, at the edge of
the graded gaps (mean off by up to 0.3 sd, sd by up to a quarter), and a scale from five spans (sd
16 % short).
"""

import numpy as np
import pytest
from naive_posterior import UNKNOWN, NaivePosterior, sample, small_design

from coupons.learning.effects import TERMS
from coupons.learning.fit import fit_design

STEPS = 16_000


def row_of(**weights):
    row = np.zeros(len(TERMS))
    for name, weight in weights.items():
        row[TERMS.index(name)] = weight
    return row


ASKED = {
    "external growth": row_of(growth_ext=1),
    "internal growth": row_of(growth_int=1),
    "gap from which it pushes": row_of(from_push=1, growth_ext=2, growth_int=2),
    "gap from which it slides": row_of(from_slide=1, growth_ext=2, growth_int=2),
}


@pytest.mark.slow
@pytest.mark.parametrize("seed", [2, 3])
def test_means_and_sds_agree_with_an_ensemble_sampler(seed):
    """Means within 0.1 posterior sd and sds within 10 %, each with the sampler's own error on top.

    That error is twice the standard error at the number of independent draws.
    """
    design = small_design(seed)
    fitted = fit_design(design)
    draws, sampler = sample(NaivePosterior(design), STEPS, seed)
    independent = len(draws) / sampler.get_autocorr_time(quiet=True).max()
    assert independent > 1000  # else the sampler has not run long enough to be a reference
    error = 2 / np.sqrt(independent)
    columns = [TERMS.index(name) for name in UNKNOWN]
    for name, row in ASKED.items():
        drawn = draws[:, : len(UNKNOWN)] @ row[columns]
        mean, sd = row @ fitted.mean, np.sqrt(row @ fitted.covariance @ row)
        assert abs(mean - drawn.mean()) < (0.1 + error) * drawn.std(), name
        assert abs(sd / drawn.std() - 1) < 0.1 + error, name
