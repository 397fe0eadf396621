"""Observations as one numeric table, one row each, for general-purpose learning tools.

==================  ==============================================================================
column              what it holds
==================  ==============================================================================
``kind``            0 a caliper reading, 1 a fit trial
``run``             which print, any whole number
``feature``         which feature of it, any whole number: rows of one feature share its deviation
``form``            0 pin, 1 tongue, 2 hole, 3 slot
``direction``       0 x, 1 y, 2 z, 3 x+y, 4 x-y
``at_bed``          1 if the size is met at the first layer
``on_bed``          1 if the lower of its faces across layers is the first layer
``drawn_mm``        its drawn size
``along``           axis of a reading of a round feature: 0 x, 1 y, 2 z, −1 none
``jaws``            jaws of a reading: 0 outside, 1 inside, −1 others, and for trials
``resolution_mm``   smallest step of the caliper; 0 for trials
``mate``            trials: which feature or bought piece was tried; −1 for readings
``mate_form``       and its form, direction and sizes as above; 0 for readings
``mate_direction``
``mate_at_bed``
``mate_on_bed``
``mate_drawn_mm``
``mate_sd_mm``      standard deviation of a bought piece, −1 for a printed one
``width``           how many grades beyond the tightest the person left open
``contact_mm``      trials: length over which the two bear on each other; 0 where not known
``seam``            trials: 1 if the seam of a standing pin is known to stand proud
``uncertainty_mm``  readings: standard uncertainty of the instrument, where that is known; else 0
``gives_per_mm``    readings: how much longer a rule reads as jaws bend it, for each mm² of their
                    force over the modulus of the plastic; 0 for all that is no rule
==================  ==============================================================================

The value to learn is the size read in mm (after correction for the jaws), or the rank of the
tightest grade reported: 0 no-go … 4 loose.
"""

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from coupons.errors import FitError
from coupons.learning.bending import gives_of
from coupons.learning.design import (
    Design,
    SizeTable,
    beyond_size,
    design_of,
    readings_of,
    shows_seam,
    stands_on_bed,
    trials_of,
    zeroed_by,
)
from coupons.learning.effects import ZEROED, loss_row
from coupons.learning.pair_contact import contact_of_pair_mm, contacts_mm
from coupons.making.record import Coupon, CouponFeature
from coupons.measuring.run.folder import Run
from coupons.terms import GRADES, INTERNAL, ROUND, Direction, Feature, Form

Array = NDArray[np.floating]
Indices = NDArray[np.intp]

COLUMNS = (
    "kind",
    "run",
    "feature",
    "form",
    "direction",
    "at_bed",
    "on_bed",
    "drawn_mm",
    "along",
    "jaws",
    "resolution_mm",
    "mate",
    "mate_form",
    "mate_direction",
    "mate_at_bed",
    "mate_on_bed",
    "mate_drawn_mm",
    "mate_sd_mm",
    "width",
    "contact_mm",
    "seam",
    "uncertainty_mm",
    "gives_per_mm",
)
_AT = {name: column for column, name in enumerate(COLUMNS)}
_FORMS, _DIRECTIONS, _AXES = tuple(Form), tuple(Direction), ("x", "y", "z")
_NO_MATE = (-1, 0, 0, 0, 0, 0, -1)
_CODES = {
    "kind": (0, 1),
    "form": (0, len(_FORMS) - 1),
    "direction": (0, len(_DIRECTIONS) - 1),
    "at_bed": (0, 1),
    "on_bed": (0, 1),
    "along": (-1, len(_AXES) - 1),
    "jaws": (-1, len(ZEROED) - 1),
    "mate_form": (0, len(_FORMS) - 1),
    "mate_direction": (0, len(_DIRECTIONS) - 1),
    "mate_at_bed": (0, 1),
    "mate_on_bed": (0, 1),
    "width": (0, len(GRADES) - 1),
    "seam": (0, 1),
}


def observation_table(runs: Sequence[Run]) -> tuple[Array, Array, Indices]:
    """Put all observations of some runs into one table.

    Returns
    -------
    X : ndarray of shape (n_observations, n_columns)
        Columns as in `COLUMNS`.
    y : ndarray of shape (n_observations,)
        Sizes in mm and ranks of grades.
    groups : ndarray of shape (n_observations,)
        One number a feature, for cross-validation that leaves a whole feature out.

    Raises
    ------
    FitError
        If no run holds a single result.
    """
    design = design_of(runs)
    readings = [row for n, run in enumerate(runs) for row in _reading_rows(n, run)]
    trials = [row for n, run in enumerate(runs) for row in _trial_rows(n, run)]
    X = np.array([*readings, *trials], float).reshape(-1, len(COLUMNS))
    y = np.concatenate([design.readings.value, design.trials.tightest.astype(float)])
    return X, y, groups_of(X)


def column(name: str) -> int:
    """Return where a column of an observation table stands."""
    return _AT[name]


def groups_of(X: Array) -> Indices:
    """Return one number a feature of a run, for each row of an observation table."""
    keys = X[:, [_AT["run"], _AT["feature"]]]
    groups: Indices = np.unique(keys, axis=0, return_inverse=True)[1].ravel()
    return groups


def _codes(feature: CouponFeature) -> tuple[float, ...]:
    return (
        _FORMS.index(feature.form),
        _DIRECTIONS.index(feature.direction),
        float(feature.at_bed),
        float(stands_on_bed(feature)),
        feature.size_mm,
    )


def _reading_rows(n: int, run: Run) -> Iterator[tuple[float, ...]]:
    index = {feature.id: at for at, feature in enumerate(run.coupon.features)}
    for entry, gives in zip(run.sizes, gives_of(run.sizes, run.coupon), strict=True):
        at = index[entry.feature]
        along = -1 if entry.along is None else _AXES.index(entry.along)
        caliper = run.conditions.caliper
        codes = _codes(run.coupon.features[at])
        read = (along, zeroed_by(entry.jaws), caliper.resolution_mm)
        yield (0, n, at, *codes, *read, *_NO_MATE, 0, 0, 0, caliper.uncertainty_mm, gives)


def _trial_rows(n: int, run: Run) -> Iterator[tuple[float, ...]]:
    index = {feature.id: at for at, feature in enumerate(run.coupon.features)}
    by_id = {feature.id: feature for feature in run.coupon.features}
    contacts = contacts_mm(run.coupon)
    for entry in run.fits:
        if (entry.tightest, entry.loosest) == (GRADES[0], GRADES[-1]):
            continue  # every grade is possible: nothing was reported
        at = index[entry.feature]
        width = GRADES.index(entry.loosest) - GRADES.index(entry.tightest)
        mate = _mate_codes(run.coupon, index, entry.mate)
        seam = shows_seam(run.coupon.features[at], by_id.get(entry.mate))
        contact_mm = contact_of_pair_mm(contacts, entry.feature, entry.mate) or 0.0
        trial = (*mate, width, contact_mm, seam, 0, 0)
        yield (1, n, at, *_codes(run.coupon.features[at]), -1, -1, 0, *trial)


def _mate_codes(coupon: Coupon, index: dict[str, int], mate: str) -> tuple[float, ...]:
    if mate in index:
        return (index[mate], *_codes(coupon.features[index[mate]]), -1)
    at = next(k for k, piece in enumerate(coupon.hardware) if piece.id == mate)
    piece = coupon.hardware[at]
    number = len(coupon.features) + at
    return (number, _FORMS.index(piece.form), 0, 0, 0, piece.size_mm, piece.sd_mm)


def run_numbers(X: Array, known: Sequence[float] = ()) -> tuple[float, ...]:
    """Return the runs of an observation table: those already known, then the new ones.

    Raises
    ------
    FitError
        If X is not such a table.
    """
    _check(X)
    found = map(float, np.unique(X[:, _AT["run"]]))
    return (*known, *(run for run in found if run not in known))


def design_from_table(X: Array, y: Array, runs: Sequence[float]) -> Design:
    """Build the arrays for a fit from an observation table.

    Parameters
    ----------
    X, y : ndarray
        As from `observation_table`.
    runs : sequence of float
        The numbers of all runs, in the order of the design.

    Raises
    ------
    FitError
        If X holds a code that the table does not have.
    """
    _check(X)
    table = SizeTable()
    readings, trials = [], []
    for at, row in enumerate(X):
        run = runs.index(row[_AT["run"]])
        if row[_AT["kind"]] == 0:
            readings.append(_reading(table, run, row, y[at], at))
        else:
            trials.append(_trial(table, run, row, int(y[at]), at))
    return Design(table.frozen(), readings_of(readings), trials_of(trials), len(runs))


def _check(X: Array) -> None:
    if X.shape[1] != len(COLUMNS):
        raise FitError(f"X must have the {len(COLUMNS)} columns {', '.join(COLUMNS)}.")
    for name, (low, high) in _CODES.items():
        column = X[:, _AT[name]]
        wrong = column[(column < low) | (column > high) | (column != np.round(column))]
        if len(wrong):
            raise FitError(
                f"Column {name} of X must hold whole numbers from {low} to {high}."
                f" Got {wrong[0]:g} instead."
            )


def _feature(row: Array, prefix: str = "") -> Feature:
    form = _FORMS[int(row[_AT[f"{prefix}form"]])]
    direction = _DIRECTIONS[int(row[_AT[f"{prefix}direction"]])]
    at_bed, on_bed = (bool(row[_AT[f"{prefix}{name}"]]) for name in ("at_bed", "on_bed"))
    size_mm = float(row[_AT[f"{prefix}drawn_mm"]])
    return Feature(form, size_mm, direction, at_bed, on_bed)


def _reading(table: SizeTable, run: int, row: Array, value: float, at: int) -> tuple[object, ...]:
    feature, along = _feature(row), int(row[_AT["along"]])
    axis = None if along < 0 else _AXES[along]
    index = table.printed(run, f"{row[_AT['feature']]:g}", feature)
    jaws = int(row[_AT["jaws"]])
    told = [row[_AT[name]] for name in ("resolution_mm", "uncertainty_mm", "gives_per_mm")]
    return (index, value, beyond_size(feature, axis), jaws, *told, at)


def _trial(table: SizeTable, run: int, row: Array, rank: int, at: int) -> tuple[object, ...]:
    feature, mate = _feature(row), _feature(row, "mate_")
    sd_mm, key = row[_AT["mate_sd_mm"]], f"{row[_AT['mate']]:g}"
    fixed = table.printed(run, f"{row[_AT['feature']]:g}", feature)
    if sd_mm < 0:
        tried = table.printed(run, key, mate)
    else:
        tried = table.bought(run, key, mate.size_mm, float(sd_mm))
    internal, external = (fixed, tried) if feature.form in INTERNAL else (tried, fixed)
    loosest = min(rank + int(row[_AT["width"]]), len(GRADES) - 1)
    return (
        internal,
        external,
        rank,
        loosest,
        loss_row(
            feature.form in ROUND,
            feature.direction,
            bool(row[_AT["seam"]]),
            float(row[_AT["contact_mm"]]) or None,
        ),
        0,
        at,
    )
