"""Bordered matrices against the same matrices written out in full."""

import numpy as np
import pytest
from scipy.linalg import LinAlgError

from coupons.learning.posterior.bordered import Bordered, Rows, not_meeting

N = 9
ALONE = np.array([1, 2, 5, 7, 8])
CORE = np.array([0, 3, 4, 6])


def whole_matrix(seed, lift):
    """Return a random symmetric matrix in which the values ALONE do not meet."""
    rng = np.random.default_rng(seed)
    half = rng.normal(size=(N, N))
    whole = half + half.T + lift * np.eye(N)
    between = np.ix_(ALONE, ALONE)
    whole[between] = np.diag(np.diag(whole[between]))
    return whole


def bordered(whole):
    return Bordered(
        CORE,
        ALONE,
        whole[np.ix_(CORE, CORE)],
        whole[np.ix_(CORE, ALONE)],
        np.diag(whole)[ALONE],
    )


def test_dividing_agrees_with_the_whole_matrix():
    whole = whole_matrix(1, lift=12)
    factor, inverse = bordered(whole).factorised(), np.linalg.inv(whole)
    right = np.random.default_rng(2).normal(size=(N, 3))
    assert factor.solve(right) == pytest.approx(inverse @ right, abs=1e-12)
    assert factor.solve(right[:, 0]) == pytest.approx(inverse @ right[:, 0], abs=1e-12)
    assert factor.log_determinant == pytest.approx(np.linalg.slogdet(whole)[1], abs=1e-12)
    assert factor.inverse_diagonal == pytest.approx(np.diag(inverse), abs=1e-12)
    assert factor.first_of_core(2) == pytest.approx(inverse[np.ix_(CORE[:2], CORE[:2])], abs=1e-12)


def test_inner_products_of_whitened_rows_are_those_through_the_inverse():
    whole = whole_matrix(3, lift=12)
    factor, inverse = bordered(whole).factorised(), np.linalg.inv(whole)
    rng = np.random.default_rng(4)
    one, other = rng.normal(size=(2, N, 6))
    # Each number leans on one value alone, the last on none.
    place = np.array([0, 1, 2, 3, 4, 0])
    leans = (np.arange(len(ALONE))[:, None] == place) & (np.arange(6) < 5)
    one[ALONE] *= leans
    other[ALONE] *= leans
    a, b = (
        factor.whiten(Rows(rows[CORE], place, rows[ALONE].sum(axis=0))) for rows in (one, other)
    )
    assert a.inner(b) == pytest.approx(np.diag(one.T @ inverse @ other), abs=1e-12)


@pytest.mark.parametrize("where", [CORE[1], ALONE[1]])
def test_a_matrix_that_bends_downwards_is_refused(where):
    whole = whole_matrix(5, lift=12)
    whole[where, where] = -1
    with pytest.raises(LinAlgError):
        bordered(whole).factorised()


def test_bent_upwards_leaves_a_sound_matrix_as_it_is():
    whole = whole_matrix(6, lift=12)
    unit = np.linspace(0.5, 2, N)
    bent = bordered(whole).bent_upwards(unit, 1e-3)
    right = np.arange(1.0, N + 1)
    assert bent.solve(right) == pytest.approx(np.linalg.solve(whole, right), abs=1e-10)


@pytest.mark.parametrize("seed", range(20))
def test_a_step_by_the_bent_matrix_goes_downhill(seed):
    whole = whole_matrix(seed, lift=0)
    assert np.linalg.eigvalsh(whole)[0] < 0
    slope = np.random.default_rng(seed).normal(size=N)
    step = -bordered(whole).bent_upwards(np.ones(N), 0.05).solve(slope)
    assert slope @ step < 0


def test_no_two_chosen_values_meet_and_none_could_be_added():
    rng = np.random.default_rng(7)
    first, second = rng.integers(0, 40, (2, 60))
    first, second = first[first != second], second[first != second]
    chosen = set(not_meeting(first, second, 40).tolist())
    meets = [{*pair} for pair in zip(first.tolist(), second.tolist(), strict=True)]
    assert not any(pair <= chosen for pair in meets)
    for value in set(range(40)) - chosen:
        assert any(value in pair and pair - {value} <= chosen for pair in meets)
