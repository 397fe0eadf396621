"""Predictive variance of the next print: uncertainty of the printer, and the print's own shift.

The shift's scatter is itself known only roughly (log-normal), so that a chance about the next print
is a small weighted sum of normal ones.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from coupons.learning.effects import prior_sd
from coupons.learning.profile import Profile

Array = NDArray[np.floating]


def variances(profile: Profile, rows: Array, in_plane: float, in_z: float) -> tuple[Array, Array]:
    """Variance of ``rows`` · terms for the next print, at nodes of the print-to-print scatter.

    Parameters
    ----------
    profile : Profile
    rows : ndarray of shape (n, n_terms)
    in_plane, in_z : float
        How many sizes a shift moves together in the layer plane and across layers: 1 for one
        size, 2 for the gap of a printed pair.

    Returns
    -------
    variances : ndarray of shape (n_nodes, n)
        In mm².
    weights : ndarray of shape (n_nodes,)
    """
    of_machine, of_print, weights = variance_parts(profile, rows, in_plane, in_z)
    return of_machine + of_print[:, None], weights


def variance_parts(
    profile: Profile, rows: Array, in_plane: float, in_z: float
) -> tuple[Array, Array, Array]:
    """Return `variances` in two parts, and the weights.

    The first, shape (n_nodes, n), is the uncertainty of the machine; it depends on the scatter too
    (see `coupons.learning.taught_shift`). The second, shape (n_nodes,), is the next print's own
    shift.
    """
    taught, nodes = profile.taught_shift, profile.shift_nodes
    by_shift = rows @ taught.slope
    moved = np.einsum("ni,kij,nj->kn", by_shift, nodes.taught, by_shift)
    of_machine = np.sum((rows @ taught.root) ** 2, axis=1) + moved
    return of_machine, nodes.squares @ np.array([in_plane, in_z]) ** 2, nodes.weights


def learned_share(profile: Profile, rows: Array) -> Array:
    """Return posterior over prior variance of ``rows`` · terms: 1 where nothing was learned.

    Parameters
    ----------
    profile : Profile
    rows : ndarray of shape (n, n_terms)

    Returns
    -------
    ndarray of shape (n,)
    """
    before = rows**2 @ prior_sd(profile.prior_table) ** 2
    after = np.sum((rows @ profile.covariance_matrix) * rows, axis=1)
    return np.asarray(after / before)


def half_width(variances: Array, weights: Array, share: float = 0.90) -> float:
    """Half width of the central interval of a mixture of normals with one mean, by bisection.

    Examples
    --------
    >>> round(half_width(np.array([1.0]), np.array([1.0])), 3)
    1.645
    """
    low, high = 0.0, 10 * float(np.sqrt(variances.max()))
    for _ in range(60):
        middle = (low + high) / 2
        inside = float(weights @ (2 * ndtr(middle / np.sqrt(variances)) - 1))
        low, high = (middle, high) if inside < share else (low, middle)
    return high
