"""Partial pooling against one-way random effects with published variance components.

Sources: Rail (Pinheiro & Bates, Mixed-Effects Models in S and S-PLUS: sd between 24.80547, within
4.020779, mean 66.5 with standard error 10.17104); Dyestuff (Davies 1947: variance between 1764.05,
within 2451.25; mean 1527.5 with standard error 19.383). Predicted group means follow from these by
the shrinkage (best linear unbiased prediction) of the same book. Dyestuff2 (Box & Tiao): the
variance between is zero.
"""

import numpy as np
import pytest

from coupons.learning import pooling
from coupons.learning.pooling import evidence_of, pool

RAIL = np.array([54.0, 31.666667, 84.666667, 96.0, 50.0, 82.666667])
DYESTUFF = np.array([1505.0, 1528.0, 1564.0, 1498.0, 1600.0, 1470.0])
DYESTUFF2 = np.array([6.2268, 4.6564, 7.5212, 6.0546, 6.2786, 3.2560])
WIDE = 1e3  # the prior's sd in sds between groups: wide enough to be flat
ONE_GROUP = np.zeros(1, dtype=np.intp)


def evidence(mean, se, centre, sd):
    """One group of readings as a normal likelihood."""
    variance = 1 / (1 / se**2 + 1 / sd**2)
    posterior = variance * (mean / se**2 + centre / sd**2)
    return evidence_of(
        np.array([posterior]), np.array([[variance]]), np.array([centre]), np.array([sd])
    )


def pooled(monkeypatch, means, own, sd_between, se_within):
    sd, centre = WIDE * sd_between, float(means.mean()) - 3 * sd_between
    monkeypatch.setattr(pooling, "SPREADS", (1 / WIDE,))
    monkeypatch.setattr(pooling, "UNLIKE_SHARE", 1e-12)
    seen = [evidence(mean, se_within, centre, sd) for mean in means]
    others = [one for n, one in enumerate(seen) if n != own]
    mine = evidence_of(np.array([centre]), np.array([[sd**2]]), np.array([centre]), np.array([sd]))
    found = pool(mine if own is None else seen[own], others, ONE_GROUP)
    return centre + sd * found.mean[0], sd * np.sqrt(found.covariance[0, 0])


@pytest.mark.parametrize("own", range(6))
def test_a_group_is_predicted_as_published_components_say(monkeypatch, own):
    between, within = 24.80547, 4.020779 / np.sqrt(3)
    share = between**2 / (between**2 + within**2)
    mean, _ = pooled(monkeypatch, RAIL, own, between, within)
    assert mean == pytest.approx(66.5 + share * (RAIL[own] - 66.5), abs=1e-3)


@pytest.mark.parametrize(
    ("means", "between", "within", "mean", "se"),
    [
        (RAIL, 24.80547, 4.020779 / np.sqrt(3), 66.5, 10.17104),
        (DYESTUFF, np.sqrt(1764.05), np.sqrt(2451.25 / 5), 1527.5, 19.383412),
    ],
)
def test_a_group_not_yet_seen_is_the_mean_give_or_take_both(
    monkeypatch, means, between, within, mean, se
):
    found, sd = pooled(monkeypatch, means, None, between, within)
    assert found == pytest.approx(mean, rel=1e-5)
    assert sd == pytest.approx(np.hypot(se, between), rel=1e-4)


@pytest.mark.parametrize(
    ("means", "within", "low", "high"),
    [
        # Published sd between, as a share of a prior of sd 100, lies between steps of the grid.
        (RAIL, 4.020779 / np.sqrt(3), 0.15, 0.42),
        # No variance between: the smallest spread is by far the likeliest.
        (5 * DYESTUFF2, 5 * 3.8659914 / np.sqrt(5), 0.10, 0.15),
    ],
)
def test_how_far_groups_differ_is_found(means, within, low, high):
    centre = float(means.mean())
    seen = [evidence(mean, within, centre, 100.0) for mean in means]
    assert low < pool(seen[0], seen[1:], ONE_GROUP).spreads[0] < high
