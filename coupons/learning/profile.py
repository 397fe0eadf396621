"""``profile.json``: the posterior for one machine with one material, in a file of a few kilobytes.

The file holds everything that an answer needs: answers from it equal the answers at fit time.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Annotated, Literal, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import AfterValidator, Field, model_validator

from coupons import __version__
from coupons.learning.effects import TERMS, THRESHOLDS, print_moves, prior_sd
from coupons.learning.print_effects import TaughtShift, taught_shift
from coupons.learning.prior_table import EXTRUSION, EXTRUSION_2, PriorTable
from coupons.measuring.run.conditions import LayerHeight, Name, Nozzle, Slicing
from coupons.measuring.run.differing import Differing
from coupons.measuring.run.entries import LARGEST_MM
from coupons.models import StrictModel
from coupons.terms import Direction, Form

Array = NDArray[np.floating]

VERSION = 3
PRIORS: dict[int, PriorTable] = {1: EXTRUSION_2, 2: EXTRUSION_2, 3: EXTRUSION}
"""The model that a profile of each version is of."""

_N = len(TERMS)

# In mm and mm²: a hundred times the error of any printer, and small enough to calculate with.
Mean = Annotated[float, Field(gt=-10, lt=10)]
Covariance = Annotated[float, Field(gt=-100, lt=100)]
Size = Annotated[float, Field(gt=0, le=LARGEST_MM)]
Ends = Annotated[tuple[Size, Size], Field(strict=False)]
PrintId = Annotated[str, Field(pattern="^[0-9a-f]{16}$")]
Count = Annotated[int, Field(ge=0, le=1_000_000)]


def _known_term(name: str) -> str:
    if name not in TERMS:
        raise ValueError(f"one of the terms {', '.join(TERMS)}, got {name!r}")
    return name


Term = Annotated[str, AfterValidator(_known_term)]
Terms = Annotated[tuple[Term, ...], Field(strict=False, max_length=_N)]

# Gauss–Hermite rule for a standard normal, to average over scatters that are known only roughly.
NORMAL_NODES, NORMAL_WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
NORMAL_WEIGHTS = NORMAL_WEIGHTS / NORMAL_WEIGHTS.sum()


class LogSpread(StrictModel):
    """A scatter's posterior, as normal in the logarithm: median and sd of the log.

    The median of a scale is a ratio, whatever its name says.
    """

    median_mm: Annotated[float, Field(gt=0, lt=100)]
    log_sd: Annotated[float, Field(ge=0, lt=10)]

    @property
    def mean_square(self) -> float:
        """Mean of the variance, in mm²."""
        return self.median_mm**2 * math.exp(2 * self.log_sd**2)

    def times(self, share: float) -> Self:
        """Return what is known of a share of the scatter."""
        return self.model_copy(update={"median_mm": share * self.median_mm})

    def variance_rule(self) -> tuple[Array, Array]:
        """Variances in mm² to average over, and their weights, both of shape (n_nodes,)."""
        return (self.median_mm * np.exp(self.log_sd * NORMAL_NODES)) ** 2, NORMAL_WEIGHTS


@dataclass(frozen=True)
class PrintNodes:
    """How much prints may differ: what answers are averaged over.

    Parameters
    ----------
    squares : ndarray of shape (n_nodes, n_print_effects)
        Mean square of each print effect.
    taught : ndarray of shape (n_nodes, n_print_effects, n_print_effects)
        Covariance, there, of their means over the prints that taught the profile.
    weights : ndarray of shape (n_nodes,)
    """

    squares: Array
    taught: Array
    weights: Array


class MeasuredRange(StrictModel):
    """Drawn sizes of one form and direction that took part, smallest and largest.

    Parameters
    ----------
    tried_mm, read_mm : (float, float), optional
        Smallest and largest of those that were tried by hand with a mate, and of those that a
        caliper read. Not in versions 1 and 2.
    """

    form: Form
    direction: Direction
    low_mm: Size
    high_mm: Size
    tried_mm: Ends | None = None
    read_mm: Ends | None = None

    @model_validator(mode="after")
    def _rising(self) -> Self:
        if self.low_mm > self.high_mm:
            raise ValueError(f"low_mm up to high_mm, got {self.low_mm:g} and {self.high_mm:g}")
        for ends in (self.tried_mm, self.read_mm):
            if ends and not self.low_mm <= ends[0] <= ends[1] <= self.high_mm:
                got = f"{ends[0]:g} and {ends[1]:g}"
                raise ValueError(f"tried_mm and read_mm within low_mm to high_mm, got {got}")
        return self

    def joined(self, other: Self) -> Self:
        """Return the range of both together; they are of one form and direction."""
        return self.model_copy(
            update={
                "low_mm": min(self.low_mm, other.low_mm),
                "high_mm": max(self.high_mm, other.high_mm),
                "tried_mm": _hull(self.tried_mm, other.tried_mm),
                "read_mm": _hull(self.read_mm, other.read_mm),
            }
        )


def _hull(
    one: tuple[float, float] | None, other: tuple[float, float] | None
) -> tuple[float, float] | None:
    if one is None or other is None:
        return one or other
    return min(one[0], other[0]), max(one[1], other[1])


def joined_ranges(ranges: Iterable[MeasuredRange]) -> tuple[MeasuredRange, ...]:
    """Join the ranges of each form and direction to one, in the order of a profile."""
    found: dict[tuple[Form, Direction], MeasuredRange] = {}
    for one in ranges:
        key = one.form, one.direction
        found[key] = found[key].joined(one) if key in found else one
    return tuple(found[key] for key in sorted(found))


class Counts(StrictModel):
    """How much was observed.

    Parameters
    ----------
    in_plane, along_z : int, optional
        How many of the runs have sizes in the layer plane, and along z, in version 2. Version 1 did
        not say: there each is taken to have both.
    by_print_effect : tuple of int, optional
        How many of the runs have sizes on which each print effect acts, from version 3 on.
    hands : int
        How many people tried.
    """

    runs: Annotated[Count, Field(ge=1)]
    in_plane: Count | None = None
    along_z: Count | None = None
    by_print_effect: tuple[Count, ...] | None = None
    hands: Count = 1
    sizes: Annotated[Count, Field(ge=1)]
    readings: Count
    trials: Count

    @property
    def informing(self) -> tuple[int, ...]:
        """How many runs have sizes on which each print effect acts."""
        if self.by_print_effect is not None:
            return self.by_print_effect
        return tuple(self.runs if n is None else n for n in (self.in_plane, self.along_z))


class Hand(StrictModel):
    """The one person whose fits a profile holds.

    Parameters
    ----------
    by : str
    trials : int, optional
        How many trials of that person moved the thresholds of a profile that others' hands had
        taught; not given where that person made all of its trials.
    """

    by: Name
    trials: Count | None = None


class Like(StrictModel):
    """Other machines of the same kind whose profiles a profile leans on.

    Parameters
    ----------
    machines : tuple of str
    unlike : float
        Chance that the machine is not of their kind, by its own entries.
    """

    machines: Annotated[tuple[Name, ...], Field(strict=False, min_length=1, max_length=200)]
    unlike: Annotated[float, Field(ge=0, le=1)]


class Carried(StrictModel):
    """What a profile takes over from the machine itself, from before a change.

    Parameters
    ----------
    material, nozzle_mm, layer_height_mm
        What they were before.
    pairs : tuple of str
        Machines whose profiles on both sides show what the change does.
    over : tuple of str
        Terms that carry over.
    moved : dict of str to float
        By how much the change moves those of them that it moves, on all machines alike.
    anew : tuple of str
        Terms that were known before and are learned anew.
    unlike : float
        Chance that the machine did not change as the pairs did, by its own entries.
    """

    material: Name
    nozzle_mm: Nozzle
    layer_height_mm: LayerHeight
    pairs: Annotated[tuple[Name, ...], Field(strict=False, min_length=1, max_length=200)]
    over: Terms
    moved: Annotated[dict[Term, Mean], Field(max_length=_N)]
    anew: Terms
    unlike: Annotated[float, Field(ge=0, le=1)]


class Profile(StrictModel):
    """Posterior of the model for one machine with one material, for its next print.

    Parameters
    ----------
    means : dict of str to float
        Posterior mean of every term: scales and skew as ratios, the rest in mm.
    covariance : tuple of float
        Lower triangle of the terms' posterior covariance, row by row, in the order of ``means``.
    scatters : dict of str to LogSpread
        Feature to feature (``tau``, ``tau_z``), caliper (``sigma``), judgement (``omega``), print
        to print (all others).
    prior : str
        Name of the table of priors that the fit used.
    first_layer_height_mm, slicing : optional
        Conditions of the last print, if they were filled in.
    differs_in : tuple of str, optional
        Conditions in which the fitted prints differ.
    contact_mm : (float, float, float), optional
        Shortest, usual (median) and longest contact of the trials, where the coupons record it.
    hand : Hand, optional
        Whose hand it is, where it is that of one person who is named.
    prints : tuple of str, optional
        Ids of the prints that were fitted, where their records have one.
    like : Like, optional
        Machines that the profile leans on; its ranges and counts of prints then hold theirs too.
    carried : Carried, optional
        What it takes over from before a change; ranges and counts hold those of that profile too.
    """

    format: Literal["offset-profile"] = "offset-profile"
    version: Literal[1, 2, 3] = 3
    made_with: Name = f"coupons {__version__}"
    machine: Name
    material: Name
    nozzle_mm: Nozzle
    layer_height_mm: LayerHeight
    printed_on: Annotated[date, Field(strict=False)] | None = None
    rehearsed: bool
    counts: Counts
    measured: tuple[MeasuredRange, ...]
    means: dict[str, Mean]
    covariance: tuple[Covariance, ...]
    scatters: dict[str, LogSpread]
    prior: Literal["extrusion"] = "extrusion"
    without: tuple[str, ...] = ()
    first_layer_height_mm: LayerHeight | None = None
    slicing: Slicing | None = None
    differs_in: tuple[Differing, ...] = ()
    contact_mm: Annotated[tuple[Size, Size, Size], Field(strict=False)] | None = None
    hand: Hand | None = None
    prints: tuple[PrintId, ...] = ()
    like: Like | None = None
    carried: Carried | None = None
    coupons: tuple[str, ...]
    entries_sha256: str

    @model_validator(mode="after")
    def _whole(self) -> Self:
        n_numbers = _N * (_N + 1) // 2
        if tuple(self.means) != TERMS:
            raise ValueError(f"means of the {_N} terms {', '.join(TERMS)}, in this order")
        if len(self.covariance) != n_numbers:
            raise ValueError(f"covariance of {n_numbers} numbers, got {len(self.covariance)}")
        scatters = tuple(self.prior_table.scatters)
        if tuple(self.scatters) != scatters:
            raise ValueError(f"scatters {', '.join(scatters)}, in this order")
        if len(self.counts.informing) != len(self.prior_table.prints):
            raise ValueError(f"by_print_effect of {len(self.prior_table.prints)} counts")
        thresholds = [self.means[f"from_{grade}"] for grade in THRESHOLDS]
        if thresholds != sorted(thresholds):
            found = ", ".join(f"{mm:g}" for mm in thresholds)
            raise ValueError(f"thresholds that rise from {' to '.join(THRESHOLDS)}, got {found}")
        if np.linalg.eigvalsh(self.covariance_matrix)[0] < -1e-9:
            raise ValueError("a covariance matrix without negative eigenvalues")
        return self

    @cached_property
    def mean_vector(self) -> Array:
        """Posterior means, in the order of `coupons.learning.effects.TERMS`."""
        return np.array(list(self.means.values()))

    @cached_property
    def covariance_matrix(self) -> Array:
        """Posterior covariance of the terms, shape (n_terms, n_terms)."""
        matrix = np.zeros((_N, _N))
        matrix[np.tril_indices(_N)] = self.covariance
        return matrix + np.tril(matrix, -1).T

    @cached_property
    def print_moves(self) -> Array:
        """By how much each print effect moves each term, shape (n_terms, n_print_effects)."""
        of_effects = print_moves(self.prior_table)
        return np.pad(of_effects, ((0, _N - len(of_effects)), (0, 0)))

    @cached_property
    def taught_shift(self) -> TaughtShift:
        """What is left in the terms of the print effects of the prints that taught them."""
        prior_variance = prior_sd(self.prior_table) ** 2
        return taught_shift(
            self.covariance_matrix,
            prior_variance,
            self.print_moves,
            self.print_spreads,
            self.counts.informing,
        )

    @cached_property
    def print_spreads(self) -> tuple[LogSpread, ...]:
        """How large each print effect is."""
        return tuple(
            self.scatters[effect.scatter].times(effect.share) for effect in self.prior_table.prints
        )

    @cached_property
    def print_squares(self) -> Array:
        """Mean square of each print effect in mm², shape (n_print_effects,)."""
        return np.array([spread.mean_square for spread in self.print_spreads])

    @cached_property
    def _nodes(self) -> dict[tuple[str, ...], PrintNodes]:
        return {}

    def print_nodes(self, over: tuple[str, ...]) -> PrintNodes:
        """Return what answers are averaged over, as scatters are known only roughly.

        Parameters
        ----------
        over : tuple of str
            Names of the scatters to average over; all others stand at their mean squares.
        """
        if over not in self._nodes:
            self._nodes[over] = self._laid_out(over)
        return self._nodes[over]

    def _laid_out(self, over: tuple[str, ...]) -> PrintNodes:
        rules = [self.scatters[name].variance_rule() for name in over]
        grid = np.meshgrid(*(squares for squares, _ in rules), indexing="ij")
        weights = np.ones(1)
        for _, rule in rules:
            weights = np.outer(weights, rule).ravel()
        at = {name: squares.ravel() for name, squares in zip(over, grid, strict=True)}
        squares = np.stack(
            [
                effect.share**2
                * at.get(effect.scatter, np.full(len(weights), self._mean_square(effect.scatter)))
                for effect in self.prior_table.prints
            ],
            axis=-1,
        )
        return PrintNodes(squares, self.taught_shift.covariance(squares), weights)

    def _mean_square(self, scatter: str) -> float:
        return self.scatters[scatter].mean_square

    @property
    def prior_table(self) -> PriorTable:
        """The priors that the fit started from."""
        return PRIORS[self.version]
