"""Sorting whole numbers with their places."""

import numpy as np
import pytest

from coupons.answering.meshes.ordering import stable_order


@pytest.mark.parametrize("largest", [0, 3, 10**6, 2**52, 2**63 - 1])
@pytest.mark.parametrize("many", [0, 1, 1000])
def test_equal_keys_stay_in_their_order(largest, many):
    keys = np.random.default_rng(many).integers(0, largest, many, endpoint=True)
    keys[many // 2 :] = keys[: many - many // 2]
    found = stable_order(keys).tolist()
    assert found == sorted(range(many), key=lambda place: (keys[place], place))
