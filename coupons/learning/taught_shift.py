"""Dependence of the posterior of the terms on the mean shift of the fitted prints.

The shift of a print changes all its sizes as growth does, so its readings and trials show only the
sum of both. If the shifts were smaller than assumed, growth would be known better. The size of
shifts is known only roughly, so the uncertainty of the terms is itself uncertain.

With β the terms, s the mean shift of the prints that were fitted (one in the layer plane, one along
z), and A the growth that a unit of s looks like, all observations depend on β + A·s. For a normal
likelihood its part M in the posterior covariance Σ of β, a priori P, is P⁻¹(P − Σ)P⁻¹, and

    cov(s) = V − V·AᵀMA·V,    cov(β, s) = −(P − Σ)P⁻¹A·V,

where V is the prior covariance of s. Given s, β does not depend on how large shifts are; the
covariance of s for another V follows from the information of the data, which stays the same.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from coupons.learning.effects import TERMS

if TYPE_CHECKING:  # a profile holds its own taught shift
    from coupons.learning.profile import LogSpread

Array = NDArray[np.floating]

# Half of a shift goes to each of two faces; growth is counted per face.
AS_GROWTH = np.zeros((len(TERMS), 2))
for _axis, _names in enumerate((("growth_ext", "growth_int"), ("growth_ext_z", "growth_int_z"))):
    AS_GROWTH[[TERMS.index(name) for name in _names], _axis] = 0.5

# A covariance written by hand may be smaller than that of any fit: this bounds the information on a
# mean shift.
_MOST_LEARNED = 0.99
_HALVINGS = 40


@dataclass(frozen=True)
class TaughtShift:
    """Posterior of the terms given the mean shifts of the fitted prints, and of those shifts.

    Parameters
    ----------
    root : ndarray of shape (n_terms, n_terms)
        Root of the terms' covariance given the mean shifts: root · rootᵀ.
    slope : ndarray of shape (n_terms, 2)
        Change of the terms for each mm of mean shift.
    information : ndarray of shape (2, 2)
        Information of the data on the mean shifts themselves, in 1/mm².
    runs : ndarray of shape (2,)
        How many prints each mean is over.
    """

    root: Array
    slope: Array
    information: Array
    runs: Array

    def covariance(self, squares: Array) -> Array:
        """Covariance of the two mean shifts, in mm², for given mean squares of a print's shift.

        Parameters
        ----------
        squares : ndarray of shape (..., 2)
            In the layer plane and along z, in mm².

        Returns
        -------
        ndarray of shape (..., 2, 2)
        """
        return np.asarray(np.linalg.inv(self.information + _diagonals(self.runs / squares)))


def taught_shift(
    covariance: Array,
    prior_variance: Array,
    spreads: Sequence["LogSpread"],
    runs: Sequence[int],
) -> TaughtShift:
    """Split a posterior into the terms given the mean shifts, and the mean shifts.

    Parameters
    ----------
    covariance : ndarray of shape (n_terms, n_terms)
        Posterior covariance of the terms.
    prior_variance : ndarray of shape (n_terms,)
    spreads : two of LogSpread
        Scatter of a print's shift, in the layer plane and along z.
    runs : two of int
        Number of prints with sizes there. None counts as one, which has no information on it.
    """
    passes = AS_GROWTH / prior_variance[:, None]
    lost = np.diag(prior_variance) - covariance
    learned = passes.T @ lost @ passes
    counts = np.maximum(runs, 1)
    variance = np.array(
        [
            _believed(spread, int(n), float(share))
            for spread, n, share in zip(spreads, counts, np.diag(learned), strict=True)
        ]
    )
    sds = np.sqrt(variance)
    shares, axes = np.linalg.eigh(sds[:, None] * learned * sds)
    shares = np.clip(shares, 0.0, _MOST_LEARNED)
    root = sds[:, None] * (axes * np.sqrt(1 - shares))
    information = (axes * shares / (1 - shares)) @ axes.T / np.outer(sds, sds)
    rest, slope = _given(covariance, -lost @ passes * variance, root)
    return TaughtShift(rest, slope, information, counts)


def _believed(spread: "LogSpread", runs: int, learned: float) -> float:
    """Variance of a mean shift, in mm², that the fit assumed.

    One print has no information on the scatter, which then has the prior's mean square. Several
    have: the posterior is an average over the scatter's, and so must the variance of the shift be.
    """
    squares, weights = spread.variance_rule()
    squares = squares / runs
    high = float(weights @ squares)
    if runs == 1 or learned <= 0:
        return high
    high = min(high, _MOST_LEARNED / learned)
    low = 0.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        left = 1 - middle * learned
        averaged = weights @ (1 / (learned / left + 1 / squares))
        low, high = (middle, high) if averaged > middle * left else (low, middle)
    return high


def _given(covariance: Array, cross: Array, root: Array) -> tuple[Array, Array]:
    """Root of a covariance given shifts of covariance root · rootᵀ, and its slope on them."""
    values, vectors = np.linalg.eigh(covariance)
    whole = vectors * np.sqrt(np.maximum(values, 0.0))
    by_unit = np.linalg.solve(root, cross.T).T
    known = values > values[-1] * 1e-12
    left = (vectors[:, known].T @ by_unit) / np.sqrt(values[known])[:, None]
    turned, shares, back = np.linalg.svd(left, full_matrices=False)
    shares = np.minimum(shares, 1.0)  # no part of a covariance is larger than the whole
    within = whole[:, known] @ turned
    rest = whole.copy()
    rest[:, known] -= (within * (1 - np.sqrt(1 - shares**2))) @ turned.T
    slope = np.linalg.solve(root.T, ((within * shares) @ back).T).T
    return rest, slope


def _diagonals(values: Array) -> Array:
    return np.asarray(values[..., None] * np.eye(values.shape[-1]))
