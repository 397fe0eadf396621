"""A joint of several pairs of faces: what must hold at once for it to fit as a whole.

Two pairs of faces of one joint share bodies, prints and the one hand that tries it. The hand feels
the tightest pair as the bodies go together, and the widest play once they are. So the joint is not
too tight if its least clearance is above the lower threshold of the wanted grade, and not too loose
if its largest play is below the upper one.

Clearances are linear in what joints share and in deviations that are the joint's own. The own ones
that several clearances have in common are drawn, as what is shared is; judgement and what one
condition alone has are averaged over exactly.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Array = NDArray[np.floating]


@dataclass(frozen=True)
class Linear:
    """Some lengths in mm: constants, how what is shared moves them, and deviations of their own.

    Parameters
    ----------
    constants : ndarray of shape (n,)
    rows : ndarray of shape (n, n_shared)
    own : ndarray of shape (n, n_own)
        How often each of the joint's own deviations counts.
    """

    constants: Array
    rows: Array
    own: Array

    def at(self, shared: Array, own_mm: Array) -> Array:
        """Return the lengths at points of what is shared and own, shape (n_points, n)."""
        return np.asarray(self.constants + shared @ self.rows.T + own_mm @ self.own.T)


@dataclass(frozen=True)
class Spread:
    """Variances in mm² of some deviations: of known size, and by how often each scatter counts.

    Parameters
    ----------
    known_mm2 : ndarray of shape (n,)
    counts : ndarray of shape (n, n_scatters)
    """

    known_mm2: Array
    counts: Array

    def sds(self, squares: Array) -> Array:
        """Return the standard deviations at points of scatters' variances, (n_points, n)."""
        return np.asarray(np.sqrt(self.known_mm2 + squares @ self.counts.T))


@dataclass(frozen=True)
class Whole:
    """Condition for a joint of several pairs of faces to fit.

    Parameters
    ----------
    clearances : Linear
        In each pair.
    own : Spread
        Of the deviations that clearances have in common.
    plays : tuple of tuple of int
        For each way in which the bodies can play, which clearances bound it.
    thresholds : Linear
        The lower threshold of the wanted grade and, unless it is open, the upper one.
    judged : Spread
        Of the one hand, shape (1,).
    corner_mm : float
        By how much the radius of inner corners exceeds that of outer ones beside half of the drawn
        gap; see `corner_room`.
    others : Linear
        Lengths that must be above zero besides, which no hand judges.
    others_own : Spread
        Of what each of them alone has.
    """

    clearances: Linear
    own: Spread
    plays: tuple[tuple[int, ...], ...]
    thresholds: Linear
    judged: Spread
    corner_mm: float
    others: Linear
    others_own: Spread

    @property
    def n_own(self) -> int:
        """How many deviations of its own are drawn."""
        return len(self.own.known_mm2)

    @property
    def rows(self) -> Array:
        """Rows of the margins over what is shared, shape (n, n_shared)."""
        margins = [self.clearances.rows - threshold for threshold in self.thresholds.rows]
        return np.concatenate([*margins, self.others.rows])

    @property
    def typical_sd_mm(self) -> float:
        """A scale for the margins, in mm: what of a clearance is known of its own."""
        return float(np.sqrt(1e-4 + self.judged.known_mm2[0]))

    @property
    def not_too_tight(self) -> "Whole":
        """What is left of it if it may be as loose as it likes."""
        first = self.thresholds
        return replace(self, thresholds=Linear(first.constants[:1], first.rows[:1], first.own[:1]))

    def chances(self, shared: Array, normals: Array, squares: Array) -> Array:
        """Chance that it fits at each point, shape (n_points,).

        Parameters
        ----------
        shared : ndarray of shape (n_points, n_shared)
        normals : ndarray of shape (n_points, n_own)
            Standard normal draws of its own deviations.
        squares : ndarray of shape (n_points, n_scatters)
            Variances of the scatters in mm².
        """
        own_mm = normals * self.own.sds(squares)
        room = self.clearances.at(shared, own_mm)
        thresholds = self.thresholds.at(shared, own_mm)
        judged = self.judged.sds(squares)[:, 0]
        tight = np.minimum(room.min(axis=1), corner_room(room, self.corner_mm))
        chance = ndtr((tight - thresholds[:, 0]) / judged)
        if thresholds.shape[1] > 1:
            play = np.max([room[:, list(way)].min(axis=1) for way in self.plays], axis=0)
            chance = np.maximum(chance - ndtr((play - thresholds[:, 1]) / judged), 0.0)
        others = self.others.at(shared, own_mm) / self.others_own.sds(squares)
        return np.asarray(chance * np.prod(ndtr(others), axis=1))


def corner_room(room: Array, corner_mm: float) -> Array:
    """Return the clearance at rounded corners over both sides of a diagonal, in mm.

    An inner corner of radius R and an outer one of radius r, with a gap of a and b on their two
    faces, are D − √((D − a)² + (D − b)²) apart, where D = R − r (plane geometry). As plastic stands
    proud of the drawn faces, R shrinks and r grows by as much as the faces do: printed, D exceeds
    half of the gap by as much as drawn.

    Parameters
    ----------
    room : ndarray of shape (n_points, n)
        The first two are the clearances of the two pairs of faces, over both sides.
    corner_mm : float
        R − r less half of the gap, as drawn; −inf for corners that never meet.
    """
    if corner_mm == -np.inf:
        return np.full(len(room), np.inf)
    halves = room[:, :2] / 2
    excess = np.maximum(corner_mm + halves.mean(axis=1), 0.0)
    left = np.maximum(excess[:, None] - halves, 0.0)
    apart = 2 * (excess - np.hypot(left[:, 0], left[:, 1]))
    return np.where(excess > 0, apart, np.inf)
