"""The latent values of the model and how every observation depends on them.

Latent values are laid out as ``[effects, thresholds, losses, print effects, caliper zeros, bumps,
presses, datums, hands]``, the *shared* block of a few dozen, followed by one *own deviation* a
size. Print effects, zeros, bumps and presses are laid out kind by kind, one a run; hands one a
person. A datum is the own deviation of a face from which several sizes start: half the variance of
each of them. An observation touches at most two own deviations, so that part is kept sparse.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from coupons.learning.design import Design, Trials
from coupons.learning.effects import (
    EFFECTS,
    TERMS,
    THRESHOLDS,
    print_rows,
    prior_mean,
    prior_sd,
    seam_share,
)
from coupons.learning.posterior.bordered import Rows, not_meeting
from coupons.learning.prior_table import PriorTable
from coupons.terms import GRADES

Array = NDArray[np.floating]
Indices = NDArray[np.intp]

_N_EFFECTS, _N_THRESHOLDS = len(EFFECTS), len(THRESHOLDS)
N_TERMS = len(TERMS)
AT_THRESHOLDS = slice(_N_EFFECTS, _N_EFFECTS + _N_THRESHOLDS)
_AT_LOSSES = slice(_N_EFFECTS + _N_THRESHOLDS, N_TERMS)


@dataclass(frozen=True)
class Scatters:
    """Standard deviations, in mm but for scales; see `coupons.learning.prior_table.PriorTable`."""

    tau: float
    tau_z: float
    sigma: float
    omega: float
    rho: float
    rho_scale: float
    rho_scale_z: float
    rho_bed: float
    rho_roof: float


@dataclass(frozen=True)
class LatentModel:
    """Structure of one data set, built once and used at every value of the scatters.

    What is *seen* are the readings, then the clearance of each trial: rows of ``seen_shared``, of
    which the columns are the shared latent values. The sparse ``seen_own`` maps what is seen
    (columns) to own deviations (rows). ``below`` and ``above``, a row a trial and a column a
    threshold, mark the thresholds that bound its grades. A clearance less one of these is a
    *margin*.

    ``alone`` are the latent values that share no observation with one another, most own deviations;
    ``core`` are all others, the shared ones first. ``meetings`` are the flat indices of the trials
    in a table of core sizes × all sizes.
    """

    design: Design
    table: PriorTable
    seen_shared: Array
    seen_own: csr_array
    below: Array
    above: Array
    has_lower: NDArray[np.bool_]
    has_upper: NDArray[np.bool_]
    core: Indices
    alone: Indices
    meetings: Indices
    reading_rows: Rows
    margin_rows: tuple[Rows, Rows]

    @property
    def n_shared(self) -> int:
        """Number of latent values that are not own deviations."""
        return len(self.prior_center) - len(self.design.sizes.drawn)

    @property
    def n_per_run(self) -> int:
        """Number of latent values of each run: print effects, zeros of its caliper, bump, press."""
        return len(self.table.prints) + _n_of_caliper(self.table)

    @property
    def n_readings(self) -> int:
        """Number of readings, which come first in what is seen."""
        return len(self.design.readings.size)

    @property
    def reading_shared(self) -> Array:
        """Weights of the shared latent values in the readings, one row each."""
        return self.seen_shared[: self.n_readings]

    @property
    def clearance_shared(self) -> Array:
        """The same for the clearances of the trials."""
        return self.seen_shared[self.n_readings :]

    @property
    def reading_own(self) -> csr_array:
        """Weights of own deviations in the readings, one column each."""
        return csr_array(self.seen_own[:, : self.n_readings])

    @property
    def trial_own(self) -> csr_array:
        """The same for the clearances of the trials."""
        return csr_array(self.seen_own[:, self.n_readings :])

    @cached_property
    def prior_center(self) -> Array:
        """Prior mean of all latent values."""
        n = self.design.n_runs
        sizes, n_datums = self.design.shared_faces.shape
        around_zero = np.zeros((self.n_per_run - 1) * n)
        press = np.full(n, self.table.press.mean)
        rest = np.zeros(n_datums + len(_told_hands(self.design)) + sizes)
        return np.concatenate([prior_mean(self.table), around_zero, press, rest])

    def prior_variance(self, scatters: Scatters) -> Array:
        """Prior variance of all latent values, all independent."""
        sizes, n = self.design.sizes, self.design.n_runs
        printed = (1 - sizes.z_share) * scatters.tau**2 + sizes.z_share * scatters.tau_z**2
        bought = np.isfinite(sizes.fixed_sd)
        # A piece known exactly still needs a positive variance; an sd of a nanometre is negligible.
        own = np.where(bought, np.maximum(sizes.fixed_sd, 1e-6) ** 2, printed)
        # A size has two faces, alike and independent: one of them may be that of others too.
        faces = self.design.shared_faces != 0
        datums = (faces * printed[:, None]).max(axis=0, initial=0.0) / 2
        own = np.where(faces.any(axis=1), own / 2, own)
        prints = [effect.share * getattr(scatters, effect.scatter) for effect in self.table.prints]
        zeros = [zero.sd for zero in self.table.zeros.values()]
        of_runs = np.repeat([*prints, *zeros, self.table.bump.sd, self.table.press.sd], n)
        hands = np.full(len(_told_hands(self.design)), self.table.hand.sd)
        of_terms = np.concatenate([prior_sd(self.table), of_runs]) ** 2
        return np.concatenate([of_terms, datums, hands**2, own])

    def predicted(self, latent: Array) -> Array:
        """Predicted size in mm of each reading."""
        size = self.design.readings.size
        drawn, own = self.design.sizes.drawn[size], latent[self.n_shared :][size]
        predicted: Array = drawn + own + self.reading_shared @ latent[: self.n_shared]
        return predicted

    @cached_property
    def _least_variance(self) -> Array:
        return self.design.readings.least_variance

    @cached_property
    def grades_in_set(self) -> Array:
        """Number of grades that each trial's report leaves open."""
        return self.design.trials.grades_in_set

    def reading_scale(self, scatters: Scatters) -> Array:
        """Scale of each reading in mm; rounding to the caliper's step is part of it."""
        scale: Array = np.sqrt(scatters.sigma**2 + self._least_variance)
        return scale

    def distances(self, latent: Array, scatters: Scatters) -> tuple[Array, Array]:
        """Standardised distance of each trial's clearance to the thresholds around its grades.

        Parameters
        ----------
        latent : ndarray of shape (n_latent,)
        scatters : Scatters

        Returns
        -------
        lower, upper : ndarray of shape (n_trials,)
            In sds of the judgement, infinite where a set of grades has no bound; see
            `coupons.learning.posterior.likelihood.TrialTerms`.
        """
        trials, drawn = self.design.trials, self.design.sizes.drawn
        shared, size = latent[: self.n_shared], drawn + latent[self.n_shared :]
        gap = size[trials.internal] - size[trials.external] + self.clearance_shared @ shared
        lower, upper = (gap - bound @ shared[AT_THRESHOLDS] for bound in (self.below, self.above))
        return (
            np.where(self.has_lower, lower / scatters.omega, np.inf),
            np.where(self.has_upper, upper / scatters.omega, -np.inf),
        )


def latent_model(design: Design, table: PriorTable) -> LatentModel:
    """Build the structure: which latent values each observation depends on."""
    sizes, readings, trials = design.sizes, design.readings, design.trials
    every = np.arange(len(sizes.drawn))
    size_shared = _shared_rows(design, table, every, sizes.effects)
    read = readings.size
    reading_shared = _shared_rows(design, table, read, sizes.effects[read] + readings.effects)
    of_run = _one_of(sizes.run[read], design.n_runs)
    of_jaws = _one_of(readings.jaws, len(table.zeros))[:, :, None] * of_run[:, None, :]
    bumps = seam_share(readings.effects)[:, None] * of_run
    bent = readings.gives[:, None] * of_run
    n_zeros = len(table.zeros) * design.n_runs
    of_reading = np.concatenate([of_jaws.reshape(len(read), n_zeros), bumps, bent], axis=1)
    first = N_TERMS + len(table.prints) * design.n_runs
    reading_shared[:, first : first + of_reading.shape[1]] = of_reading
    clearance = size_shared[trials.internal] - size_shared[trials.external]
    clearance[:, _AT_LOSSES] = -trials.losses
    if hands := len(_told_hands(design)):
        # A person whose thresholds all lie higher finds every pair tighter.
        clearance[:, -hands:] = -_one_of(trials.hand, hands)
    n_sizes, n_shared = len(sizes.drawn), size_shared.shape[1]
    parts = _Parts(not_meeting(trials.internal, trials.external, n_sizes), n_sizes)
    below = _one_of(trials.tightest - 1, _N_THRESHOLDS)
    above = _one_of(trials.loosest, _N_THRESHOLDS)
    reading_own: _Own = ((read, 1.0),)
    trial_own: _Own = ((trials.internal, 1.0), (trials.external, -1.0))
    return LatentModel(
        design,
        table,
        np.concatenate([reading_shared, clearance]),
        _seen_own(reading_own, trial_own, n_sizes),
        below,
        above,
        trials.tightest > 0,
        trials.loosest < len(GRADES) - 1,
        np.concatenate([np.arange(n_shared), n_shared + parts.core]),
        n_shared + parts.alone,
        parts.meetings(trials),
        parts.rows(reading_shared, reading_own),
        (
            parts.rows(_minus_threshold(clearance, below), trial_own),
            parts.rows(_minus_threshold(clearance, above), trial_own),
        ),
    )


# Which sizes observations depend on, one an observation, and the weight of their own deviations.
_Own = tuple[tuple[Indices, float], ...]


def _seen_own(readings: _Own, trials: _Own, n_sizes: int) -> csr_array:
    """Weights of own deviations (rows) in readings, then in trials (columns)."""
    n_readings, n_trials = len(readings[0][0]), len(trials[0][0])
    size = np.concatenate([size for size, _ in readings + trials])
    weight = np.concatenate([np.full(len(size), weight) for size, weight in readings + trials])
    of_readings = np.tile(np.arange(n_readings), len(readings))
    of_trials = np.tile(np.arange(n_trials), len(trials))
    seen = np.concatenate([of_readings, n_readings + of_trials])
    return csr_array((weight, (size, seen)), shape=(n_sizes, n_readings + n_trials))


class _Parts:
    """Sizes split into those that are eliminated first and the core of all others."""

    def __init__(self, alone: Indices, n_sizes: int) -> None:
        self.alone, self.n_sizes = alone, n_sizes
        self.core = np.setdiff1d(np.arange(n_sizes), alone)
        self.in_core, self.in_alone = (_places(part, n_sizes) for part in (self.core, alone))

    def meetings(self, trials: Trials) -> Indices:
        inside = self.in_core[trials.internal] >= 0  # else the other one is of the core
        one = np.where(inside, trials.internal, trials.external)
        other = np.where(inside, trials.external, trials.internal)
        flat: Indices = self.in_core[one] * self.n_sizes + other
        return flat

    def rows(self, shared: Array, own: _Own) -> Rows:
        """Split the weights of all latent values in observations."""
        of_core = np.zeros((len(self.core), len(shared)))
        place, of_alone = np.zeros(len(shared), np.intp), np.zeros(len(shared))
        for size, weight in own:
            alone = self.in_alone[size] >= 0
            place[alone] = self.in_alone[size[alone]]
            of_alone[alone] += weight
            in_core = np.flatnonzero(~alone)
            of_core[self.in_core[size[in_core]], in_core] += weight
        return Rows(np.concatenate([shared.T, of_core]), place, of_alone)


def _places(part: Indices, n_sizes: int) -> Indices:
    """Return for each size its place in a part of them, −1 where it is not of that part."""
    places = np.full(n_sizes, -1)
    places[part] = np.arange(len(part))
    return places


def _n_of_caliper(table: PriorTable) -> int:
    """Count what a run's readings alone have in common: zeros, bump and press."""
    return len(table.zeros) + 2


def _told_hands(design: Design) -> tuple[str, ...]:
    """Return the people whose thresholds can be told apart: none where there is one alone."""
    return design.hands if len(design.hands) > 1 else ()


def _shared_rows(design: Design, table: PriorTable, at: Indices, effects: Array) -> Array:
    """Weights of the shared values in some printed sizes, with effects as met there."""
    of_run = design.sizes.prints[at, None] == np.arange(design.n_runs)
    prints = print_rows(effects, table)[:, :, None] * of_run[:, None, :]
    n, n_prints = len(at), len(table.prints) * design.n_runs
    middle = np.zeros((n, N_TERMS - _N_EFFECTS))
    of_runs = np.zeros((n, _n_of_caliper(table) * design.n_runs))
    hands = np.zeros((n, len(_told_hands(design))))
    parts = [effects, middle, prints.reshape(n, n_prints), of_runs, design.shared_faces[at], hands]
    return np.concatenate(parts, axis=1)


def _one_of(index: Indices, count: int) -> Array:
    """Return rows of zeros with a one at each index; none at an index outside ``count``."""
    return np.asarray(index[:, None] == np.arange(count), float)


def _minus_threshold(clearance: Array, bound: Array) -> Array:
    """Subtract the threshold that bounds each trial's grades, where there is one."""
    rows = clearance.copy()
    rows[:, AT_THRESHOLDS] -= bound
    return rows
