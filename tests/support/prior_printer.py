"""Prior simulation: printers drawn from the prior, on which the study and the tests check the fit.

This is the model itself as a simulator. The virtual printers of the measuring room are built from
physics instead. A study needs both: this one to check the arithmetic, those to show the effect of
model misfit.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coupons.learning.design import Design, Trials
from coupons.learning.effects import print_moves, prior_mean, prior_sd, seam_share
from coupons.learning.posterior.latent import AT_THRESHOLDS, Scatters
from coupons.learning.prior_table import EXTRUSION, PriorTable

Array = NDArray[np.floating]


@dataclass(frozen=True)
class PriorPrinter:
    """One printer and pair of hands: the true terms (order of `TERMS`) and scatters, in mm."""

    terms: Array
    scatters: Scatters
    table: PriorTable = EXTRUSION

    @property
    def effects(self) -> Array:
        """True effects, in the order of `EFFECTS`."""
        return self.terms[: AT_THRESHOLDS.start]

    @property
    def thresholds(self) -> Array:
        """True thresholds of force, push, slide and loose, in mm."""
        return self.terms[AT_THRESHOLDS]

    @property
    def print_sds(self) -> Array:
        """True standard deviation of each print effect."""
        return np.array([e.share * getattr(self.scatters, e.scatter) for e in self.table.prints])

    @property
    def losses(self) -> Array:
        """True clearance in mm that pairs lose, in the order of `LOSSES`."""
        return self.terms[AT_THRESHOLDS.stop :]


def draw_printer(rng: np.random.Generator, table: PriorTable = EXTRUSION) -> PriorPrinter:
    """Draw a printer from the prior; thresholds out of order are drawn again."""
    while True:
        terms = rng.normal(prior_mean(table), prior_sd(table))
        if np.all(np.diff(terms[AT_THRESHOLDS]) > 0):
            break
    sds = {n: float(p.median * np.exp(p.log_sd * rng.normal())) for n, p in table.scatters.items()}
    return PriorPrinter(terms, Scatters(**sds), table)


@dataclass(frozen=True)
class PrintedRun:
    """What prints came out as.

    Parameters
    ----------
    sizes : ndarray of shape (n_sizes,)
        True sizes in mm.
    own : ndarray of shape (n_runs, n_print_effects)
        What each print has of its own.
    effects : ndarray of shape (n_runs, n_effects)
        True effects in each print: the printer's and its own.
    zeros : ndarray of shape (n_zeroed_jaws, n_runs)
        True zero errors of each run's caliper, in mm.
    bumps : ndarray of shape (n_runs,)
        By how much standing rounds of each run stand out more along x than along y, in mm.
    presses : ndarray of shape (n_runs,)
        Force of each run's caliper over the modulus of the plastic, in mm².
    hands : ndarray of shape (n_hands,)
        By how much the thresholds of each person differ from those of people at large, in mm.
    """

    sizes: Array
    own: Array
    effects: Array
    zeros: Array
    bumps: Array
    presses: Array
    hands: Array


def print_sizes(printer: PriorPrinter, design: Design, rng: np.random.Generator) -> PrintedRun:
    """Print every size of a design once."""
    sizes, s = design.sizes, printer.scatters
    printed = np.isnan(sizes.fixed_sd)
    sd = np.sqrt((1 - sizes.z_share) * s.tau**2 + sizes.z_share * s.tau_z**2)
    own = rng.normal(0, np.where(printed, sd, np.nan_to_num(sizes.fixed_sd)))
    of_prints = rng.normal(0, printer.print_sds, (design.n_runs, len(printer.print_sds)))
    effects = printer.effects + of_prints @ print_moves(printer.table).T
    table = printer.table
    sds = [zero.sd for zero in table.zeros.values()]
    zeros = rng.normal(0, sds, (design.n_runs, len(sds))).T
    bumps = rng.spawn(1)[0].normal(0, table.bump.sd, design.n_runs)
    presses = rng.spawn(1)[0].normal(table.press.mean, table.press.sd, design.n_runs)
    n_hands = len(design.hands)
    hands = rng.normal(0, table.hand.sd, n_hands) if n_hands > 1 else np.zeros(1)
    systematic = np.sum(sizes.effects * effects[sizes.run], axis=1)
    return PrintedRun(
        sizes.drawn + systematic + own, of_prints, effects, zeros, bumps, presses, hands
    )


def observe(
    printer: PriorPrinter, design: Design, printed: PrintedRun, rng: np.random.Generator
) -> Design:
    """Return the design with simulated readings and grades."""
    return replace(
        design,
        readings=replace(design.readings, value=_read(printer, design, printed, rng)),
        trials=_try(printer, design, printed, rng),
    )


def _read(
    printer: PriorPrinter, design: Design, printed: PrintedRun, rng: np.random.Generator
) -> Array:
    readings = design.readings
    dof = printer.table.reading_dof
    noise = printer.scatters.sigma * rng.standard_t(dof, len(readings.size))
    run = design.sizes.run[readings.size]
    beyond = np.sum(readings.effects * printed.effects[run], axis=1)
    zero = np.where(readings.jaws < 0, 0.0, printed.zeros[readings.jaws, run])
    bump = seam_share(readings.effects) * printed.bumps[run]
    bent = readings.gives * printed.presses[run]
    exact = printed.sizes[readings.size] + beyond + zero + bump + bent + noise
    rounded: Array = np.round(exact / readings.resolution) * readings.resolution
    return rounded


def _try(
    printer: PriorPrinter, design: Design, printed: PrintedRun, rng: np.random.Generator
) -> Trials:
    trials = design.trials
    clearance = printed.sizes[trials.internal] - printed.sizes[trials.external]
    clearance = clearance - trials.losses @ printer.losses - printed.hands[trials.hand]
    felt = clearance + printer.scatters.omega * rng.normal(size=len(clearance))
    grade = (felt[:, None] >= printer.thresholds).sum(axis=1)
    lapsed = rng.random(len(grade)) < printer.table.lapse
    grade = np.where(lapsed, rng.integers(0, 5, len(grade)), grade)
    return replace(trials, tightest=grade, loosest=grade)
