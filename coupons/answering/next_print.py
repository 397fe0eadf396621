"""How far the next print may differ: what is not known of the printer, and this print's own shift.

The shift's scatter is itself known only roughly (log-normal), so that a chance about the next print
is a small weighted sum of normal ones.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from coupons.learning.effects import prior_sd
from coupons.learning.profile import LogSpread, Profile

Array = NDArray[np.floating]

# Gauss–Hermite rule for a standard normal: nodes and weights for averages over log-scatters.
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()


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

    The first, shape (n_nodes, n), is what is not known of the machine. The terms were learned from
    so many runs, each with a shift of its own that cannot be told from growth: it goes with the
    print-to-print scatter too. The second, shape (n_nodes,), is the next print's own shift.
    """
    learned = np.sum((rows @ profile.covariance_matrix) * rows, axis=1)
    plane, plane_weights = _nodes(profile.scatters["rho"], in_plane)
    height, height_weights = _nodes(profile.scatters["rho_z"], in_z)
    shifts = (plane[:, None] + height).ravel()
    weights = (plane_weights[:, None] * height_weights).ravel()
    per_run = shifts / profile.counts.runs
    changed = learned + (per_run - weights @ per_run)[:, None]
    return np.maximum(changed, 0.1 * learned), shifts, weights


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


def _nodes(scatter: LogSpread, sizes: float) -> tuple[Array, Array]:
    """Variance of a length from a shift that moves so many of its sizes together."""
    if sizes == 0:
        return np.zeros(1), np.ones(1)
    sds = scatter.median_mm * np.exp(scatter.log_sd * _NODES)
    return (sizes * sds) ** 2, _WEIGHTS
