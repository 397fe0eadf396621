"""The chance of several joints against a general-purpose multivariate normal and plain draws."""

import numpy as np
import pytest
from scipy.stats import multivariate_normal
from support.known_profile import unshifted

from coupons.answering.chances.demand import Demand
from coupons.answering.chances.together import chance_together


def some_joints(n_joints, seed):
    """Joints that lean on five shared terms, with window margins that move almost together."""
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(5, 5)) * 0.015
    demands = []
    for _ in range(n_joints):
        row = rng.normal(size=5) + 1
        below = (0.09, row)
        beyond = (-0.11, row + 0.2 * rng.normal(size=5))
        demands.append(Demand(below, beyond, own_sd_mm=0.03))
    return demands, root @ root.T


@pytest.mark.slow
@pytest.mark.parametrize("n_joints", [2, 3, 5])
def test_against_the_cumulative_normal_of_all_margins(n_joints):
    demands, covariance = some_joints(n_joints, seed=n_joints)
    rows = np.array([m[1] for d in demands for m in (d.lower, d.upper)])
    means = np.array([m[0] for d in demands for m in (d.lower, d.upper)])
    # Both margins of a joint share its own deviation.
    own = np.kron(np.eye(n_joints), np.full((2, 2), 0.03**2))
    low = np.tile([0.0, -np.inf], n_joints)
    high = np.tile([np.inf, 0.0], n_joints)
    reference = multivariate_normal.cdf(
        high,
        means,
        rows @ covariance @ rows.T + own,
        lower_limit=low,
        allow_singular=True,
        maxpts=200_000 * n_joints,
        abseps=1e-5,
        rng=np.random.default_rng(1),
    )
    answer = chance_together(demands, unshifted(covariance))
    assert answer.error < 2e-3
    assert answer.chance == pytest.approx(reference, abs=4 * answer.error + 1e-4)


def test_twenty_joints_against_draws():
    demands, covariance = some_joints(20, seed=9)
    rng = np.random.default_rng(5)
    n = 100_000
    theta = rng.multivariate_normal(np.zeros(5), covariance, n)
    holds = np.ones(n, bool)
    for demand in demands:
        own = rng.normal(0, 0.03, n)
        holds &= demand.lower[0] + theta @ demand.lower[1] + own > 0
        holds &= demand.upper[0] + theta @ demand.upper[1] + own < 0
    answer = chance_together(demands, unshifted(covariance))
    drawn_error = holds.std() / np.sqrt(n)
    assert 0.02 < answer.chance < 0.98, "a case in which the joints can tell"
    assert answer.chance == pytest.approx(holds.mean(), abs=4 * np.hypot(drawn_error, answer.error))
    # Multiplying the single chances would be far off.
    assert abs(np.prod(_singles(demands, covariance)) - holds.mean()) > 10 * drawn_error


def _singles(demands, covariance):
    return [chance_together([demand], unshifted(covariance)).chance for demand in demands]
