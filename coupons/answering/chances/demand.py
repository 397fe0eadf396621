"""What must hold for a joint to fit: margins over two thresholds, of one pair or of pieces."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coupons.answering.chances.whole import Whole

Array = NDArray[np.floating]


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
