"""Design matrices: every size, reading and trial of one or several runs as arrays."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coupons.errors import FitError
from coupons.learning.bending import gives_of
from coupons.learning.effects import (
    EFFECTS,
    LOSSES,
    ZEROED,
    effect_row,
    height_share,
    loss_row,
    side,
)
from coupons.learning.pair_contact import contact_of_pair_mm, contacts_mm
from coupons.making.record import CouponFeature
from coupons.measuring.jaws import bore_from_reading
from coupons.measuring.run.entries import FitEntry, SizeEntry
from coupons.measuring.run.folder import Run, prints_of
from coupons.measuring.run.tried_joints import PartEntry
from coupons.terms import GRADES, INTERNAL, ROUND, Direction, Feature, Form, Jaws, Seam

Array = NDArray[np.floating]
Indices = NDArray[np.intp]


@dataclass(frozen=True)
class Sizes:
    """The n sizes that take part: printed features and bought mates, each once a run.

    Parameters
    ----------
    keys : tuple of (int, str)
        Run, and feature or name of the bought mate.
    drawn : ndarray of shape (n,)
        Drawn sizes in mm; of a bought mate its mean size.
    effects : ndarray of shape (n, n_effects)
        Of each effect in the printed size, in mm a unit of the effect.
    z_share : ndarray of shape (n,)
        How much of the size lies along z: 1 across layers, ½ for a round lying down.
    run : ndarray of int of shape (n,)
    fixed_sd : ndarray of shape (n,)
        In mm: of a bought mate the standard deviation of its tolerance, nan for a printed size.
    in_print : ndarray of int of shape (n,), optional
        In which print each is, where runs share one; each run is a print of its own if not given.
    """

    keys: tuple[tuple[int, str], ...]
    drawn: Array
    effects: Array
    z_share: Array
    run: Indices
    fixed_sd: Array
    in_print: Indices | None = None

    @property
    def prints(self) -> Indices:
        """In which print each size is."""
        return self.run if self.in_print is None else self.in_print

    @property
    def is_printed(self) -> NDArray[np.bool_]:
        """Which sizes are printed, not bought."""
        return np.isnan(self.fixed_sd)

    def runs_with(self, print_effects: Array) -> tuple[int, ...]:
        """Count, for each print effect, the prints that hold a size on which it acts.

        Parameters
        ----------
        print_effects : ndarray of shape (n, n_print_effects)
            See `coupons.learning.effects.print_rows`.
        """
        return tuple(len(np.unique(self.prints[column != 0])) for column in print_effects.T)


@dataclass(frozen=True)
class Readings:
    """Caliper readings: which size, and the reading after jaw correction.

    Parameters
    ----------
    size : ndarray of int of shape (n,)
    value : ndarray of shape (n,)
        In mm.
    effects : ndarray of shape (n, n_effects)
        What a reading has beyond the size: a round feature can be read along one axis.
    jaws : ndarray of int of shape (n,)
        Which of the zero errors of its run's caliper is in it, by place in `ZEROED`; −1 for none.
    resolution : ndarray of shape (n,)
        Of the caliper, in mm.
    uncertainty : ndarray of shape (n,)
        Standard uncertainty of the instrument as its certificate says it, in mm; 0 if none does.
    gives : ndarray of shape (n,)
        How much longer it reads as jaws bend a rule: mm a mm² of force over modulus; outside < 0.
    row : ndarray of int of shape (n,)
        Entry rows.
    """

    size: Indices
    value: Array
    effects: Array
    jaws: Indices
    resolution: Array
    uncertainty: Array
    gives: Array
    row: Indices

    @property
    def least_variance(self) -> Array:
        """What a reading scatters by at least, in mm²: its rounding and its uncertainty."""
        least: Array = self.resolution**2 / 12 + self.uncertainty**2
        return least


@dataclass(frozen=True)
class Trials:
    """Fit trials.

    Parameters
    ----------
    internal, external : ndarray of int of shape (n,)
        The two sizes of each trial.
    tightest, loosest : ndarray of int of shape (n,)
        Ranks of the set of grades that was reported; equal where it was one grade.
    losses : ndarray of shape (n, n_losses)
        Of each loss in the clearance.
    hand : ndarray of int of shape (n,)
        Who tried, by place in the design's ``hands``.
    row : ndarray of int of shape (n,)
        Entry rows.
    """

    internal: Indices
    external: Indices
    tightest: Indices
    loosest: Indices
    losses: Array
    hand: Indices
    row: Indices

    @property
    def grades_in_set(self) -> Array:
        """Number of grades that each report leaves open: a lapse is equally likely on any grade."""
        return self.loosest - self.tightest + 1.0


@dataclass(frozen=True)
class Design:
    """Everything a fit needs. Lengths in mm; ``row`` arrays hold the entry rows they came from.

    Parameters
    ----------
    sizes : Sizes
    readings : Readings
    trials : Trials
    n_runs : int
    hands : tuple of str
        Who tried. One person alone is not told from people at large.
    datums : ndarray of shape (n_sizes, n_datums), optional
        For each face from which several sizes start, how it enters each size when it stands proud
        by its own deviation: 1 in external ones, −1 in internal ones, 0 where it is no face.
    """

    sizes: Sizes
    readings: Readings
    trials: Trials
    n_runs: int
    hands: tuple[str, ...] = ("",)
    datums: Array | None = None

    @property
    def shared_faces(self) -> Array:
        """The same as ``datums``, without columns where no size shares a face."""
        return np.zeros((len(self.sizes.drawn), 0)) if self.datums is None else self.datums


def as_feature(feature: CouponFeature) -> Feature:
    """Return the sized feature that a coupon feature is."""
    on_bed = stands_on_bed(feature)
    return Feature(feature.form, feature.size_mm, feature.direction, feature.at_bed, on_bed)


def stands_on_bed(feature: CouponFeature) -> bool:
    """Tell whether the lower face of a coupon's feature is the first layer.

    Where the record does not say it, heights of outer forms are printed from the bed upwards, and
    windows have a floor.
    """
    if feature.on_bed is not None:
        return feature.on_bed
    return feature.form is Form.TONGUE and feature.direction is Direction.Z


def shows_seam(*pair: CouponFeature | None) -> bool:
    """Tell whether one of a pair is a standing pin whose seam is known to stand proud."""
    return any(
        each is not None and each.seam is Seam.SHOWN and each.direction is Direction.Z
        for each in pair
    )


def zeroed_by(jaws: Jaws) -> int:
    """Return which zero error is in a reading with these jaws: its place in `ZEROED`, or −1."""
    return ZEROED.index(jaws) if jaws in ZEROED else -1


class SizeTable:
    """Collects the sizes that take part, each (run, id) once."""

    def __init__(self) -> None:
        self.index: dict[tuple[int, str], int] = {}
        self.rows: list[tuple[float, Array, float, int, float]] = []

    def printed(self, run: int, key: str, feature: Feature) -> int:
        """Return the index of a printed size."""
        row = (feature.size_mm, effect_row(feature), height_share(feature), run, np.nan)
        return self._index((run, key), row)

    def bought(self, run: int, key: str, size_mm: float, sd_mm: float) -> int:
        """Return the index of a bought mate's size, on which the printer has no effect."""
        return self._index((run, key), (size_mm, np.zeros(len(EFFECTS)), 0.0, run, sd_mm))

    def _index(self, key: tuple[int, str], row: tuple[float, Array, float, int, float]) -> int:
        if key not in self.index:
            self.index[key] = len(self.rows)
            self.rows.append(row)
        return self.index[key]

    def frozen(self) -> Sizes:
        """Return the sizes met so far."""
        drawn, effects, z_share, run, fixed_sd = zip(*self.rows, strict=True)
        return Sizes(
            tuple(self.index),
            np.array(drawn),
            np.array(effects),
            np.array(z_share),
            np.array(run, np.intp),
            np.array(fixed_sd),
        )


def design_of(runs: Sequence[Run]) -> Design:
    """Build the arrays for a fit.

    Parameters
    ----------
    runs : sequence of Run
        Prints of one machine and material.

    Raises
    ------
    FitError
        If no run holds a single result.
    """
    table = SizeTable()
    readings = [r for n, run in enumerate(runs) for r in _reading_rows(table, n, run)]
    hands = tuple(sorted({fit.by for run in runs for fit in run.fits})) or ("",)
    trials = [t for n, run in enumerate(runs) for t in _trial_rows(table, n, run, hands)]
    if not table.rows:
        raise FitError("The entries hold no result yet: type what hands and caliper found first.")
    sizes = table.frozen()
    in_print = prints_of(runs)
    if len(set(in_print)) < len(runs):
        sizes = replace(sizes, in_print=np.array(in_print, np.intp)[sizes.run])
    return Design(
        sizes, readings_of(readings), trials_of(trials), len(runs), hands, _datums(table, runs)
    )


def _datums(table: SizeTable, runs: Sequence[Run]) -> Array | None:
    """Return how the faces from which several sizes start enter those that take part."""
    columns = []
    for n, run in enumerate(runs):
        forms = {feature.id: feature.form for feature in run.coupon.features}
        for ids in run.coupon.part.datums.values() if run.coupon.part else ():
            column = np.zeros(len(table.rows))
            for id_ in ids:
                if (n, id_) in table.index:
                    column[table.index[n, id_]] = side(forms[id_])
            if np.count_nonzero(column) > 1:
                columns.append(column)
    return np.column_stack(columns) if columns else None


def beyond_size(feature: Feature, along: str | None) -> Array:
    """Return the effects that a reading along an axis has beyond the size."""
    beyond: Array = effect_row(feature, along) - effect_row(feature)
    return beyond


def _features(run: Run) -> dict[str, CouponFeature]:
    return {feature.id: feature for feature in run.coupon.features}


def _reading_rows(table: SizeTable, n: int, run: Run) -> Iterable[tuple[object, ...]]:
    features = _features(run)
    caliper = run.conditions.caliper
    for entry, gives in zip(run.sizes, gives_of(run.sizes, run.coupon), strict=True):
        feature = features[entry.feature]
        f = as_feature(feature)
        yield (
            table.printed(n, feature.id, f),
            _true_size(entry, f, caliper.jaw_land_mm),
            beyond_size(f, entry.along),
            zeroed_by(entry.jaws),
            caliper.resolution_mm,
            caliper.uncertainty_mm,
            gives,
            entry.row,
        )


def _true_size(entry: SizeEntry, feature: Feature, land_mm: float) -> float:
    """Undo the caliper's zero, and the chord that flat inside jaws bridge in a bore."""
    if feature.form is Form.HOLE and entry.jaws is Jaws.INSIDE:
        return bore_from_reading(entry.size_mm, land_mm)
    return entry.size_mm


def _trial_rows(
    table: SizeTable, n: int, run: Run, hands: Sequence[str]
) -> Iterable[tuple[object, ...]]:
    features, contacts = _features(run), contacts_mm(run.coupon)
    for entry in run.fits:
        if (entry.tightest, entry.loosest) == (GRADES[0], GRADES[-1]):
            continue  # every grade is possible: nothing was reported
        feature = features[entry.feature]
        fixed = table.printed(n, feature.id, as_feature(feature))
        mate = _mate_index(table, n, run, features, entry)
        internal, external = (fixed, mate) if feature.form in INTERNAL else (mate, fixed)
        yield (
            internal,
            external,
            GRADES.index(entry.tightest),
            GRADES.index(entry.loosest),
            loss_row(
                feature.form in ROUND,
                feature.direction,
                shows_seam(feature, features.get(entry.mate)),
                _contact_mm(entry, contacts),
            ),
            hands.index(entry.by),
            entry.row,
        )


def _contact_mm(entry: FitEntry, contacts: dict[str, float]) -> float | None:
    """Return over which length a pair bears; of parts each trial says it for itself."""
    if isinstance(entry, PartEntry):
        return entry.contact_mm
    return contact_of_pair_mm(contacts, entry.feature, entry.mate)


def _mate_index(
    table: SizeTable, n: int, run: Run, features: dict[str, CouponFeature], entry: FitEntry
) -> int:
    if entry.mate in features:
        return table.printed(n, entry.mate, as_feature(features[entry.mate]))
    piece = next(h for h in run.coupon.hardware if h.id == entry.mate)
    return table.bought(n, piece.id, piece.size_mm, piece.sd_mm)


def _columns(rows: list[tuple[object, ...]], n_columns: int) -> list[list[object]]:
    return [list(column) for column in zip(*rows, strict=True)] if rows else [[]] * n_columns


def readings_of(rows: list[tuple[object, ...]]) -> Readings:
    """Turn rows of the fields of `Readings` into arrays."""
    size, value, effects, jaws, resolution, uncertainty, gives, row = _columns(rows, 8)
    return Readings(
        np.array(size, np.intp),
        np.array(value, float),
        np.array(effects, float).reshape(-1, len(EFFECTS)),
        np.array(jaws, np.intp),
        np.array(resolution, float),
        np.array(uncertainty, float),
        np.array(gives, float),
        np.array(row, np.intp),
    )


def trials_of(rows: list[tuple[object, ...]]) -> Trials:
    """Turn rows of the fields of `Trials` into arrays."""
    internal, external, tightest, loosest, losses, hand, row = _columns(rows, 7)
    return Trials(
        np.array(internal, np.intp),
        np.array(external, np.intp),
        np.array(tightest, np.intp),
        np.array(loosest, np.intp),
        np.array(losses, float).reshape(-1, len(LOSSES)),
        np.array(hand, np.intp),
        np.array(row, np.intp),
    )
