"""Prior simulation: printers drawn from the prior, on which the study and the tests check the fit.

This is the model itself as a simulator. The virtual printers of the measuring room are built from
physics instead. A study needs both: this one to check the arithmetic, those to show the effect of
model misfit.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coupons.learning.design import Design, Trials
from coupons.learning.effects import EXTRUSION, PriorTable, prior_mean, prior_sd
from coupons.learning.latent import AT_THRESHOLDS, Scatters

Array = NDArray[np.floating]


@dataclass(frozen=True)
class PriorPrinter:
    """One printer and pair of hands: the true terms (order of `TERMS`) and scatters, in mm."""

    terms: Array
    scatters: Scatters
    lapse: float
    reading_dof: float

    @property
    def effects(self) -> Array:
        """True effects, in the order of `EFFECTS`."""
        return self.terms[: AT_THRESHOLDS.start]

    @property
    def thresholds(self) -> Array:
        """True thresholds of force, push, slide and loose, in mm."""
        return self.terms[AT_THRESHOLDS]

    @property
    def losses(self) -> Array:
        """True clearance in mm that round pairs lose, in the order of `LOSSES`."""
        return self.terms[AT_THRESHOLDS.stop :]


def draw_printer(rng: np.random.Generator, table: PriorTable = EXTRUSION) -> PriorPrinter:
    """Draw a printer from the prior; thresholds out of order are drawn again."""
    while True:
        terms = rng.normal(prior_mean(table), prior_sd(table))
        if np.all(np.diff(terms[AT_THRESHOLDS]) > 0):
            break
    sds = {n: float(p.median * np.exp(p.log_sd * rng.normal())) for n, p in table.scatters.items()}
    return PriorPrinter(terms, Scatters(**sds), table.lapse, table.reading_dof)


@dataclass(frozen=True)
class PrintedRun:
    """One print: true sizes in mm, shifts of each run in plane and along z."""

    sizes: Array
    shifts: Array


def print_sizes(printer: PriorPrinter, design: Design, rng: np.random.Generator) -> PrintedRun:
    """Print every size of a design once."""
    sizes, s = design.sizes, printer.scatters
    printed = np.isnan(sizes.fixed_sd)
    sd = np.sqrt((1 - sizes.z_share) * s.tau**2 + sizes.z_share * s.tau_z**2)
    own = rng.normal(0, np.where(printed, sd, np.nan_to_num(sizes.fixed_sd)))
    shifts = rng.normal(0, [s.rho, s.rho_z], (design.n_runs, 2))
    in_plane, in_z = shifts[sizes.run].T
    shift = sizes.side * ((1 - sizes.z_share) * in_plane + sizes.z_share * in_z) * printed
    return PrintedRun(sizes.drawn + sizes.effects @ printer.effects + own + shift, shifts)


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
    noise = printer.scatters.sigma * rng.standard_t(printer.reading_dof, len(readings.size))
    in_plane, in_z = printed.shifts[design.sizes.run[readings.size]].T
    side = design.sizes.side[readings.size]
    beyond = readings.effects @ printer.effects + readings.z_share * side * (in_z - in_plane)
    exact = printed.sizes[readings.size] + beyond + noise
    rounded: Array = np.round(exact / readings.resolution) * readings.resolution
    return rounded


def _try(
    printer: PriorPrinter, design: Design, printed: PrintedRun, rng: np.random.Generator
) -> Trials:
    trials = design.trials
    clearance = printed.sizes[trials.internal] - printed.sizes[trials.external]
    clearance = clearance - trials.losses @ printer.losses
    felt = clearance + printer.scatters.omega * rng.normal(size=len(clearance))
    grade = (felt[:, None] >= printer.thresholds).sum(axis=1)
    lapsed = rng.random(len(grade)) < printer.lapse
    grade = np.where(lapsed, rng.integers(0, 5, len(grade)), grade)
    return replace(trials, tightest=grade, loosest=grade)
