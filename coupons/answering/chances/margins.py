"""The margins of several demands as arrays, and the chances at points of what they share."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from coupons.answering.chances.demand import Demand, OneOf
from coupons.learning.profile import NORMAL_NODES, NORMAL_WEIGHTS

Array = NDArray[np.floating]
Indices = NDArray[np.intp]

# Margins at points are worked through in blocks of this many numbers, to bound the memory.
_LARGEST_BLOCK = 1_000_000
_IMPOSSIBLE = 1e-300


@dataclass(frozen=True)
class Group:
    """Where the pieces of one `OneOf` stand among all cases, and what they have in common."""

    demand: int
    cases: tuple[Indices, ...]
    common_mm2: float
    common_counts: Array


class Margins:
    """The margins of all demands as arrays; an open side is a margin that always holds."""

    def __init__(
        self, demands: Sequence[Demand | OneOf], n_scatters: int, *, one_joint: bool = False
    ) -> None:
        cases: list[Demand] = []
        of_demand, shares = [], []  # of each case its demand, and its part in that one's chance
        self.groups: list[Group] = []
        for at, demand in enumerate(demands):
            if isinstance(demand, OneOf):
                self.groups.append(_group_of(at, demand, len(cases), n_scatters))
                held = [piece for pieces in demand.cases for piece in pieces]
            else:
                held = [demand, *demand.or_else]
            cases += held
            of_demand += [at] * len(held)
            shares += [0.0 if isinstance(demand, OneOf) else 1 / len(held)] * len(held)
        n_shared = next(filter(None, map(_n_shared, cases)))
        nothing = np.zeros(n_shared)
        low = [case.lower or (np.inf, nothing) for case in cases]
        high = [case.upper or (-np.inf, nothing) for case in cases]
        # Chances of cases become those of demands.
        self.n_demands = len(demands)
        self.averages = np.zeros((len(cases), self.n_demands))
        self.averages[range(len(cases)), of_demand] = shares
        self.low_constants = np.array([constant for constant, _ in low])
        self.high_constants = np.array([constant for constant, _ in high])
        self.low_rows = np.array([row for _, row in low])
        self.high_rows = np.array([row for _, row in high])
        self.known = np.array([case.own_sd_mm**2 for case in cases])
        none = (0.0,) * n_scatters
        self.wholes = [(n, case.whole) for n, case in enumerate(cases) if case.whole is not None]
        # Cases of one joint have the same deviations.
        wholes = [None if isinstance(demand, OneOf) else demand.whole for demand in demands]
        widths = [0 if whole is None else whole.n_own for whole in wholes]
        starts = np.zeros(len(widths), int) if one_joint else np.cumsum([0, *widths])
        self.n_own = max(widths) if one_joint else sum(widths)
        self.own_at = (n_shared + starts[of_demand]).tolist()
        self.n_shared = n_shared
        self.counts = np.array([case.counts or none for case in cases])

    def mean_product(self, points: Array, squares: Array) -> float:
        """Average, over points of the shared space, the product of the demands' chances there.

        ``squares`` are the scatters' variances at the points, in mm².
        """
        products = [
            np.prod(self._chances(points[part], squares[part]), axis=1)
            for part in self._blocks(len(points))
        ]
        return float(np.mean(np.concatenate(products)))

    def mean_each(self, points: Array, squares: Array) -> Array:
        """Average each demand's chance over points of the shared space, shape (n_demands,)."""
        sums = [
            self._chances(points[part], squares[part]).sum(axis=0)
            for part in self._blocks(len(points))
        ]
        return np.asarray(np.sum(sums, axis=0) / len(points))

    def mean_changed(self, points: Array, squares: Array, places: Sequence[int]) -> Array:
        """Average that product over the first demands, then with one of the last in each place.

        Returns
        -------
        ndarray of shape (1 + n_places,)
        """
        n = self.n_demands - len(places)
        products = []
        for part in self._blocks(len(points)):
            chances = self._chances(points[part], squares[part])
            whole = np.prod(chances[:, :n], axis=1)[:, None]
            others = whole / np.maximum(chances[:, places], _IMPOSSIBLE)
            products.append(np.concatenate([whole, others * chances[:, n:]], axis=1))
        return np.asarray(np.mean(np.concatenate(products), axis=0))

    def _blocks(self, n_points: int) -> list[Indices]:
        blocks = 1 + n_points * len(self.low_constants) // _LARGEST_BLOCK
        return np.array_split(np.arange(n_points), blocks)

    def _chances(self, points: Array, squares: Array) -> Array:
        """Chance of each demand at each point, shape (n_points, n_demands)."""
        own_sds = np.sqrt(self.known + squares @ self.counts.T)
        shared = points[:, : self.n_shared] if self.n_own else points
        inside = ndtr((self.low_constants + shared @ self.low_rows.T) / own_sds)
        inside -= ndtr((self.high_constants + shared @ self.high_rows.T) / own_sds)
        inside = np.maximum(inside, 0.0)
        for case, whole in self.wholes:
            at = self.own_at[case]
            inside[:, case] *= whole.chances(shared, points[:, at : at + whole.n_own], squares)
        if len(self.averages) == self.n_demands and not self.groups:  # one case each
            return np.asarray(inside)
        chances = np.asarray(inside @ self.averages)
        for group in self.groups:
            chances[:, group.demand] = self._one_fits(shared, squares, group)
        return chances

    def _one_fits(self, points: Array, squares: Array, group: Group) -> Array:
        """Chance at each point that at least one piece fits, shape (n_points,)."""
        none_fits = np.zeros(len(points))
        for weight, too_tight, too_loose in self.of_pieces(points, squares, group):
            none_fits += weight * np.prod(np.minimum(too_tight + too_loose, 1), axis=1)
        return 1 - none_fits

    def of_pieces(
        self, points: Array, squares: Array, group: Group
    ) -> list[tuple[float, Array, Array]]:
        """Return chances of pieces at each point, for cases and nodes of what they have in common.

        Returns
        -------
        list of (float, ndarray, ndarray)
            Weight; chances of too tight and of too loose, of shape (n_points, n_pieces).
        """
        common_sds = np.sqrt(group.common_mm2 + squares @ group.common_counts)[:, None]
        found = []
        for pieces in group.cases:
            own_sds = np.sqrt(self.known[pieces] + squares @ self.counts[pieces].T)
            low = self.low_constants[pieces] + points @ self.low_rows[pieces].T
            high = self.high_constants[pieces] + points @ self.high_rows[pieces].T
            for node, weight in zip(NORMAL_NODES, NORMAL_WEIGHTS, strict=True):
                too_tight = ndtr(-(low + node * common_sds) / own_sds)
                too_loose = ndtr((high + node * common_sds) / own_sds)
                found.append((float(weight) / len(group.cases), too_tight, too_loose))
        return found


def _group_of(at: int, pieces: OneOf, first: int, n_scatters: int) -> Group:
    ends = first + np.cumsum([0, *map(len, pieces.cases)])
    cases = tuple(np.arange(start, end) for start, end in pairwise(ends))
    counts = np.array(pieces.common_counts or (0.0,) * n_scatters)
    return Group(at, cases, pieces.common_mm2, counts)


def _n_shared(demand: Demand) -> int:
    """Return over how many things the rows of a demand go; 0 if it has no row."""
    if demand.whole is not None:
        return int(demand.whole.rows.shape[1])
    return next((len(margin[1]) for margin in (demand.lower, demand.upper) if margin), 0)
