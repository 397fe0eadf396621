"""How often pieces to choose from can fit at best, for somebody who knows more than a profile.

All pieces of a print share what moves its clearance at a given gap: one number, of which somebody
knows a distribution. Given that number pieces fit independently, so that the chance of every set of
drawn gaps is a sum over it, and the best set can be found by trying all of them.
"""

from dataclasses import dataclass
from itertools import combinations_with_replacement, pairwise

import numpy as np
from scipy.special import logsumexp, ndtr

from coupons.learning.effects import (
    effect_row,
    height_share,
    loss_row,
    print_moves,
    prior_mean,
    prior_sd,
)
from coupons.learning.posterior.latent import AT_THRESHOLDS
from coupons.learning.prior_table import EXTRUSION
from coupons.terms import GRADES, ROUND, Feature

DRAWN_GAP_MM = 0.3  # rows of effects hardly depend on it
STEP_MM = 0.02
REACH_MM = 0.6
DRAWS = 300  # of how far prints differ
_QUANTILES = 200


@dataclass(frozen=True)
class Offsets:
    """What somebody knows of the common offset of a print's clearances: a mixture of normals.

    The offset is the clearance of a pair less its drawn gap, without the own deviation of the
    piece and the hand's judgement.

    Parameters
    ----------
    means, sds, weights : ndarray of shape (n,)
        In mm.
    """

    means: np.ndarray
    sds: np.ndarray
    weights: np.ndarray

    def density(self, at_mm):
        """Return the chance of each cell around evenly spaced offsets."""
        half = (at_mm[1] - at_mm[0]) / 2
        edges = np.append(at_mm - half, at_mm[-1] + half)
        each = np.diff(ndtr((edges[:, None] - self.means) / self.sds), axis=0)
        return each @ self.weights

    def span_mm(self):
        return (self.means - 5 * self.sds).min(), (self.means + 5 * self.sds).max()


@dataclass(frozen=True)
class Pair:
    """What a printer and a hand make of a joint, as rows over the machine's effects."""

    row: np.ndarray  # of the gap over the effects
    lost_mm: float
    low_mm: float  # thresholds of the wanted grade
    high_mm: float
    slot_mm2: float  # own variance of the body that all pieces are tried in
    piece_mm2: float  # of a piece, with the hand's judgement


def pair_of(printer, joint, fit):
    """Return what is true of a joint on a printer drawn from the prior."""
    inner = Feature(joint.internal, joint.size_mm, joint.direction)
    outer = Feature(joint.external, joint.size_mm - DRAWN_GAP_MM, joint.direction)
    s, is_round = printer.scatters, joint.internal in ROUND
    slot, piece = ((1 - z) * s.tau**2 + z * s.tau_z**2 for z in map(height_share, (inner, outer)))
    low, high = printer.thresholds[GRADES.index(fit) - 1 : GRADES.index(fit) + 1]
    lost = loss_row(is_round, joint.direction, seam=is_round) @ printer.losses
    row = effect_row(inner) - effect_row(outer)
    return Pair(row, float(lost), low, high, slot, piece + s.omega**2)


def of_known_machine(printer, pair):
    """Return what somebody knows who knows the machine: all but the next print."""
    moved = pair.row @ print_moves(printer.table) * printer.print_sds
    sd = np.sqrt(pair.slot_mm2 + moved @ moved)
    mean = pair.row @ printer.effects - pair.lost_mm
    return Offsets(np.array([mean]), np.array([sd]), np.ones(1))


def of_known_print(pair, seen_effects, rng):
    """Return what somebody knows who knows everything about one print, hand and scatter.

    All but how far prints of this machine differ, of which one print says little: the effects seen
    are the machine's and that print's own. No coupon that is printed once tells more.
    """
    table, moves = EXTRUSION, print_moves(EXTRUSION)
    names = dict.fromkeys(one.scatter for one in table.prints)
    drawn = {
        name: table.scatters[name].median
        * np.exp(table.scatters[name].log_sd * rng.normal(size=DRAWS))
        for name in names
    }
    squares = np.stack([(one.share * drawn[one.scatter]) ** 2 for one in table.prints], axis=1)
    n = AT_THRESHOLDS.start
    before, machine = prior_mean(table)[:n], np.diag(prior_sd(table)[:n] ** 2)
    seen = machine + (moves * squares[:, None, :]) @ moves.T
    off = seen_effects - before
    gains = np.linalg.solve(seen, np.broadcast_to(machine, seen.shape)).swapaxes(1, 2)
    logs = -0.5 * (
        np.linalg.slogdet(seen)[1] + np.einsum("i,dij,j->d", off, np.linalg.inv(seen), off)
    )
    weights = np.exp(logs - logsumexp(logs))
    means = (before + gains @ off) @ pair.row - pair.lost_mm
    left = machine - gains @ machine
    next_print = ((pair.row @ moves) ** 2 * squares).sum(axis=1)
    variances = np.einsum("i,dij,j->d", pair.row, left, pair.row) + next_print + pair.slot_mm2
    return Offsets(means, np.sqrt(variances), weights)


def best_set(offsets, pair, count):
    """Try all sets of gaps on a grid around the middle; the best one and the chance that one fits.

    Returns
    -------
    gaps_mm : list of float
    chance : float
    """
    at_mm = np.linspace(*offsets.span_mm(), _QUANTILES)
    weights = offsets.density(at_mm)
    middle = (pair.low_mm + pair.high_mm) / 2 - float(weights @ at_mm)
    gaps_mm = middle + np.arange(-REACH_MM, REACH_MM + STEP_MM / 2, STEP_MM)
    sd = np.sqrt(pair.piece_mm2)
    felt = at_mm[:, None] + gaps_mm
    misses = 1 - ndtr((felt - pair.low_mm) / sd) + ndtr((felt - pair.high_mm) / sd)
    return best_of_all(gaps_mm, misses, weights, count)


def best_of_all(gaps_mm, misses, weights, count, least_mm=0.0):
    """Return the set of gaps that misses least, of all sets there are, and its chance.

    Parameters
    ----------
    gaps_mm : ndarray of shape (n_gaps,)
    misses : ndarray of shape (n_points, n_gaps)
        Chance that each piece does not fit, by itself, at each point.
    weights : ndarray of shape (n_points,)
    count : int
    least_mm : float
        By how much two gaps of a set differ at least; with 0 pieces may be alike.
    """
    apart = abs(gaps_mm[:, None] - gaps_mm) > least_mm - 1e-6
    firsts = [
        list(one)
        for one in combinations_with_replacement(range(len(gaps_mm)), count - 1)
        if all(apart[a, b] for a, b in pairwise(one))  # they rise
    ]
    products = np.stack([misses[:, one].prod(axis=1) for one in firsts], axis=1)
    missed = (products * weights[:, None]).T @ misses
    missed[~np.array([apart[one].all(axis=0) for one in firsts])] = np.inf
    at = np.unravel_index(np.argmin(missed), missed.shape)
    chosen = sorted([*firsts[at[0]], int(at[1])])
    return [float(gaps_mm[n]) for n in chosen], float(1 - missed[at])
