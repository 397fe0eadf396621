"""A small approximate posterior that takes one observation at a time.

For a page and a terminal that must answer at once, while a person is at the bench: the scatters are
plugged in, everything else is one normal distribution, and each observation moves it to the exact
mean and covariance that the normal and that one observation have together (assumed-density
filtering). It chooses what to try next and gives a provisional answer; the fit gives the answer.

The entry page's script ``guide.js`` does the same arithmetic on the same arrays.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from coupons.learning.effects import THRESHOLDS, prior_mean, prior_sd
from coupons.learning.posterior.latent import AT_THRESHOLDS, N_TERMS, LatentModel, Scatters
from coupons.learning.prior_table import PriorTable
from coupons.terms import GRADES

Array = NDArray[np.floating]

_FIRST = AT_THRESHOLDS.start
_ROOT_2PI = float(np.sqrt(2 * np.pi))
# How a Student-t is taken apart: normals with these precisions, evenly spaced in their logarithm.
_TAIL_STEPS = 1.6 - 1.3 * np.arange(10)


@dataclass(frozen=True)
class NormalPosterior:
    """A normal distribution of all latent values: ``mean`` (n,) and ``covariance`` (n, n)."""

    mean: Array
    covariance: Array


@dataclass(frozen=True)
class Noise:
    """What an observation has beyond the latent values.

    Parameters
    ----------
    judged_mm2 : float
        Variance of the judgement of a trial.
    read_mm2 : ndarray of shape (n_parts,)
        Variances of the normals of which a reading's Student-t is a mixture.
    read_shares : ndarray of shape (n_parts,)
        Their weights.
    read_expected_mm2 : float
        Variance of the normal that would teach as much as the Student-t does on average.
    lapse : float
        Share of trials whose grade is written down at random.
    """

    judged_mm2: float
    read_mm2: Array
    read_shares: Array
    read_expected_mm2: float
    lapse: float


def noise_of(scatters: Scatters, table: PriorTable, resolution_mm: float) -> Noise:
    """Return the noise at given scatters, for a caliper of a given step."""
    nu, read_mm2 = table.reading_dof, scatters.sigma**2 + resolution_mm**2 / 12
    precisions = np.exp(_TAIL_STEPS)
    shares = precisions ** (nu / 2) * np.exp(-precisions * nu / 2)
    return Noise(
        scatters.omega**2,
        read_mm2 / precisions,
        shares / shares.sum(),
        read_mm2 * (nu + 3) / (nu + 1),
        table.lapse,
    )


def before_any(
    model: LatentModel,
    scatters: Scatters,
    mean: Array | None = None,
    covariance: Array | None = None,
) -> NormalPosterior:
    """Return what is held before the first observation of a print.

    Parameters
    ----------
    model : LatentModel
    scatters : Scatters
    mean, covariance : ndarray of shape (n_terms,) and (n_terms, n_terms), optional
        Of the terms, from earlier prints; the prior with its thresholds in order if not given.
    """
    if mean is None or covariance is None:
        mean, covariance = in_order(prior_mean(model.table), np.diag(prior_sd(model.table) ** 2))
    variance = model.prior_variance(scatters)
    whole = np.diag(variance)
    whole[:N_TERMS, :N_TERMS] = covariance
    return NormalPosterior(np.concatenate([mean, model.prior_center[N_TERMS:]]), whole)


def in_order(mean: Array, covariance: Array) -> tuple[Array, Array]:
    """Tell a normal of the terms that the thresholds rise, each step by its exact moments."""
    now = NormalPosterior(mean, covariance)
    for step in range(len(THRESHOLDS) - 1):
        row = np.zeros(len(mean))
        row[_FIRST + step : _FIRST + step + 2] = (-1, 1)
        gain = now.covariance @ row
        spread = float(np.sqrt(row @ gain))
        z = float(row @ now.mean) / spread
        hazard = float(np.exp(-(z**2) / 2) / _ROOT_2PI / ndtr(z))
        now = NormalPosterior(
            now.mean + gain / spread * hazard,
            now.covariance - np.outer(gain, gain) / spread**2 * hazard * (hazard + z),
        )
    return now.mean, now.covariance


def after_trial(
    now: NormalPosterior, clearance: Array, gap_mm: float, ranks: tuple[int, int], noise: Noise
) -> NormalPosterior:
    """Return the normal after a trial.

    A grade says two things, that the clearance is over one threshold and under the next, and they
    are taken in one after the other. Taken at once they would need the thresholds in order, which
    a normal never quite has; as it is, no covariance can go wrong.

    Parameters
    ----------
    now : NormalPosterior
    clearance : ndarray of shape (n,)
        Weights of the latent values in clearance − drawn gap.
    gap_mm : float
        Drawn gap.
    ranks : (int, int)
        Of the tightest and the loosest grade that was reported.
    noise : Noise
    """
    tightest, loosest = ranks
    for threshold, sign in ((tightest - 1, 1.0), (loosest, -1.0)):
        if 0 <= threshold < len(THRESHOLDS):
            now = _after_side(now, clearance, gap_mm, threshold, sign, noise)
    return now


def _after_side(
    now: NormalPosterior, clearance: Array, gap_mm: float, threshold: int, sign: float, noise: Noise
) -> NormalPosterior:
    """Tell a normal on which side of one threshold a clearance was felt."""
    row = clearance.copy()
    row[_FIRST + threshold] -= 1
    gain = now.covariance @ row
    spread = float(np.sqrt(row @ gain + noise.judged_mm2))
    z = (gap_mm + float(row @ now.mean)) / spread
    over = (1 - noise.lapse) * float(ndtr(z)) + noise.lapse * _by_lapse(threshold)
    chance = over if sign > 0 else 1 - over
    slope = sign * (1 - noise.lapse) * float(np.exp(-(z**2) / 2)) / _ROOT_2PI / spread / chance
    bend = -slope * z / spread - slope**2
    return NormalPosterior(now.mean + slope * gain, now.covariance + bend * np.outer(gain, gain))


def _by_lapse(threshold: int) -> float:
    """Return the share of lapses that are noted on the looser side of a threshold."""
    return 1 - (threshold + 1) / len(GRADES)


def after_reading(
    now: NormalPosterior, row: Array, miss_mm: float, noise: Noise
) -> NormalPosterior:
    """Return the normal after a reading.

    Parameters
    ----------
    now : NormalPosterior
    row : ndarray of shape (n,)
        Weights of the latent values in reading − drawn size.
    miss_mm : float
        Reading − drawn size.
    noise : Noise
    """
    gain = now.covariance @ row
    residual = miss_mm - float(row @ now.mean)
    spread = float(row @ gain) + noise.read_mm2
    logs = np.log(noise.read_shares) - residual**2 / spread / 2 - np.log(spread) / 2
    shares = np.exp(logs - logs.max())
    shares /= shares.sum()
    slope = float(shares @ (residual / spread))
    bend = float(shares @ ((residual / spread) ** 2 - 1 / spread)) - slope**2
    return NormalPosterior(now.mean + slope * gain, now.covariance + bend * np.outer(gain, gain))


def falls_by_trials(
    now: NormalPosterior, clearances: Array, gaps_mm: Array, wanted: Array, noise: Noise
) -> Array:
    """Return by how much each trial is expected to lower the variances of wanted numbers.

    Parameters
    ----------
    now : NormalPosterior
    clearances : ndarray of shape (n_trials, n)
    gaps_mm : ndarray of shape (n_trials,)
    wanted : ndarray of shape (n_wants, n)
        Weights of the latent values in each number.
    noise : Noise

    Returns
    -------
    ndarray of shape (n_trials, n_wants)
        In mm²: exact for this normal, on average over what the trial may find.
    """
    over, under, chances = _slopes(now, clearances, gaps_mm, noise)
    seen = now.covariance @ wanted.T
    # Covariance of each wanted number with the clearance less each threshold.
    shared = (clearances @ seen)[:, None, :] - seen[AT_THRESHOLDS]
    moves = _moves(over[:, :, None] * shared, under[:, :, None] * shared, axis=1)
    return np.asarray(np.sum(moves**2 * chances[:, :, None], axis=1))


def falls_by_readings(now: NormalPosterior, rows: Array, wanted: Array, noise: Noise) -> Array:
    """Return the same for readings, shape (n_readings, n_wants)."""
    spread = np.sum((rows @ now.covariance) * rows, axis=1) + noise.read_expected_mm2
    return np.asarray((rows @ (now.covariance @ wanted.T)) ** 2 / spread[:, None])


def told_by_trial(now: NormalPosterior, clearance: Array, gap_mm: float, noise: Noise) -> Array:
    """Return what a trial would tell, one row for each grade that it may find.

    The covariance after it is, on average over the grades, smaller by Σ tᵀ t Σ, where Σ is the
    covariance now and t are these rows of shape (n_grades, n).
    """
    over, under, chances = _slopes(now, clearance[None], np.array([gap_mm]), noise)
    margins = np.repeat(clearance[None], len(THRESHOLDS), axis=0)
    margins[:, AT_THRESHOLDS] -= np.eye(len(THRESHOLDS))
    moves = _moves(over[0][:, None] * margins, under[0][:, None] * margins, axis=0)
    return np.asarray(moves * np.sqrt(chances[0])[:, None])


def told_by_reading(now: NormalPosterior, row: Array, noise: Noise) -> Array:
    """Return the same for a reading, shape (1, n)."""
    spread = float(row @ now.covariance @ row) + noise.read_expected_mm2
    return np.asarray(row[None] / np.sqrt(spread))


def expected_after(now: NormalPosterior, told: Array) -> NormalPosterior:
    """Return the normal expected after one of the above, its mean where it is."""
    seen = now.covariance @ told.T
    return replace(now, covariance=now.covariance - seen @ seen.T)


def _moves(over: Array, under: Array, axis: int) -> Array:
    """Return what each grade moves: over its own threshold, and under that of the next one."""
    ends = [(0, 0)] * over.ndim
    below, above = ends.copy(), ends.copy()
    below[axis], above[axis] = (1, 0), (0, 1)
    return np.asarray(np.pad(over, below) - np.pad(under, above))


def _slopes(
    now: NormalPosterior, clearances: Array, gaps_mm: Array, noise: Noise
) -> tuple[Array, Array, Array]:
    """Slopes of the log chance to be over and under each threshold (n, 4), chances (n, 5)."""
    seen = clearances @ now.covariance
    at = AT_THRESHOLDS
    spread = np.sqrt(
        np.sum(seen * clearances, axis=1)[:, None]
        - 2 * seen[:, at]
        + np.diag(now.covariance)[at]
        + noise.judged_mm2
    )
    z = (gaps_mm[:, None] + (clearances @ now.mean)[:, None] - now.mean[at]) / spread
    density = (1 - noise.lapse) * np.exp(-(z**2) / 2) / _ROOT_2PI / spread
    lapses = np.array([_by_lapse(threshold) for threshold in range(len(THRESHOLDS))])
    over = (1 - noise.lapse) * ndtr(z) + noise.lapse * lapses
    at_least = np.pad(over, ((0, 0), (1, 1)), constant_values=((0, 0), (1, 0)))
    chances = np.maximum(-np.diff(at_least, axis=1), 0.0)
    return density / over, density / (1 - over), chances
