"""Sorting whole numbers with their places, faster than a stable sort of places."""

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]
_BITS = 63  # of a positive whole number


def stable_order(keys: Ints) -> Ints:
    """Return the places of some keys in increasing order, equal ones as they come.

    Key and place are put into one number where they fit: sorting numbers is several times as fast
    as sorting their places.

    Parameters
    ----------
    keys : ndarray of int
        None negative.

    Examples
    --------
    >>> stable_order(np.array([7, 2, 7, 0])).tolist()
    [3, 1, 0, 2]
    """
    room = len(keys).bit_length()
    if int(keys.max(initial=0)).bit_length() + room > _BITS:
        return np.argsort(keys, kind="stable")
    return np.asarray(np.sort((keys << room) | np.arange(len(keys))) & ((1 << room) - 1))
