"""The chance that several joints all fit, although what is not known about the printer is shared.

Joints of one printer are not independent: if growth is larger than believed, all of them are
tighter together, and so they are if the next print comes out fat. Given what is shared they are
independent, so that the chance of all is the mean, over all that is shared, of a product of
one-joint chances. That mean is taken over a lattice that fills the shared space evenly, shifted at
random a few times so that the spread between shifts gives the error.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri
from threadpoolctl import threadpool_limits

from coupons.learning.profile import LogSpread, Profile
from coupons.learning.taught_shift import TaughtShift

Array = NDArray[np.floating]

_SHIFTS = 8
_POINTS = 1024
# Margins at points are worked through in blocks of this many numbers, to bound the memory.
_LARGEST_BLOCK = 1_000_000
# Directions of the terms that move no margin by more than this share of its own spread are left
# out of the lattice.
_NEGLIGIBLE = 1e-6


@dataclass(frozen=True)
class Shared:
    """What all joints of one print share, in mm.

    Parameters
    ----------
    terms : TaughtShift
        What is not known of the printer's terms; part of it goes with how large shifts are.
    shifts : tuple of LogSpread
        Scatters of the shifts that a print has as a whole; known only roughly themselves. As many
        as ``terms`` was taken apart by.
    """

    terms: TaughtShift
    shifts: tuple[LogSpread, ...] = ()


def shared_of(profile: Profile) -> Shared:
    """Return what the joints of one print on this printer share: its terms, and two shifts.

    The first shift grows every face in the layer plane, the second every face across layers; each
    adds itself to an external size and takes itself from an internal one.
    """
    return Shared(profile.taught_shift, profile.print_spreads)


@dataclass(frozen=True)
class Demand:
    """What one joint must do: stay above one threshold and below the next, in mm.

    Its margins over the two thresholds are ``constant + row · shared + e`` with the same
    e ~ N(0, ``own_sd_mm``²) in both; ``shared`` holds the terms less their mean, then the shifts.
    A joint holds if the lower margin is positive and the upper one negative.

    Parameters
    ----------
    lower, upper : tuple of (float, ndarray of shape (n_terms + n_shifts,)) or None
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


def chance_together(demands: Sequence[Demand], shared: Shared, seed: int = 0) -> Together:
    """Compute the chance that all demands hold at once.

    Parameters
    ----------
    demands : sequence of Demand
    shared : Shared
    seed : int
        Of the lattice's random shifts; the same seed gives the same digits.

    Examples
    --------
    >>> import numpy as np
    >>> sure = Demand((0.3, np.zeros(1)), None, own_sd_mm=0.1)
    >>> terms = TaughtShift(np.eye(1), np.zeros((1, 0)), np.zeros((0, 0)), np.zeros(0))
    >>> round(chance_together([sure, sure], Shared(terms)).chance, 4)
    0.9973
    """
    if not demands:
        return Together(1.0, 0.0)
    margins = _Margins(demands)
    lattice = _Lattice(margins, shared)
    rng = np.random.default_rng(seed)
    with threadpool_limits(1):  # as in the fit: threads only wait for one another
        means = [margins.mean_product(lattice.points(rng)) for _ in range(_SHIFTS)]
    return Together(float(np.mean(means)), float(np.std(means, ddof=1) / np.sqrt(_SHIFTS)))


class _Margins:
    """The margins of all demands as arrays; an open side is a margin that always holds."""

    def __init__(self, demands: Sequence[Demand]) -> None:
        n_shared = next(len(m[1]) for d in demands for m in (d.lower, d.upper) if m is not None)
        nothing = np.zeros(n_shared)
        low = [demand.lower or (np.inf, nothing) for demand in demands]
        high = [demand.upper or (-np.inf, nothing) for demand in demands]
        own = np.array([demand.own_sd_mm for demand in demands])
        # In units of each demand's own spread.
        self.low_constants = np.array([constant for constant, _ in low]) / own
        self.high_constants = np.array([constant for constant, _ in high]) / own
        self.low_rows = np.array([row for _, row in low]) / own[:, None]
        self.high_rows = np.array([row for _, row in high]) / own[:, None]

    def mean_product(self, points: Array) -> float:
        """Average, over points of the shared space, the product of the demands' chances there."""
        blocks = 1 + len(points) * len(self.low_constants) // _LARGEST_BLOCK
        return float(
            np.mean(
                np.concatenate([self._products(block) for block in np.array_split(points, blocks)])
            )
        )

    def _products(self, points: Array) -> Array:
        inside = ndtr(self.low_constants + points @ self.low_rows.T)
        inside -= ndtr(self.high_constants + points @ self.high_rows.T)
        return np.asarray(np.prod(np.maximum(inside, 0.0), axis=1))


class _Lattice:
    """Points of the shared space: a Kronecker lattice with steps from the generalised golden ratio.

    Its first coordinates are its most even ones. They go to the print's shifts, to the mean shifts
    of the prints that were learned from, then to the directions of the terms in the order of how
    far they move the margins; how large shifts are comes last.
    """

    def __init__(self, margins: _Margins, shared: Shared) -> None:
        self.terms = shared.terms
        rows = np.concatenate([margins.low_rows, margins.high_rows])[:, : len(self.terms.root)]
        self.directions = _directions(rows, self.terms.root)
        self.medians = np.array([shift.median_mm for shift in shared.shifts])
        self.log_sds = np.array([shift.log_sd for shift in shared.shifts])
        self.steps = _steps(3 * len(shared.shifts) + self.directions.shape[1])

    def points(self, rng: np.random.Generator) -> Array:
        """Return a fresh set of points, shape (n_points, n_terms + n_shifts)."""
        lattice = rng.random(len(self.steps)) + np.outer(np.arange(_POINTS), self.steps)
        folded = np.abs(2 * (lattice % 1) - 1)  # the fold makes any integrand periodic
        normal = ndtri(np.clip(folded, 1e-12, 1 - 1e-12))
        k, r = len(self.medians), self.directions.shape[1]
        ours, theirs, along, how_large = np.split(normal, [k, 2 * k, 2 * k + r], axis=1)
        sds = self.medians * np.exp(self.log_sds * how_large)
        roots = np.linalg.cholesky(self.terms.covariance(sds**2))
        mean_shifts = np.einsum("nij,nj->ni", roots, theirs)
        terms = along @ self.directions.T + mean_shifts @ self.terms.slope.T
        return np.concatenate([terms, ours * sds], axis=1)


def _directions(rows: Array, root: Array) -> Array:
    """Turn standard normals into terms, the direction that moves the margins most first."""
    _, strengths, turned = np.linalg.svd(rows @ root, full_matrices=False)
    return np.asarray(root @ turned[strengths > _NEGLIGIBLE].T)


def _steps(n: int) -> Array:
    golden = 2.0
    for _ in range(60):  # the positive root of x^(n+1) = x + 1, by its contraction
        golden = (1 + golden) ** (1 / (n + 1))
    return np.asarray(golden ** -np.arange(1.0, n + 1))
