"""What one print cannot know of how far prints differ, and what a second one would bring.

One print shows the machine and what this print had of its own as a sum, and nothing of how much
prints differ. Here the scatter between prints that matters most to a joint is taken once as small
and once as large as it may be: that is how far the stated chance rests on common practice.

A second print of the like, fitted together, halves the variance of what the prints had of their
own, and tells of each scatter what one difference tells: for a normal difference, 2 f² of Fisher
information on the logarithm of its standard deviation, where f is the share of the variance of what
is seen of a print effect that is its own (textbook).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from coupons.answering.chances.clearance import Clearance
from coupons.answering.chances.next_print import scatters_that_count
from coupons.learning.profile import LogSpread, Profile
from coupons.terms import GRADES, Grade

Array = NDArray[np.floating]

HIGH_CHANCE = 0.80
"""Chances above it rest on how far prints differ so much that one print's answers say so."""
ONE_IN_TEN_SDS = 1.2816
"""Of a normal, beyond which one case in ten lies on either side."""


@dataclass(frozen=True)
class OnePrint:
    """How far a chance rests on what one print cannot know.

    Parameters
    ----------
    if_alike, if_unlike : float
        The chance if prints differ as little, or as much, as on one machine in ten.
    after : float
        The chance of the same gap that a second print, fitted together, is to be expected to give.
    after_if_alike, after_if_unlike : float
        The first two, then.
    """

    if_alike: float
    if_unlike: float
    after: float
    after_if_alike: float
    after_if_unlike: float


def one_print_only(profile: Profile) -> bool:
    """Tell whether no print effect was seen in more than one print."""
    return max(profile.counts.informing, default=0) < 2


def log_sd_after(profile: Profile, scatter: str) -> float:
    """Return how well a scatter between prints would be known after a second print: sd of the log.

    Nothing is foreseen of a scatter of which no print has shown anything yet.
    """
    spread, taught = profile.scatters[scatter], profile.taught_shift
    told = 0.0
    for k, effect in enumerate(profile.prior_table.prints):
        if effect.scatter == scatter and profile.counts.informing[k]:
            seen = float(profile.print_squares[k] * taught.information[k, k])
            told += 2 * (seen / (1 + seen)) ** 2
    if spread.log_sd == 0:
        return 0.0
    return float((spread.log_sd**-2 + told) ** -0.5)


def rests_on_one_print(cases: Sequence[Clearance], fit: Grade) -> OnePrint | None:
    """Work out how far the chance of a fit rests on one print; None if several were fitted.

    Parameters
    ----------
    cases : sequence of Clearance
        Of a joint at one gap, each as likely as the others.
    fit : Grade
    """
    known = [_Unseen.of(*part) for part in cases[0].prints.by_profile(cases[0].margin_row(fit))]
    unseen = [one for one in known if one.scatter]
    if not unseen or not all(one_print_only(one.profile) for one in unseen):
        return None
    now = [np.concatenate([one.at(one.now, sds) for one in known]) for sds in _ENDS]
    after = [np.concatenate([one.at(one.after, sds) for one in known]) for sds in _ENDS]
    nodes = list(product(*(one.nodes_after() for one in known)))
    weights = [math.prod(weight for _, weight in node) for node in nodes]
    after += [np.concatenate([squares for squares, _ in node]) for node in nodes]
    low, high = map(float, _chances(cases, fit, np.array(now), 0))
    low_after, high_after, *at_nodes = map(float, _chances(cases, fit, np.array(after), 1))
    return OnePrint(low, high, float(np.dot(weights, at_nodes)), low_after, high_after)


_ENDS = (-ONE_IN_TEN_SDS, ONE_IN_TEN_SDS)


@dataclass(frozen=True)
class _Unseen:
    """The scatter between prints of one printer that moves a joint most; empty if none does."""

    profile: Profile
    scatter: str

    @classmethod
    def of(cls, profile: Profile, terms: Array, acts: Sequence[Array]) -> "_Unseen":
        squares = np.sum([act**2 for act in acts], axis=0)
        named = scatters_that_count(profile, squares) if terms.any() else ()
        return cls(profile, next(iter(named), ""))

    @property
    def now(self) -> LogSpread | None:
        return self.profile.scatters[self.scatter] if self.scatter else None

    @property
    def after(self) -> LogSpread | None:
        if self.now is None:
            return None
        return self.now.model_copy(update={"log_sd": log_sd_after(self.profile, self.scatter)})

    def at(self, spread: LogSpread | None, sds: float) -> Array:
        """Return the mean squares of the print effects, so many sds of the log from the median."""
        if spread is None:
            return _with_square(self.profile, "", 0.0)
        square = (spread.median_mm * np.exp(sds * spread.log_sd)) ** 2
        return _with_square(self.profile, self.scatter, float(square))

    def nodes_after(self) -> list[tuple[Array, float]]:
        """Return mean squares of the print effects after one more print, and their weights."""
        if self.after is None:
            return [(_with_square(self.profile, "", 0.0), 1.0)]
        variances, weights = self.after.variance_rule()
        return [
            (_with_square(self.profile, self.scatter, square), weight)
            for square, weight in zip(variances.tolist(), weights.tolist(), strict=True)
        ]


def _with_square(profile: Profile, scatter: str, square: float) -> Array:
    """Return the mean squares of all print effects, one scatter having this one."""
    effects = profile.prior_table.prints
    is_this = np.array([effect.scatter == scatter for effect in effects])
    shares = np.array([effect.share for effect in effects])
    return np.where(is_this, shares**2 * square, profile.print_squares)


def _chances(cases: Sequence[Clearance], fit: Grade, squares: Array, more: int) -> Array:
    """Return the chances of a fit for given squares of print effects, after so many more prints.

    ``squares`` has a row for each chance: those of one profile after the other.
    """
    above = GRADES[GRADES.index(fit) + 1 :]
    chances = [
        _chances_from(one, fit, squares, more)
        - (_chances_from(one, above[0], squares, more) if above else 0.0)
        for one in cases
    ]
    return np.asarray(np.mean(chances, axis=0))


def _chances_from(clearance: Clearance, grade: Grade, squares: Array, more: int) -> Array:
    rows, prints = clearance.margin_row(grade), clearance.prints
    shared = np.full(len(squares), clearance.size_doubt)
    for profile, terms, acts in prints.by_profile(rows):
        of_profile, squares = np.split(squares, [len(profile.prior_table.prints)], axis=1)
        taught = profile.taught_shift
        taught = replace(taught, runs=taught.runs + more)
        by_print = terms[0] @ taught.slope
        acted = of_profile @ np.sum([act[0] ** 2 for act in acts], axis=0)
        shared += float(np.sum((terms[0] @ taught.root) ** 2)) + acted
        shared += np.sum((by_print @ taught.covariance(of_profile)) * by_print, axis=-1)
    own, weights = clearance.judged.variance_rule(prints)
    margin_mm = float(clearance.given_mm[0] + rows[0] @ prints.mean_vector)
    return np.asarray(ndtr(margin_mm / np.sqrt(shared[:, None] + own)) @ weights)
