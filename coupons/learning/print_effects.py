"""What is left, in the knowledge of a machine, of the very prints that taught it.

What differs from print to print moves sizes as the machine's own effects do (the shift of a print
as growth does), so that readings and trials show the sum of both. Had prints differed less than
believed, the machine would be known better. How much they differ is known only roughly, and so is,
with it, how well the machine is known.

With β the terms, s the means of the print effects over the prints that were fitted, and A by how
much each of them passes for terms, all that was seen depends on β + A·s. For a normal likelihood
its part M in the posterior covariance Σ of β, which was P, is P⁻¹(P − Σ)P⁻¹, and

    cov(s) = V − V·AᵀMA·V,    cov(β, s) = −(P − Σ)P⁻¹A·V,

where V is the prior covariance of s. Given s, β does not depend on how much prints differ; the
covariance of s for another V follows from the information of the data, which stays the same.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:  # a profile holds its own taught shift
    from coupons.learning.profile import LogSpread

Array = NDArray[np.floating]

# A covariance written by hand may be smaller than any fit would leave it: what data can say of a
# mean shift ends short of everything.
_MOST_LEARNED = 0.99
_HALVINGS = 40


@dataclass(frozen=True)
class TaughtShift:
    """The posterior of the terms, taken apart by what the prints that taught them had of their own.

    Parameters
    ----------
    root : ndarray of shape (n_terms, n_terms)
        Root of the terms' covariance given the means of the print effects: root · rootᵀ.
    slope : ndarray of shape (n_terms, n_print_effects)
        By how much the terms move for each unit that the mean of a print effect was larger.
    information : ndarray of shape (n_print_effects, n_print_effects)
        What the data say of the means themselves, in 1/mm².
    runs : ndarray of shape (n_print_effects,)
        How many prints each mean is over.
    """

    root: Array
    slope: Array
    information: Array
    runs: Array

    def covariance(self, squares: Array) -> Array:
        """Covariance of the means of the print effects, for given mean squares of one print's.

        Parameters
        ----------
        squares : ndarray of shape (..., n_print_effects)

        Returns
        -------
        ndarray of shape (..., n_print_effects, n_print_effects)
        """
        return np.asarray(np.linalg.inv(self.information + _diagonals(self.runs / squares)))


def taught_shift(
    covariance: Array,
    prior_variance: Array,
    passes_for: Array,
    spreads: Sequence["LogSpread"],
    runs: Sequence[int],
) -> TaughtShift:
    """Split a posterior into the terms given the mean shifts, and the mean shifts.

    Parameters
    ----------
    covariance : ndarray of shape (n_terms, n_terms)
        Posterior covariance of the terms.
    prior_variance : ndarray of shape (n_terms,)
        Zero for terms that are no part of the model.
    passes_for : ndarray of shape (n_terms, n_print_effects)
        By how much each print effect moves each term.
    spreads : sequence of LogSpread
        How large each print effect is.
    runs : sequence of int
        How many prints taught something of it. None counts as one: nothing is learned from it.
    """
    varies = np.where(prior_variance > 0, prior_variance, np.inf)
    passes = passes_for / varies[:, None]
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
    """Variance of the mean of a print effect that the posterior was found with.

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
