"""The chance that several joints all fit, with the uncertainty of the printer that they share.

Joints of one printer are not independent: if growth is larger than estimated, all of them are
tighter together, and so they are if the next print comes out fat. Given what is shared they are
independent, so that the chance of all is the mean, over all that is shared, of a product of
one-joint chances. That mean is taken over a lattice that fills the shared space evenly, shifted at
random a few times so that the spread between shifts gives the error.

How large own deviations, judgement and shifts are is shared too: an error in them affects every
joint.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import block_diag
from scipy.special import ndtr, ndtri

from coupons.answering.chances.own_spread import own_scatters
from coupons.answering.chances.prints import Prints, prints_of
from coupons.answering.chances.whole import Whole
from coupons.learning.posterior.threads import one_thread
from coupons.learning.print_effects import TaughtShift
from coupons.learning.profile import NORMAL_NODES, NORMAL_WEIGHTS, LogSpread, Profile

Array = NDArray[np.floating]
Indices = NDArray[np.intp]

_SHIFTS = 8
_FEW_SHIFTS = 4  # for differences, which are known far better
_POINTS = 2048
# Of Student's t with one degree of freedom less than there are shifts (textbook).
_T_95 = 2.365
# Margins at points are worked through in blocks of this many numbers, to bound the memory.
_LARGEST_BLOCK = 1_000_000
# Directions of the terms that move no margin by more than this share of its own spread are left
# out of the lattice.
_NEGLIGIBLE = 1e-6
_IMPOSSIBLE = 1e-300


@dataclass(frozen=True)
class Shared:
    """What all joints of some prints share, in mm.

    Parameters
    ----------
    terms : TaughtShift
        What is not known of the printers' terms; part of it goes with how large shifts are.
    prints : tuple of LogSpread
        Scatters of what a print has of its own; known only roughly themselves. As many as ``terms``
        was taken apart by.
    draws : tuple of int
        By place among ``prints``, what is drawn anew for the next prints: of two prints of one
        printer each has a draw. One draw of each if not given.
    scatter_of : tuple of int
        By place among the scatters between prints, on which one each of them goes: whoever is
        mistaken about a scatter is so about all that go with it. Each on its own if not given.
    own : tuple of LogSpread
        Scatters of what each joint has to itself; known only roughly as well.
    """

    terms: TaughtShift
    prints: tuple[LogSpread, ...] = ()
    scatter_of: tuple[int, ...] | None = None
    own: tuple[LogSpread, ...] = ()
    draws: tuple[int, ...] | None = None


def shared_of(made: Profile | Prints) -> Shared:
    """Return what the joints of some prints share: terms, what each has of its own, scatters.

    Terms come in the order of the profiles, what is drawn anew after them: print by print, those
    of the first profile first. A profile stands for one print of its printer.
    """
    prints = prints_of(made)
    names = [
        (at, effect.scatter)
        for at, profile in enumerate(prints.profiles)
        for effect in profile.prior_table.prints
    ]
    scatters = list(dict.fromkeys(names))
    of_profile = [
        tuple(n for n, (of, _) in enumerate(names) if of == at)
        for at in range(len(prints.profiles))
    ]
    return Shared(
        _beside_one_another([profile.taught_shift for profile in prints.profiles]),
        tuple(spread for profile in prints.profiles for spread in profile.print_spreads),
        tuple(scatters.index(name) for name in names),
        own_scatters(prints),
        tuple(n for of in sorted(prints.of) for n in of_profile[of]),
    )


def _beside_one_another(taught: Sequence[TaughtShift]) -> TaughtShift:
    """Return what is known of several printers, none of which tells of another."""
    if len(taught) == 1:
        return taught[0]
    return TaughtShift(
        block_diag(*(one.root for one in taught)),
        block_diag(*(one.slope for one in taught)),
        block_diag(*(one.information for one in taught)),
        np.concatenate([one.runs for one in taught]),
    )


@dataclass(frozen=True)
class Demand:
    """Condition for one joint to fit: above one threshold and below the next, in mm.

    Its margins over the two thresholds are ``constant + row · shared + e`` with the same
    normal e in both; ``shared`` holds the terms less their mean, then what the print has of its
    own.
    A joint holds if the lower margin is positive and the upper one negative.

    Parameters
    ----------
    lower, upper : tuple of (float, ndarray of shape (n_terms + n_print_effects,)) or None
        Constant and row of the margin over the threshold below and above the wanted grades; None
        where the wanted grades are open on that side.
    own_sd_mm : float
        Part of e that is known outright, as a standard deviation.
    counts : tuple of float
        How often each of the scatters ``Shared.own`` adds its variance to that of e; none if
        nothing is given.
    or_else : tuple of Demand
        Other cases, each as likely as this one, where it is not known which holds.
    whole : Whole, optional
        What must hold in place of the two margins, of a joint of several pairs of faces.
    """

    lower: tuple[float, Array] | None
    upper: tuple[float, Array] | None
    own_sd_mm: float
    counts: tuple[float, ...] = ()
    or_else: tuple["Demand", ...] = ()
    whole: Whole | None = None


@dataclass(frozen=True)
class OneOf:
    """Condition that at least one of several pieces fits the one body that they are made for.

    Parameters
    ----------
    cases : tuple of tuple of Demand
        The demands of the pieces, once for each case that may hold, as likely as one another. Of
        its own a piece has only what its demand says.
    common_mm2 : float
        Variance in mm² that the pieces have in common, beyond what the print shares.
    common_counts : tuple of float
        How often each of the scatters ``Shared.own`` adds to it: the deviation of that one body.
    """

    cases: tuple[tuple[Demand, ...], ...]
    common_mm2: float
    common_counts: tuple[float, ...]


def not_too_tight(demand: Demand | OneOf) -> Demand | OneOf:
    """Return what is left of a demand if it may be as loose as it likes."""
    if isinstance(demand, OneOf):
        pieces = tuple(tuple(map(_open_above, pieces)) for pieces in demand.cases)
        return replace(demand, cases=pieces)
    return _open_above(demand)


def _open_above(demand: Demand) -> Demand:
    cases = tuple(_open_above(case) for case in demand.or_else)
    whole = demand.whole and demand.whole.not_too_tight
    return replace(demand, upper=None, or_else=cases, whole=whole)


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
    >>> sure = Demand((0.3, np.zeros(1)), None, own_sd_mm=0.1)
    >>> terms = TaughtShift(np.eye(1), np.zeros((1, 0)), np.zeros((0, 0)), np.zeros(0))
    >>> round(chance_together([sure, sure], Shared(terms)).chance, 4)
    0.9973
    """
    if not demands:
        return Together(1.0, 0.0)
    margins = _Margins(demands, len(shared.own))
    lattice = _Lattice(margins, shared)
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
    margins = _Margins(demands, len(shared.own), one_joint=True)
    lattice = _Lattice(margins, shared)
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
    margins = _Margins([pieces], len(shared.own))
    lattice = _Lattice(margins, shared)
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
    margins = _Margins(every, len(shared.own))
    lattice = _Lattice(margins, shared)
    rng = np.random.default_rng(seed)
    places = [change.at for change in changes]
    with one_thread():
        means = [margins.mean_changed(*lattice.points(rng), places) for _ in range(_FEW_SHIFTS)]
    mean = np.mean(means, axis=0)
    return float(mean[0]), mean[1:]


@dataclass(frozen=True)
class _Group:
    """Where the pieces of one `OneOf` stand among all cases, and what they have in common."""

    demand: int
    cases: tuple[Indices, ...]
    common_mm2: float
    common_counts: Array


class _Margins:
    """The margins of all demands as arrays; an open side is a margin that always holds."""

    def __init__(
        self, demands: Sequence[Demand | OneOf], n_scatters: int, *, one_joint: bool = False
    ) -> None:
        cases: list[Demand] = []
        of_demand, shares = [], []  # of each case its demand, and its part in that one's chance
        self.groups: list[_Group] = []
        for at, demand in enumerate(demands):
            if isinstance(demand, OneOf):
                self.groups.append(_group(at, demand, len(cases), n_scatters))
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

    def _one_fits(self, points: Array, squares: Array, group: _Group) -> Array:
        """Chance at each point that at least one piece fits, shape (n_points,)."""
        none_fits = np.zeros(len(points))
        for weight, too_tight, too_loose in self.of_pieces(points, squares, group):
            none_fits += weight * np.prod(np.minimum(too_tight + too_loose, 1), axis=1)
        return 1 - none_fits

    def of_pieces(
        self, points: Array, squares: Array, group: _Group
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


def _group(at: int, pieces: OneOf, first: int, n_scatters: int) -> _Group:
    ends = first + np.cumsum([0, *map(len, pieces.cases)])
    cases = tuple(np.arange(start, end) for start, end in pairwise(ends))
    counts = np.array(pieces.common_counts or (0.0,) * n_scatters)
    return _Group(at, cases, pieces.common_mm2, counts)


def _n_shared(demand: Demand) -> int:
    """Return over how many things the rows of a demand go; 0 if it has no row."""
    if demand.whole is not None:
        return int(demand.whole.rows.shape[1])
    return next((len(margin[1]) for margin in (demand.lower, demand.upper) if margin), 0)


class _Lattice:
    """Points of the shared space: a Kronecker lattice with steps from the generalised golden ratio.

    Its first coordinates are its most even ones. They go to the print's shifts, to the mean shifts
    of the prints that were learned from, then to the directions of the terms in the order of how
    far they move the margins; how large own scatters and shifts are comes last.
    """

    def __init__(self, margins: _Margins, shared: Shared) -> None:
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
        self.steps = _steps(n_shifts + self.directions.shape[1] + n_scatters + self.n_own)

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


def _steps(n: int) -> Array:
    golden = 2.0
    for _ in range(60):  # the positive root of x^(n+1) = x + 1, by its contraction
        golden = (1 + golden) ** (1 / (n + 1))
    return np.asarray(golden ** -np.arange(1.0, n + 1))
