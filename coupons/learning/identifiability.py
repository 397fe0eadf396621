"""Identifiability: terms that a fit knows only in a sum with another."""

import numpy as np
from numpy.typing import NDArray

from coupons.learning.effects import EFFECTS, TERMS

Array = NDArray[np.floating]

# A profile keeps five digits of its covariance, which may take its smallest eigenvalue below zero.
_RIDGE = 1e-6


def mixed_up_with(name: str, covariance: Array, prior_sd: Array, share: float) -> str | None:
    """Return the effect with which another is confounded; None if it is not confounded.

    A coupon with holes only shows how much holes close, but not which part of it slots share.

    Parameters
    ----------
    name : str
        An effect.
    covariance : ndarray of shape (n_terms, n_terms)
    prior_sd : ndarray of shape (n_terms,)
    share : float
        The effect counts as confounded only if, given all other terms, less than this share of its
        prior variance would be left.

    Examples
    --------
    Only the sum of two effects is known:

    >>> prior_sd = np.ones(len(TERMS))
    >>> covariance = np.eye(len(TERMS))
    >>> at = [TERMS.index("growth_int"), TERMS.index("round_int")]
    >>> covariance[np.ix_(at, at)] = [[0.6, -0.5], [-0.5, 0.6]]
    >>> mixed_up_with("growth_int", covariance, prior_sd, 0.5)
    'round_int'
    >>> mixed_up_with("skew", covariance, prior_sd, 0.5)
    """
    at, sd = TERMS.index(name), np.sqrt(np.diag(covariance))
    correlation = covariance / (sd * sd[:, None])
    alone = sd[at] ** 2 / np.linalg.inv(correlation + _RIDGE * np.eye(len(sd)))[at, at]
    if alone > share * prior_sd[at] ** 2:
        return None
    others = abs(correlation[at, : len(EFFECTS)])
    others[at] = 0.0
    return EFFECTS[int(np.argmax(others))]
