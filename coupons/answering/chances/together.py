"""The chance that several joints all fit, with the uncertainty of the printer that they share.

Joints of one printer are not independent: if growth is larger than estimated, all of them are
tighter together, and so they are if the next print comes out fat. Given what is shared they are
independent, so that the chance of all is the mean, over all that is shared, of a product of
one-joint chances. That mean is taken over a lattice that fills the shared space evenly, shifted at
random a few times so that the spread between shifts gives the error.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coupons.answering.chances.demand import Demand, OneOf
from coupons.answering.chances.even_points import EvenPoints
from coupons.answering.chances.margins import Margins
from coupons.answering.chances.shared import Shared
from coupons.learning.posterior.threads import one_thread

Array = NDArray[np.floating]

_SHIFTS = 8
_FEW_SHIFTS = 4  # for differences, which are known far better
# Of Student's t with one degree of freedom less than there are shifts (textbook).
_T_95 = 2.365


@dataclass(frozen=True)
class PieceChances:
    """Chances of each piece wherever the shared unknowns may be.

    Parameters
    ----------
    weights : ndarray of shape (n,)
        Of the places; they add up to 1.
    too_tight, too_loose : ndarray of shape (n, n_pieces)
    """

    weights: Array
    too_tight: Array
    too_loose: Array


@dataclass(frozen=True)
class Together:
    """The chance that all demands hold, and the standard error of that number (0 if exact)."""

    chance: float
    error: float

    @property
    def sampling_error(self) -> float:
        """Half width of the 95 % confidence interval of the sampled chance."""
        return _T_95 * self.error


def chance_together(demands: Sequence[Demand | OneOf], shared: Shared, seed: int = 0) -> Together:
    """Compute the chance that all demands hold at once.

    Parameters
    ----------
    demands : sequence of Demand or OneOf
    shared : Shared
    seed : int
        Of the lattice's random shifts; the same seed gives the same digits.

    Examples
    --------
    >>> import numpy as np
    >>> from coupons.learning.print_effects import TaughtShift
    >>> sure = Demand((0.3, np.zeros(1)), None, own_sd_mm=0.1)
    >>> terms = TaughtShift(np.eye(1), np.zeros((1, 0)), np.zeros((0, 0)), np.zeros(0))
    >>> round(chance_together([sure, sure], Shared(terms)).chance, 4)
    0.9973
    """
    if not demands:
        return Together(1.0, 0.0)
    margins = Margins(demands, len(shared.own))
    lattice = EvenPoints(margins, shared)
    rng = np.random.default_rng(seed)
    with one_thread():  # as in the fit: threads only wait for one another
        means = [margins.mean_product(*lattice.points(rng)) for _ in range(_SHIFTS)]
    return Together(float(np.mean(means)), float(np.std(means, ddof=1) / np.sqrt(_SHIFTS)))


def chances_of_each(demands: Sequence[Demand], shared: Shared, seed: int = 0) -> Array:
    """Compute the chance of each of some demands by itself, all at the same points.

    They are the same joint drawn otherwise: what is a joint's own is the same in all of them, so
    that they differ by far less than each is off.

    Returns
    -------
    ndarray of shape (n_demands,)
    """
    margins = Margins(demands, len(shared.own), one_joint=True)
    lattice = EvenPoints(margins, shared)
    rng = np.random.default_rng(seed)
    with one_thread():
        means = [margins.mean_each(*lattice.points(rng)) for _ in range(_FEW_SHIFTS)]
    return np.asarray(np.mean(means, axis=0))


@dataclass(frozen=True)
class DemandChange:
    """One demand, by its place in a list, and what it might be instead."""

    at: int
    demand: Demand | OneOf


def piece_chances(pieces: OneOf, shared: Shared, seed: int = 0) -> PieceChances:
    """Compute the chances of pieces at points that fill the space of what they share.

    Parameters
    ----------
    pieces : OneOf
        Each with a threshold on both sides.
    shared : Shared
    seed : int
        Of the lattice's random shift.
    """
    margins = Margins([pieces], len(shared.own))
    lattice = EvenPoints(margins, shared)
    with one_thread():
        points, squares = lattice.points(np.random.default_rng(seed))
        found = margins.of_pieces(points, squares, margins.groups[0])
    weights = np.concatenate([np.full(len(tight), weight) for weight, tight, _ in found])
    return PieceChances(
        weights / weights.sum(),
        np.concatenate([tight for _, tight, _ in found]),
        np.concatenate([loose for _, _, loose in found]),
    )


def chances_if_changed(
    demands: Sequence[Demand | OneOf],
    changes: Sequence[DemandChange],
    shared: Shared,
    seed: int = 0,
) -> tuple[float, Array]:
    """Compute the chance that all demands hold, and the same with one of them changed.

    All are taken at the same points, so that they differ by far less than each is off.

    Parameters
    ----------
    demands : sequence of Demand or OneOf
    changes : sequence of DemandChange
        Each is made by itself, with all other demands as they are.
    shared : Shared
    seed : int

    Returns
    -------
    chance : float
        Of all demands as they are.
    changed : ndarray of shape (n_changes,)
    """
    every = [*demands, *(change.demand for change in changes)]
    margins = Margins(every, len(shared.own))
    lattice = EvenPoints(margins, shared)
    rng = np.random.default_rng(seed)
    places = [change.at for change in changes]
    with one_thread():
        means = [margins.mean_changed(*lattice.points(rng), places) for _ in range(_FEW_SHIFTS)]
    mean = np.mean(means, axis=0)
    return float(mean[0]), mean[1:]
