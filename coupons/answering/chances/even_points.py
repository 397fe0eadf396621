"""Points that fill evenly the space of what joints share."""

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from coupons.answering.chances.margins import Margins
from coupons.answering.chances.shared import Shared

Array = NDArray[np.floating]

_POINTS = 2048
# Directions of the terms that move no margin by more than this share of its own spread are left
# out of the lattice.
_NEGLIGIBLE = 1e-6


class EvenPoints:
    """Points of the shared space: a Kronecker lattice with steps from the generalised golden ratio.

    Its first coordinates are its most even ones. They go to the print's shifts, to the mean shifts
    of the prints that were learned from, then to the directions of the terms in the order of how
    far they move the margins; how large own scatters and shifts are comes last.
    """

    def __init__(self, margins: Margins, shared: Shared) -> None:
        self.terms = shared.terms
        rows = np.concatenate([margins.low_rows, margins.high_rows])
        # Directions count by how far they move margins in units of the demands' own spread.
        own = np.sqrt(margins.known + margins.counts @ [s.mean_square for s in shared.own])
        own = np.tile(own, 2)
        for _, whole in margins.wholes:
            rows = np.concatenate([rows, whole.rows])
            own = np.concatenate([own, np.full(len(whole.rows), whole.typical_sd_mm)])
        rows = rows[:, : len(self.terms.root)]
        self.directions = _directions(rows / own[:, None], self.terms.root)
        self.n_own = margins.n_own
        self.own_medians = np.array([scatter.median_mm for scatter in shared.own])
        self.own_log_sds = np.array([scatter.log_sd for scatter in shared.own])
        self.medians = np.array([spread.median_mm for spread in shared.prints])
        self.log_sds = np.array([spread.log_sd for spread in shared.prints])
        each = tuple(range(len(shared.prints)))
        self.scatter_of = np.array(each if shared.scatter_of is None else shared.scatter_of, int)
        self.draws = np.array(each if shared.draws is None else shared.draws, int)
        n_scatters = len(shared.own) + len(set(self.scatter_of.tolist()))
        n_shifts = len(self.draws) + len(shared.prints)
        self.steps = even_steps(n_shifts + self.directions.shape[1] + n_scatters + self.n_own)

    def points(self, rng: np.random.Generator) -> tuple[Array, Array]:
        """Return a fresh set of points.

        Returns
        -------
        points : ndarray of shape (n_points, n_terms + n_print_effects + n_own)
        squares : ndarray of shape (n_points, n_scatters)
            The own scatters' variances there, in mm².
        """
        lattice = rng.random(len(self.steps)) + np.outer(np.arange(_POINTS), self.steps)
        folded = np.abs(2 * (lattice % 1) - 1)  # the fold makes any integrand periodic
        normal = ndtri(np.clip(folded, 1e-12, 1 - 1e-12))
        k, r, n = len(self.medians), self.directions.shape[1], len(self.own_medians)
        drawn, normal = np.split(normal, [self.n_own], axis=1)
        ends = np.cumsum([len(self.draws), k, r, n])
        ours, theirs, along, own, how_large = np.split(normal, ends, axis=1)
        sds = self.medians * np.exp(self.log_sds * how_large[:, self.scatter_of])
        roots = np.linalg.cholesky(self.terms.covariance(sds**2))
        mean_shifts = np.einsum("nij,nj->ni", roots, theirs)
        terms = along @ self.directions.T + mean_shifts @ self.terms.slope.T
        squares = (self.own_medians * np.exp(self.own_log_sds * own)) ** 2
        return np.concatenate([terms, ours * sds[:, self.draws], drawn], axis=1), squares


def _directions(rows: Array, root: Array) -> Array:
    """Turn standard normals into terms, the direction that moves the margins most first."""
    _, strengths, turned = np.linalg.svd(rows @ root, full_matrices=False)
    return np.asarray(root @ turned[strengths > _NEGLIGIBLE].T)


def even_steps(n: int) -> Array:
    """Return the steps of a Kronecker lattice in n dimensions: powers of a golden ratio."""
    golden = 2.0
    for _ in range(60):  # the positive root of x^(n+1) = x + 1, by its contraction
        golden = (1 + golden) ** (1 / (n + 1))
    return np.asarray(golden ** -np.arange(1.0, n + 1))
