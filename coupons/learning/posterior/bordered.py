"""Bordered diagonal matrices and their Cholesky factors (by Schur complement): a fit's Hessian.

Most sizes of a coupon share trials only with the few loose pieces that were tried in them, never
with each other. Eliminated first, they cost one division each, and only the *core* remains to be
factorised: the terms, the runs' shifts and the pieces that were tried in many features. A coupon of
500 features has a core of about 150.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.linalg import LinAlgError, cholesky
from numpy.typing import NDArray
from scipy.linalg.lapack import dpotrs, dtrtrs

Array = NDArray[np.floating]
Indices = NDArray[np.intp]


@dataclass(frozen=True)
class Rows:
    """Weights of n latent values in m numbers, each of which depends on at most one value alone.

    Parameters
    ----------
    core : ndarray of shape (n_core, m)
    place : ndarray of int, shape (m,)
        Which of the values that are alone.
    alone : ndarray of shape (m,)
        Its weight; zero for a number that depends on the core only.
    """

    core: Array
    place: Indices
    alone: Array


@dataclass(frozen=True)
class Whitened:
    """Rows after division by the square root of a matrix H: inner products are rowsᵀ H⁻¹ rows.

    Parameters
    ----------
    core : ndarray of shape (n_core, m)
    alone : ndarray of shape (m,)
        Each of the m rows depends on one of the values alone.
    """

    core: Array
    alone: Array

    def inner(self, other: "Whitened") -> Array:
        """Return the m inner products; both sets of rows must depend on the same values alone."""
        products: Array = (self.core * other.core).sum(axis=0) + self.alone * other.alone
        return products


@dataclass(frozen=True)
class Bordered:
    """A symmetric matrix that couples the values ``alone`` only with the ``core``.

    Parameters
    ----------
    core, alone : ndarray of int
        Which values belong to which part; together they are all.
    of_core : ndarray of shape (n_core, n_core)
    border : ndarray of shape (n_core, n_alone)
    diagonal : ndarray of shape (n_alone,)
    """

    core: Indices
    alone: Indices
    of_core: Array
    border: Array
    diagonal: Array

    def factorised(self) -> "Factor":
        """Eliminate the values that are alone and factorise the rest.

        Raises
        ------
        LinAlgError
            If the matrix is not positive definite.
        """
        if not (self.diagonal > 0).all():
            raise LinAlgError("A value on the diagonal is not positive.")
        reduced = self.border / self.diagonal
        lower = cholesky(self.of_core - reduced @ self.border.T)
        return Factor(self.core, self.alone, lower, reduced, self.diagonal)

    def bent_upwards(self, unit: Array, flattest: float) -> "Factor":
        """Factorise with the absolute value of each curvature, so that a Newton step descends.

        First of the values that are alone, then along the principal axes of what is left.

        Parameters
        ----------
        unit : ndarray of shape (n_core + n_alone,)
            Unit of each value while axes are looked for.
        flattest : float
            Smallest curvature, in these units; a smaller one is replaced by it.
        """
        of_alone, of_core = unit[self.alone], unit[self.core]
        diagonal = np.maximum(np.abs(self.diagonal) * of_alone**2, flattest) / of_alone**2
        reduced = self.border / diagonal
        rest = self.of_core - reduced @ self.border.T
        curvature, axes = np.linalg.eigh(rest * of_core * of_core[:, None])
        axes *= np.sqrt(np.maximum(np.abs(curvature), flattest))
        axes /= of_core[:, None]
        return Factor(self.core, self.alone, cholesky(axes @ axes.T), reduced, diagonal)


@dataclass(frozen=True)
class Factor:
    """Cholesky factor of a bordered, positive definite matrix.

    Parameters
    ----------
    core, alone : ndarray of int
        Indices of the values in the core, and of those coupled only with the core.
    lower : ndarray of shape (n_core, n_core)
        Cholesky factor of the core with the rest eliminated.
    reduced : ndarray
        Border divided by the diagonal.
    diagonal : ndarray of shape (n_alone,)
    """

    core: Indices
    alone: Indices
    lower: Array
    reduced: Array
    diagonal: Array

    @property
    def log_determinant(self) -> float:
        """Natural logarithm of the determinant."""
        of_core = 2 * np.log(np.diag(self.lower)).sum()
        return float(of_core + np.log(self.diagonal).sum())

    def solve(self, right: Array) -> Array:
        """Divide a vector, or the columns of a matrix, by the matrix."""
        at_core = right[self.core] - self.reduced @ right[self.alone]
        solved = np.empty_like(right)
        solved[self.core] = _solved(self.lower, at_core)
        own = (right[self.alone].T / self.diagonal).T
        solved[self.alone] = own - self.reduced.T @ solved[self.core]
        return solved

    def whiten(self, rows: Rows) -> Whitened:
        """Divide rows by the square root of the matrix."""
        at_core = rows.core - self.reduced[:, rows.place] * rows.alone
        return Whitened(
            _half_solved(self.lower, at_core),
            rows.alone / np.sqrt(self.diagonal[rows.place]),
        )

    def first_of_core(self, count: int) -> Array:
        """Return the inverse between the first ``count`` values of the core."""
        half: Array = _half_solved(self.lower, np.eye(len(self.lower), count))
        return half.T @ half

    @cached_property
    def inverse_diagonal(self) -> Array:
        """Diagonal of the inverse: the variances where the matrix is a curvature."""
        n_core, n_alone = len(self.core), len(self.alone)
        diagonal = np.empty(n_core + n_alone)
        of_core = _half_solved(self.lower, np.eye(n_core))
        of_alone = _half_solved(self.lower, self.reduced)
        diagonal[self.core] = (of_core**2).sum(axis=0)
        diagonal[self.alone] = 1 / self.diagonal + (of_alone**2).sum(axis=0)
        return diagonal


# LAPACK called directly: on the thirty rows of a core the checks around it take most of the time.
def _solved(lower: Array, right: Array) -> Array:
    """Divide by the matrix of which ``lower`` is the Cholesky factor."""
    solved, _ = dpotrs(lower, right, lower=True)
    return np.asarray(solved)


def _half_solved(lower: Array, right: Array) -> Array:
    """Divide by the factor itself, which has no zero on its diagonal."""
    solved, _ = dtrtrs(lower, right, lower=True)
    return np.asarray(solved)


def not_meeting(first: Indices, second: Indices, count: int) -> Indices:
    """Return an independent set: many of ``count`` values of which no two are coupled.

    Greedily, those with the fewest partners first: features of a coupon before the loose pieces
    that are tried in all of them.

    Parameters
    ----------
    first, second : ndarray of int
        The coupled values, pair by pair.
    count : int

    Returns
    -------
    ndarray of int, ascending

    Examples
    --------
    Three features, one piece tried in each:

    >>> import numpy as np
    >>> not_meeting(np.array([0, 1, 2]), np.array([3, 3, 3]), 4)
    array([0, 1, 2])
    """
    partners: list[set[int]] = [set() for _ in range(count)]
    for one, other in zip(first.tolist(), second.tolist(), strict=True):
        partners[one].add(other)
        partners[other].add(one)
    chosen: set[int] = set()
    for value in sorted(range(count), key=lambda value: len(partners[value])):
        if partners[value].isdisjoint(chosen):
            chosen.add(value)
    return np.array(sorted(chosen), np.intp)
