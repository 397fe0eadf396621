"""``profile.json``: the posterior for one machine with one material, in a file of a few kilobytes.

The file holds everything that an answer needs: answers from it equal the answers at fit time.
"""

import errno
import hashlib
import json
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from coupons import __version__
from coupons.atomic import write_text
from coupons.errors import Problem, ProfileError
from coupons.learning.contact import contacts_tried_mm
from coupons.learning.effects import (
    EXTRUSION,
    EXTRUSION_2,
    SCATTERS,
    TERMS,
    THRESHOLDS,
    PriorTable,
    print_moves,
    print_rows,
    prior_sd,
)
from coupons.learning.impossible import doubt_aloud
from coupons.learning.print_effects import TaughtShift, taught_shift
from coupons.measuring.run.conditions import LayerHeight, Name, Nozzle, Slicing
from coupons.measuring.run.differing import Differing, differences
from coupons.measuring.run.entries import LARGEST_MM
from coupons.measuring.run.folder import Run, prints_of
from coupons.measuring.validation import problems_of
from coupons.neutral import one_line
from coupons.reading import read_plain
from coupons.terms import Direction, Form

if TYPE_CHECKING:  # reading a profile needs no fit, and a fit takes long to import
    from coupons.learning.fit import Fitted

Array = NDArray[np.floating]

FILE = "profile.json"
VERSION = 3
MAX_BYTES = 6144
MOST_BYTES = 65536
"""More than these are not read: a profile may come from a stranger."""
PRIORS: dict[int, PriorTable] = {1: EXTRUSION_2, 2: EXTRUSION_2, 3: EXTRUSION}
"""The model that a profile of each version is of."""

# Significant digits kept of means and of covariances: far below what matters.
_DIGITS, _COVARIANCE_DIGITS = 5, 4
_COVARIANCE_ROUNDING = 10.0**-_COVARIANCE_DIGITS
_NOISE = 1e-15
_N = len(TERMS)
_OLDER = (1, 2)
# Terms of these versions, in their order.
_TERMS_2 = tuple(name for name, sd in zip(TERMS, prior_sd(EXTRUSION_2), strict=True) if sd > 0)

_MOST_TOLD = 20  # faults of one file; a hostile one has room for thousands
_TODO = "Run `coupons fit` again, or ask its owner for a whole copy"

# In mm and mm²: a hundred times the error of any printer, and small enough to calculate with.
Mean = Annotated[float, Field(gt=-10, lt=10)]
Covariance = Annotated[float, Field(gt=-100, lt=100)]
Size = Annotated[float, Field(gt=0, le=LARGEST_MM)]
Ends = Annotated[tuple[Size, Size], Field(strict=False)]
PrintId = Annotated[str, Field(pattern="^[0-9a-f]{16}$")]
Count = Annotated[int, Field(ge=0, le=1_000_000)]

# Gauss–Hermite rule for a standard normal, to average over scatters that are known only roughly.
NORMAL_NODES, NORMAL_WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
NORMAL_WEIGHTS = NORMAL_WEIGHTS / NORMAL_WEIGHTS.sum()


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


class LogSpread(_Frozen):
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


class MeasuredRange(_Frozen):
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


class Counts(_Frozen):
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


class Hand(_Frozen):
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


class Like(_Frozen):
    """Other machines of the same kind whose profiles a profile leans on.

    Parameters
    ----------
    machines : tuple of str
    unlike : float
        Chance that the machine is not of their kind, by its own entries.
    """

    machines: Annotated[tuple[Name, ...], Field(strict=False, min_length=1, max_length=200)]
    unlike: Annotated[float, Field(ge=0, le=1)]


class Profile(_Frozen):
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

    @property
    def print_spreads(self) -> tuple[LogSpread, ...]:
        """How large each print effect is."""
        return tuple(
            self.scatters[effect.scatter].times(effect.share) for effect in self.prior_table.prints
        )

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


def profile_of(
    fitted: "Fitted",
    runs: Sequence[Run],
    without: Sequence[str] = (),
    entries_sha256: str | None = None,
) -> Profile:
    """Return the profile of a fit.

    Parameters
    ----------
    fitted : Fitted
    runs : sequence of Run
        What was fitted.
    without : sequence of str
        Rows that were left out, as `coupons.learning.without.leave_out` names them.
    entries_sha256 : str, optional
        See `entries_digest`; read from the folders of the runs if not given.

    Raises
    ------
    ProfileError
        If the runs are of different machines or materials.
    """
    _same_machine(runs)
    last = max(runs, key=lambda run: run.conditions.printed_on or date.min).conditions
    sizes = fitted.design.sizes
    informing = sizes.runs_with(print_rows(sizes.effects, fitted.mixture.model.table))
    log_sds = {name: fitted.mixture.log_sd_moments(name) for name in SCATTERS}
    return Profile(
        machine=last.machine,
        material=last.material,
        nozzle_mm=last.nozzle_mm,
        layer_height_mm=last.layer_height_mm,
        printed_on=last.printed_on,
        rehearsed=any(run.conditions.rehearsed for run in runs),
        counts=Counts(
            runs=len(set(prints_of(runs))),
            by_print_effect=informing,
            hands=len(fitted.design.hands),
            sizes=len(fitted.design.sizes.drawn),
            readings=len(fitted.design.readings.value),
            trials=len(fitted.design.trials.internal),
        ),
        measured=_measured(runs),
        means={name: _short(value) for name, value in zip(TERMS, fitted.mean, strict=True)},
        covariance=_short_covariance(_for_people_at_large(fitted)),
        scatters=_log_spreads(log_sds),
        without=tuple(map(one_line, without)),
        first_layer_height_mm=last.first_layer_height_mm,
        slicing=last.slicing if last.slicing != Slicing() else None,
        differs_in=tuple(one.key for one in differences(runs)),
        contact_mm=contacts_tried_mm(runs),
        hand=_only_hand(fitted.design.hands, runs),
        prints=tuple(run.coupon.run.id for run in runs if run.coupon.run is not None),
        coupons=tuple(run.coupon.spec.name for run in runs),
        entries_sha256=entries_sha256 or entries_digest([run.sheet_path for run in runs]),
    )


def _only_hand(hands: Sequence[str], runs: Sequence[Run]) -> Hand | None:
    """Return the person who made all trials, if named; nobody made those of a rehearsal."""
    rehearsed = any(run.conditions.rehearsed for run in runs)
    return Hand(by=one_line(hands[0])) if len(hands) == 1 and hands[0] and not rehearsed else None


def _for_people_at_large(fitted: "Fitted") -> Array:
    """Return the covariance of the terms, for a hand that is none of those that tried.

    With several people thresholds are those of people at large. One more person's deviation from
    them moves all thresholds alike, at every joint. One person alone is taken to ask for himself.
    """
    if len(fitted.design.hands) < 2:
        return fitted.covariance
    first = TERMS.index(f"from_{THRESHOLDS[0]}")
    thresholds = slice(first, first + len(THRESHOLDS))
    covariance = fitted.covariance.copy()
    covariance[thresholds, thresholds] += fitted.mixture.model.table.hand.sd**2
    return covariance


def with_posterior(
    profile: Profile,
    mean: Array,
    covariance: Array,
    log_scatters: dict[str, tuple[float, float]],
    **others: Any,
) -> Profile:
    """Return a profile with another posterior, rounded as in a file.

    Parameters
    ----------
    profile : Profile
        Of today's version.
    mean : ndarray of shape (n_terms,)
    covariance : ndarray of shape (n_terms, n_terms)
    log_scatters : dict of str to (float, float)
        Mean and sd of the logarithm of every scatter.
    **others
        Fields to replace.
    """
    return profile.model_copy(
        update={
            "means": {name: _short(value) for name, value in zip(TERMS, mean, strict=True)},
            "covariance": _short_covariance(covariance),
            "scatters": _log_spreads(log_scatters),
            **others,
        }
    )


def _log_spreads(log_scatters: dict[str, tuple[float, float]]) -> dict[str, LogSpread]:
    return {
        name: LogSpread(median_mm=_short(math.exp(mean)), log_sd=_short(sd))
        for name, (mean, sd) in log_scatters.items()
    }


def _with_all_terms(data: dict[str, Any]) -> dict[str, Any]:
    """Return the data of a profile of version 1 or 2 with today's terms.

    Data that are not as they should be are returned as they are, for the checks to tell.
    """
    means, lower = data.get("means"), data.get("covariance")
    n = len(_TERMS_2)
    if not (isinstance(means, dict) and tuple(means) == _TERMS_2):
        return data
    if not (isinstance(lower, list) and len(lower) == n * (n + 1) // 2):
        return data
    if not all(isinstance(number, int | float) for number in lower):
        return data
    place = [TERMS.index(name) for name in _TERMS_2]
    whole, small = np.zeros((_N, _N)), np.zeros((n, n))
    small[np.tril_indices(n)] = lower
    small += np.tril(small, -1).T
    whole[np.ix_(place, place)] = small
    return {
        **data,
        "means": {name: means.get(name, 0.0) for name in TERMS},
        "covariance": whole[np.tril_indices(_N)].tolist(),
    }


def _short(value: float, digits: int = _DIGITS) -> float:
    # Rounding noise of terms that have nothing to do with each other is written as what it is.
    return float(f"{value:.{digits}g}") if abs(value) > _NOISE else 0.0


def _short_covariance(covariance: Array) -> tuple[float, ...]:
    """Round the lower triangle of a covariance so that it stays one.

    Rounding can take more from a combination of terms than is known of it; as much is then added to
    the variances of all terms, in their own proportion.
    """
    sds = np.sqrt(np.diag(covariance))
    ratios = covariance / np.outer(sds, sds)
    lower = np.tril_indices(_N)
    more = 0.0
    while True:
        wider = (ratios + more * np.eye(_N)) * np.outer(sds, sds)
        rounded = [_short(value, _COVARIANCE_DIGITS) for value in wider[lower]]
        matrix = np.zeros((_N, _N))
        matrix[lower] = rounded
        matrix += np.tril(matrix, -1).T
        least = np.linalg.eigvalsh(matrix / np.outer(sds, sds))[0]
        if least >= 0:
            return tuple(rounded)
        more += _COVARIANCE_ROUNDING


def _same_machine(runs: Sequence[Run]) -> None:
    first = runs[0].conditions
    problems = [
        Problem(str(run.folder), f"{key} {getattr(first, key)!r} as in {runs[0].folder}", repr(got))
        for run in runs[1:]
        for key in ("machine", "material")
        if (got := getattr(run.conditions, key)) != getattr(first, key)
    ]
    if problems:
        raise ProfileError(problems)


def _measured(runs: Sequence[Run]) -> tuple[MeasuredRange, ...]:
    read: dict[tuple[Form, Direction], list[float]] = {}
    tried: dict[tuple[Form, Direction], list[float]] = {}
    for run in runs:
        of_fits = {one for entry in run.fits for one in (entry.feature, entry.mate)}
        of_sizes = {entry.feature for entry in run.sizes}
        for f in run.coupon.features:
            for used, sizes in ((of_fits, tried), (of_sizes, read)):
                if f.id in used:
                    sizes.setdefault((f.form, f.direction), []).append(f.size_mm)
    return tuple(
        MeasuredRange(
            form=form,
            direction=direction,
            low_mm=min(found),
            high_mm=max(found),
            tried_mm=_ends(tried.get((form, direction))),
            read_mm=_ends(read.get((form, direction))),
        )
        for form, direction in sorted(read | tried)
        for found in (read.get((form, direction), []) + tried.get((form, direction), []),)
    )


def _ends(sizes_mm: list[float] | None) -> tuple[float, float] | None:
    return (min(sizes_mm), max(sizes_mm)) if sizes_mm else None


def entries_digest(sheets: Sequence[Path]) -> str:
    """Return the SHA-256 of the sheets of some runs, one after the other, in hexadecimal."""
    digest = hashlib.sha256()
    for path in sheets:
        digest.update(read_plain(path))
    return digest.hexdigest()


# Left out of the file where there is nothing to say.
_WHERE_SAID = ("without", "first_layer_height_mm", "slicing", "differs_in", "prints")


def profile_text(profile: Profile) -> str:
    """Return the JSON text of a profile, one key a line so that two can be compared by eye."""
    data = profile.model_dump(mode="json", exclude_none=True)
    for key in _WHERE_SAID:
        if not data.get(key):
            data.pop(key, None)
    lower = data["covariance"]
    texts = {
        key: json.dumps(_whole_as_whole(value), ensure_ascii=False, separators=(",", ":"))
        for key, value in data.items()
    }
    texts["covariance"] = f"[{','.join(map(_shortest, lower))}]"
    body = ",\n".join(f" {json.dumps(key)}: {text}" for key, text in texts.items())
    return "{\n" + body + "\n}\n"


def _whole_as_whole(value: Any) -> Any:
    """Return data with 3.0 as 3, which is as good JSON and two characters shorter."""
    if isinstance(value, dict):
        return {key: _whole_as_whole(one) for key, one in value.items()}
    if isinstance(value, list):
        return [_whole_as_whole(one) for one in value]
    return int(value) if isinstance(value, float) and value.is_integer() else value


def _shortest(value: float) -> str:
    """Write a number as JSON in as few characters as can be: 1.234e-05 as 1234e-8.

    Examples
    --------
    >>> [_shortest(value) for value in (0.0, 0.25, 0.001234, -1.234e-05, 2.0)]
    ['0', '0.25', '1234e-6', '-1234e-8', '2']
    """
    sign, digits, exponent = Decimal(repr(value)).normalize().as_tuple()
    figures = "-" * sign + "".join(map(str, digits))
    by_power = f"{figures}e{exponent}" if exponent else figures
    return min(by_power, repr(value), key=len)


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema of a profile; ``profile.schema.json`` in this folder holds it."""
    schema = Profile.model_json_schema(mode="validation")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}


def write_profile(profile: Profile, path: Path) -> None:
    """Write a profile in one step."""
    write_text(path, profile_text(profile))


def is_profile(data: bytes) -> bool:
    """Tell whether bytes are a profile, even a damaged one or one of a later version."""
    return b'"offset-profile"' in data


def read_profile(path: str | Path) -> Profile:
    """Read a profile of any version ever released.

    Parameters
    ----------
    path : str or Path
        The file, or the folder of a run that holds it. Values that are not plausible for any
        printer are warned of; see `coupons.learning.impossible`.

    Raises
    ------
    ProfileError
        If it is missing, truncated, not a profile, of a later version, or breaks its schema.
    """
    path = Path(path)
    if path.is_dir():
        path = path / FILE
    data = _load(path)
    if not isinstance(data, dict) or data.get("format") != "offset-profile":
        todo = "Give the profile.json that `coupons fit` wrote"
        raise ProfileError([Problem(str(path), "an offset profile", "another file", todo)])
    version = data.get("version")
    if isinstance(version, int) and version > VERSION:
        todo = "Update this tool, or ask for the profile in the older version"
        got = f"version {version}"
        raise ProfileError([Problem(str(path), f"version {VERSION} or older", got, todo)])
    if version in _OLDER:
        data = _with_all_terms(data)
    try:
        profile = Profile.model_validate_json(json.dumps(data))
    except ValidationError as error:
        problems = problems_of(error, Profile, str(path))
        told = [replace(problem, todo=_TODO) for problem in problems[:_MOST_TOLD]]
        if len(problems) > _MOST_TOLD:
            told.append(Problem(str(path), "a profile", f"{len(problems)} errors in all", _TODO))
        raise ProfileError(told) from None
    doubt_aloud(profile)
    return profile


def _load(path: Path) -> Any:
    try:
        return json.loads(read_plain(path, MOST_BYTES).decode("utf-8-sig"))
    except (FileNotFoundError, IsADirectoryError):
        todo = "Run `coupons fit` on a run folder first"
        problem = Problem(str(path), "a profile", "no such file", todo)
    except OSError as error:
        todo = "A profile is a file of a few kilobytes: ask for the profile itself"
        what = ("a file that can be read", error.strerror or "none")
        if error.errno == errno.EFBIG:
            what = (f"at most {MOST_BYTES} bytes", "more")
        problem = Problem(str(path), *what, todo)
    except (json.JSONDecodeError, UnicodeDecodeError) as error:
        problem = Problem(str(path), "whole JSON text", f"an error ({error})", _TODO)
    except (ValueError, RecursionError):  # escape the parser's own error
        got = "a number of thousands of digits, or thousands of nested brackets"
        problem = Problem(str(path), "whole JSON text", got, _TODO)
    raise ProfileError([problem])
