"""What one row of a coupon tells of a printer, before it is printed.

Rows share no feature, so that what they tell of everything that rows have in common (the printer's
terms, what the print has of its own, the zeros of the caliper) simply adds up; a row's own
deviations are eliminated within it. What a trial tells depends on where the printer really is: it
is worked out for some printers drawn from what is believed, and the uncertainty that is left is
averaged over them. Averaging the information itself instead would call a trial at one gap as good
as trials at several.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from coupons.answering.next.expected_information import (
    as_if_done,
    clearance_rows,
    drawn_gaps,
    trial_information,
)
from coupons.learning.design import Sizes, design_of
from coupons.learning.effects import TERMS, print_moves, prior_mean, prior_sd
from coupons.learning.posterior.latent import (
    AT_THRESHOLDS,
    N_TERMS,
    LatentModel,
    latent_model,
)
from coupons.learning.prior_table import EXTRUSION, PriorTable
from coupons.learning.profile import Profile
from coupons.making.record import Coupon

Array = NDArray[np.floating]

N_SHARED = N_TERMS + len(EXTRUSION.prints) + len(EXTRUSION.zeros) + 2
"""Values that all rows of one print have in common; last its seams' bump and the jaws' press."""
# Directions of which a row tells less than this share of what is known already are left out, and
# all beyond so many: a row seldom has more than eight.
_LEAST_TOLD = 1e-3
_MOST_DIRECTIONS = 10
_EXACT_SDS = 1e-3  # of what is known before: as good as exactly
_EXACT_MM = 1e-6  # a piece known exactly still needs a positive variance


@dataclass(frozen=True)
class Printers:
    """Printers drawn from what is believed of one.

    Parameters
    ----------
    terms : ndarray of shape (n, n_terms)
    squares : dict of str to ndarray of shape (n,)
        Squares of each scatter, in mm² but for scales.
    covariance : ndarray of shape (n_terms, n_terms)
        Of the terms, as believed.
    """

    terms: Array
    squares: dict[str, Array]
    covariance: Array

    @cached_property
    def of_print(self) -> Array:
        """Variances of what a print and its caliper have of their own, (n, n_beyond)."""
        prints = [one.share**2 * self.squares[one.scatter] for one in EXTRUSION.prints]
        others = [*EXTRUSION.zeros.values(), EXTRUSION.bump, EXTRUSION.press]
        fixed = [np.full(len(self.terms), each.sd**2) for each in others]
        return np.stack([*prints, *fixed], axis=1)

    def state(self, covariance: Array | None = None, prints: int = 1) -> Array:
        """Return the covariance of all shared values before a print, (n, N_SHARED, N_SHARED).

        Parameters
        ----------
        covariance : ndarray of shape (n, n_terms, n_terms), optional
            Of the terms, if not as believed.
        prints : int
            What prints have of their own is the mean over so many of them.
        """
        state = np.zeros((len(self.terms), N_SHARED, N_SHARED))
        state[:, :N_TERMS, :N_TERMS] = self.covariance if covariance is None else covariance
        beyond = np.arange(N_TERMS, N_SHARED)
        state[:, beyond, beyond] = self.of_print / prints
        return state

    @cached_property
    def exact_roots(self) -> Array:
        """Roots of the information of a print of which everything is known, (N_SHARED, n_terms).

        No coupon tells more: the machine's effects are left as uncertain as the print's own are.
        """
        seen = np.zeros((N_SHARED, N_TERMS))
        seen[:N_TERMS] = np.eye(N_TERMS)
        moves = print_moves(EXTRUSION)
        seen[N_TERMS : N_TERMS + moves.shape[1], : len(moves)] = moves.T
        return seen / (_EXACT_SDS * self.before_sds[:N_TERMS])

    @cached_property
    def before_sds(self) -> Array:
        """Standard deviations of all shared values before any print, (N_SHARED,)."""
        of_terms = np.diag(self.covariance)
        return np.asarray(np.sqrt(np.concatenate([of_terms, self.of_print.mean(axis=0)])))

    def own(self, sizes: Sizes) -> Array:
        """Return the variances of the own deviations of some sizes, (n, n_sizes), in mm²."""
        in_plane, along_z = (self.squares[name][:, None] for name in ("tau", "tau_z"))
        printed = (1 - sizes.z_share) * in_plane + sizes.z_share * along_z
        bought = np.maximum(sizes.fixed_sd, _EXACT_MM) ** 2
        return np.where(np.isfinite(sizes.fixed_sd), bought, printed)


def believed(profile: Profile) -> tuple[Array, Array]:
    """Return mean and covariance of the terms; what an older model lacks is as before any print."""
    unknown = prior_sd(profile.prior_table) == 0
    mean = np.where(unknown, prior_mean(), profile.mean_vector)
    return mean, profile.covariance_matrix + np.diag(np.where(unknown, prior_sd() ** 2, 0.0))


def draw_printers(profile: Profile, count: int, seed: int = 0) -> Printers:
    """Draw printers from what a profile believes, evenly (a Latin hypercube)."""
    mean, covariance = believed(profile)
    names = tuple(EXTRUSION.scatters)
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 0))
    rng = np.random.default_rng(seed)
    strata = np.tile(np.arange(2 * count), (len(TERMS) + len(names), 1))
    kept = np.zeros((0, len(TERMS) + len(names)))
    while len(kept) < count:
        z = ndtri((rng.permuted(strata, axis=1).T + 0.5) / (2 * count))
        thresholds = (mean + z[:, : len(TERMS)] @ root.T)[:, AT_THRESHOLDS]
        in_order = (np.diff(thresholds, axis=1) > 0).all(axis=1)  # as on every printer
        kept = np.concatenate([kept, z[in_order]])[:count]
    spreads = [_spread(profile, name) for name in names]
    squares = {
        name: (median * np.exp(log_sd * at)) ** 2
        for name, (median, log_sd), at in zip(names, spreads, kept[:, len(TERMS) :].T, strict=True)
    }
    return Printers(mean + kept[:, : len(TERMS)] @ root.T, squares, covariance)


def _spread(profile: Profile, name: str) -> tuple[float, float]:
    """Return median and log-sd of a scatter; the prior's where the model of a profile lacks it."""
    known, prior = profile.scatters.get(name), EXTRUSION.scatters[name]
    return (known.median_mm, known.log_sd) if known else (prior.median, prior.log_sd)


def information_roots(row: Coupon, printers: Printers, table: PriorTable = EXTRUSION) -> Array:
    """Return a root of `information`, without what is negligible.

    Returns
    -------
    ndarray of shape (n_printers, N_SHARED, r)
        F with F · Fᵀ the information.
    """
    return _roots(information(row, printers, table), printers.before_sds)


def information(row: Coupon, printers: Printers, table: PriorTable = EXTRUSION) -> Array:
    """Return the expected Fisher information of one row about the shared values.

    Parameters
    ----------
    row : Coupon
        The record of a coupon of this row alone; its trials and readings are done once each.
    printers : Printers
    table : PriorTable

    Returns
    -------
    ndarray of shape (n_printers, N_SHARED, N_SHARED)
    """
    model = latent_model(design_of([as_if_done(row)]), table)
    whole = _of_readings(model, printers) + _of_trials(model, printers)
    own = printers.own(model.design.sizes)
    inner = whole[:, N_SHARED:, N_SHARED:] + np.eye(own.shape[1]) / own[:, None, :]
    cross = whole[:, :N_SHARED, N_SHARED:]
    eliminated = cross @ np.linalg.solve(inner, np.swapaxes(cross, 1, 2))
    return np.asarray(whole[:, :N_SHARED, :N_SHARED] - eliminated)


def _roots(told: Array, sds: Array) -> Array:
    """Factor information, keeping the directions in which it is much beside what is known."""
    values, vectors = np.linalg.eigh(told * np.outer(sds, sds))
    values, vectors = values[:, -_MOST_DIRECTIONS:], vectors[:, :, -_MOST_DIRECTIONS:]
    kept = values.max(axis=0) > _LEAST_TOLD
    roots = vectors[:, :, kept] * np.sqrt(np.maximum(values[:, None, kept], 0))
    return np.asarray(roots / sds[:, None])


def _of_readings(model: LatentModel, printers: Printers) -> Array:
    """Information of the readings about all latent values, (n_printers, n_latent, n_latent)."""
    nu = model.table.reading_dof
    rows = np.concatenate([model.reading_shared, model.reading_own.T.toarray()], axis=1)
    squares = printers.squares["sigma"][:, None] + model.design.readings.resolution**2 / 12
    weights = (nu + 1) / (nu + 3) / squares
    return np.asarray((rows.T * weights[:, None, :]) @ rows)


def _of_trials(model: LatentModel, printers: Printers) -> Array:
    """Information of the trials about all latent values, (n_printers, n_latent, n_latent)."""
    clearance = clearance_rows(model)
    n, n_printers = len(clearance), len(printers.terms)
    thresholds = range(AT_THRESHOLDS.start, AT_THRESHOLDS.stop)
    middle = drawn_gaps(model.design) + printers.terms @ clearance[:, :N_TERMS].T
    margins = middle[:, :, None] - printers.terms[:, None, AT_THRESHOLDS]
    beyond = np.concatenate([printers.of_print, printers.own(model.design.sizes)], axis=1)
    spread = np.sqrt(beyond @ (clearance[:, N_TERMS:] ** 2).T)
    omega = np.repeat(np.sqrt(printers.squares["omega"]), n)[:, None]
    count = len(thresholds)
    weights = trial_information(
        margins.reshape(-1, count), spread.ravel(), omega, model.table.lapse
    ).reshape(n_printers, n, count, count)
    rows = np.repeat(clearance[:, None, :], count, axis=1)
    rows[:, range(count), thresholds] -= 1
    n_latent = rows.shape[-1]
    weighted = (weights @ rows).reshape(n_printers, n * count, n_latent)
    return np.asarray(rows.reshape(n * count, n_latent).T @ weighted)
