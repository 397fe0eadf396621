"""The spread of one joint or size alone: own deviations, judgement of the hand, hardware.

How large own deviations and the judgement are is known only roughly (log-normal), and an error
in them affects every joint. A chance is therefore an average over what they may be:
for one joint over the nodes of `OwnSpread.variance_rule`, for several at once over a lattice of
what they share (`coupons.answering.chances.together`).
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from coupons.answering.chances.prints import Prints, prints_of
from coupons.learning.profile import LogSpread, Profile

Array = NDArray[np.floating]

OWN_SCATTERS = ("tau", "tau_z", "omega")
# Chances taken over so many nodes are right to 4 in 10,000 (a test holds them to it).
_NODES = 5


@dataclass(frozen=True)
class OwnSpread:
    """How often each scatter adds its variance to the spread of one joint or size alone.

    Parameters
    ----------
    in_plane, along_z : float
        How many printed sizes deviate in the layer plane, and along z.
    judged : float
        1 where a hand judges a fit, 0 for a size or a gap by itself.
    known_mm2 : float
        Variance in mm² that is known exactly: that of hardware.
    others : tuple of (float, float, float)
        The first three for each further profile, where several printers make the bodies.
    """

    in_plane: float
    along_z: float
    judged: float = 0.0
    known_mm2: float = 0.0
    others: tuple[tuple[float, float, float], ...] = ()

    @property
    def counts(self) -> tuple[float, ...]:
        """How often each of `OWN_SCATTERS` counts, for one profile after the other."""
        more = (count for counts in self.others for count in counts)
        return self.in_plane, self.along_z, self.judged, *more

    def mean_square(self, made: Profile | Prints) -> float:
        """Mean of the variance, in mm²."""
        spreads = own_scatters(made)
        means = [n * spread.mean_square for n, spread in zip(self.counts, spreads, strict=True)]
        return self.known_mm2 + sum(means)

    def variance_rule(self, made: Profile | Prints) -> tuple[Array, Array]:
        """Variances in mm² to average over, and their weights, both of shape (n_nodes,)."""
        variances, weights = _rule(self.counts, own_scatters(made))
        return self.known_mm2 + variances, weights


@lru_cache(maxsize=64)  # a search over gaps asks for the same one again and again
def _rule(counts: tuple[float, ...], spreads: tuple[LogSpread, ...]) -> tuple[Array, Array]:
    """Return variances to average over, and their weights, where so many of each scatter act."""
    variances: Array = np.zeros(1)
    weights: Array = np.ones(1)
    for count, spread in zip(counts, spreads, strict=True):
        if count and spread.log_sd:
            squares, shares = spread.variance_rule()
            variances = np.add.outer(variances, count * squares).ravel()
            weights = np.outer(weights, shares).ravel()
        else:
            variances = variances + count * spread.mean_square
    if len(variances) > _NODES:
        logs, weights = _fewer(np.log(variances), weights)
        variances = np.exp(logs)
    return variances, weights


def own_scatters(made: Profile | Prints) -> tuple[LogSpread, ...]:
    """Return how large `OWN_SCATTERS` are, as far as it is known, for each profile."""
    return tuple(
        profile.scatters[name] for profile in prints_of(made).profiles for name in OWN_SCATTERS
    )


def _fewer(values: Array, weights: Array) -> tuple[Array, Array]:
    """Return the few nodes and weights that have the same low moments: Gauss's rule.

    The nodes are the eigenvalues of multiplication by the variable, in the basis of its orthogonal
    polynomials (Golub and Welsch; textbook).
    """
    scaled = (values - values.mean()) / np.ptp(values)
    powers = np.sqrt(weights)[:, None] * np.vander(scaled, _NODES, increasing=True)
    basis = np.linalg.qr(powers)[0]
    nodes, vectors = np.linalg.eigh((basis.T * values) @ basis)
    return nodes, vectors[0] ** 2


def with_own(variances: Array, weights: Array, own: tuple[Array, Array]) -> tuple[Array, Array]:
    """Add the spread of a joint alone to variances at the nodes of the print-to-print scatter.

    Parameters
    ----------
    variances : ndarray of shape (n_nodes, n)
        In mm².
    weights : ndarray of shape (n_nodes,)
    own : tuple of two ndarray of shape (n_own,)
        From `OwnSpread.variance_rule`.

    Returns
    -------
    variances : ndarray of shape (n_nodes · n_own, n)
    weights : ndarray of shape (n_nodes · n_own,)
    """
    squares, shares = own
    both = variances[:, None, :] + squares[:, None]
    return both.reshape(-1, variances.shape[1]), np.outer(weights, shares).ravel()
