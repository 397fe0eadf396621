"""The chance that several joints all fit, although what is not known about the printer is shared.

Joints of one printer are not independent: if growth is larger than believed, all of them are
tighter together. Given the shared terms θ they are independent, so that the chance of all is the
mean, over θ, of a product of one-joint chances. One joint is exact; several are averaged over a
lattice of θ that fills its space evenly, shifted at random a few times so that the spread between
shifts gives the error.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_SHIFTS = 8
_POINTS = 1024
# Directions of θ that move no margin by more than this share of its own spread are left out.
_NEGLIGIBLE = 1e-6


@dataclass(frozen=True)
class Demand:
    """What one joint must do: stay above one threshold and below the next, in mm.

    Its margins over the two thresholds are ``constant + row · θ + e`` with the same
    e ~ N(0, ``own_sd_mm``²) in both. A joint holds if the lower margin is positive and the upper
    one negative.

    Parameters
    ----------
    lower, upper : tuple of (float, ndarray of shape (n_terms,)) or None
        Constant and row of the margin over the threshold below and above the wanted grades; None
        where the wanted grades are open on that side.
    own_sd_mm : float
        What this joint shares with no other: own deviations of its features, and judgement.
    """

    lower: tuple[float, Array] | None
    upper: tuple[float, Array] | None
    own_sd_mm: float


@dataclass(frozen=True)
class Together:
    """The chance that all demands hold, and the standard error of that number (0 if exact)."""

    chance: float
    error: float


def chance_together(demands: Sequence[Demand], covariance: Array, seed: int = 0) -> Together:
    """Compute the chance that all demands hold at once.

    Parameters
    ----------
    demands : sequence of Demand
        With margins at the mean of θ as their constants.
    covariance : ndarray of shape (n_terms, n_terms)
        Of the shared terms θ around their mean.
    seed : int
        Of the lattice's random shifts; the same seed gives the same digits.

    Examples
    --------
    >>> import numpy as np
    >>> sure = Demand((0.3, np.zeros(1)), None, own_sd_mm=0.1)
    >>> round(chance_together([sure], np.eye(1)).chance, 4)
    0.9987
    """
    if not demands:
        return Together(1.0, 0.0)
    chances = single_chances(demands, covariance)
    if len(demands) == 1:
        return Together(float(chances[0]), 0.0)
    low, high = _Margins(demands, "lower"), _Margins(demands, "upper")
    own = np.array([demand.own_sd_mm for demand in demands])
    directions = _directions(
        np.concatenate([low.rows, high.rows]) / np.tile(own, 2)[:, None], covariance
    )
    rng = np.random.default_rng(seed)
    means = [_mean_product(low, high, own, _normal_points(directions, rng)) for _ in range(_SHIFTS)]
    return Together(float(np.mean(means)), float(np.std(means, ddof=1) / np.sqrt(_SHIFTS)))


def single_chances(demands: Sequence[Demand], covariance: Array) -> Array:
    """Compute each demand's own chance, exactly.

    Returns
    -------
    ndarray of shape (n_demands,)
    """
    own = np.array([demand.own_sd_mm for demand in demands])
    above = _Margins(demands, "lower").chance_positive(covariance, own)
    beyond = _Margins(demands, "upper").chance_positive(covariance, own)
    return np.maximum(above - beyond, 0.0)


class _Margins:
    """One side's margins of all demands as arrays; an open side is a margin that always holds."""

    def __init__(self, demands: Sequence[Demand], side: str) -> None:
        n_terms = next(len(m[1]) for d in demands for m in (d.lower, d.upper) if m is not None)
        open_side = (np.inf if side == "lower" else -np.inf, np.zeros(n_terms))
        margins = [getattr(demand, side) or open_side for demand in demands]
        self.constants = np.array([constant for constant, _ in margins])
        self.rows = np.array([row for _, row in margins])

    def chance_positive(self, covariance: Array, own: Array) -> Array:
        from scipy.special import ndtr

        variance = np.einsum("ij,jk,ik->i", self.rows, covariance, self.rows) + own**2
        return np.asarray(ndtr(self.constants / np.sqrt(variance)))

    def chance_given(self, theta: Array, own: Array) -> Array:
        from scipy.special import ndtr

        return np.asarray(ndtr((self.constants + theta @ self.rows.T) / own))


def _mean_product(low: _Margins, high: _Margins, own: Array, theta: Array) -> float:
    inside = low.chance_given(theta, own) - high.chance_given(theta, own)
    return float(np.prod(np.maximum(inside, 0.0), axis=1).mean())


def _directions(scaled_rows: Array, covariance: Array) -> Array:
    """Turn standard normals into θ, the direction that moves the margins most first.

    The lattice is most even in its first coordinates, so that they should carry the most.
    """
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    _, strengths, turned = np.linalg.svd(scaled_rows @ root, full_matrices=False)
    keep = max(1, int(np.sum(strengths > _NEGLIGIBLE)))
    return np.asarray(root @ turned[:keep].T)


def _normal_points(directions: Array, rng: np.random.Generator) -> Array:
    """Place θ at the points of a Kronecker lattice with steps from the generalised golden ratio."""
    from scipy.special import ndtri

    n = directions.shape[1]
    golden = 2.0
    for _ in range(60):  # the positive root of x^(n+1) = x + 1, by its contraction
        golden = (1 + golden) ** (1 / (n + 1))
    steps = golden ** -np.arange(1.0, n + 1)
    points = (rng.random(n) + np.outer(np.arange(1, _POINTS + 1), steps)) % 1
    folded = np.abs(2 * points - 1)  # the fold makes the integrand periodic, which lattices like
    return np.asarray(ndtri(np.clip(folded, 1e-12, 1 - 1e-12)) @ directions.T)
