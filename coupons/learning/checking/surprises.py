"""Unexpected entries: improbable given all the others. They are shown and never dropped."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coupons.learning.checking.cross_validation import likeliest_sets, reported
from coupons.learning.checking.downdate import each_alone, predict_left_out
from coupons.learning.checking.predictive import PredictedReadings
from coupons.learning.fit import Fitted
from coupons.measuring.run.entries import FitEntry, SizeEntry
from coupons.measuring.run.findings import Finding
from coupons.measuring.run.folder import Run
from coupons.terms import GRADES

Array = NDArray[np.floating]

Known = Mapping[tuple[int, str], Finding]

IMPROBABLE = 0.01
_TAIL = 0.05
# A slip is clear if fewer than this many entries as improbable are expected in the whole sheet.
_CLEAR = 0.1


@dataclass(frozen=True)
class Surprise:
    """An entry with a probability below 1 % given all other entries.

    Parameters
    ----------
    run : int
        Which of the runs, from 0.
    row : int
        Its row in that run's sheet.
    place : str
        The feature, and what was tried in it.
    where : str
        File, row and place, as `coupons check` writes them.
    result, expected : str
        What was entered, and what the other entries predict.
    chance : float
        Predictive probability of the grades entered, or of a reading at least as far off.
    todo : str
        What to do about it.
    clear : bool
        It is almost certainly a slip: too improbable in a sheet of this length, or found by the
        checks too.
    """

    run: int
    row: int
    place: str
    where: str
    result: str
    expected: str
    chance: float
    todo: str
    clear: bool = False


@dataclass(frozen=True)
class Surprises:
    """Unexpected entries, the least probable first.

    ``by_chance`` is how many of the ``entries`` would be called unexpected by chance alone.
    """

    found: tuple[Surprise, ...]
    entries: int
    by_chance: float


def find_surprises(
    fitted: Fitted, runs: Sequence[Run], findings: Sequence[Sequence[Finding]] = ()
) -> Surprises:
    """Compare each entry with its predictive distribution given all others.

    Parameters
    ----------
    fitted : Fitted
    runs : sequence of Run
        The runs that were fitted.
    findings : sequence of sequence of Finding, optional
        What `coupons check` found in each run. Where that is a slip or contradiction in the same
        row, its advice is given.
    """
    readings, trials = predict_left_out(fitted.mixture, each_alone(fitted.design))
    entries = len(fitted.design.readings.row) + len(fitted.design.trials.row)
    known = {
        (n, found.where): found
        for n, of_run in enumerate(findings)
        for told in of_run
        for found in told.each
    }
    found = [
        *_surprising_readings(fitted, runs, readings, known),
        *_surprising_trials(fitted, runs, trials.chances, known),
    ]
    small = trials.chances * (trials.chances < IMPROBABLE)
    by_chance = IMPROBABLE * len(fitted.design.readings.row) + float(small.sum())
    found = [replace(one, clear=one.clear or one.chance < _CLEAR / entries) for one in found]
    return Surprises(tuple(sorted(found, key=lambda s: s.chance)), entries, by_chance)


def _surprising_readings(
    fitted: Fitted, runs: Sequence[Run], predicted: PredictedReadings, known: Known
) -> list[Surprise]:
    readings, sizes = fitted.design.readings, fitted.design.sizes
    below = predicted.chance_below(readings.value)
    chance = 2 * np.minimum(below, 1 - below)
    odd = np.flatnonzero(chance < IMPROBABLE)
    if not len(odd):
        return []
    told = predicted.take(odd)
    low, high = told.quantile_mm(_TAIL), told.quantile_mm(1 - _TAIL)
    entries = {(n, entry.row): entry for n, run in enumerate(runs) for entry in run.sizes}
    found = []
    for n, i in enumerate(odd):
        run, row = int(sizes.run[readings.size[i]]), int(readings.row[i])
        entry = entries[run, row]
        # The fit corrects readings for the jaws; a person looks for what the caliper shows.
        shown = entry.value_mm - readings.value[i]
        expected = f"{low[n] + shown:.2f} to {high[n] + shown:.2f} mm"
        todo = "Measure it again: it is a slip only if the result does not repeat"
        file = runs[run].sheet_path.name
        found.append(_surprise(run, file, entry, expected, float(chance[i]), todo, known))
    return found


def _surprising_trials(
    fitted: Fitted, runs: Sequence[Run], chances: Array, known: Known
) -> list[Surprise]:
    trials, sizes = fitted.design.trials, fitted.design.sizes
    chance = (chances * reported(trials)).sum(axis=1)
    likely = likeliest_sets(chances)
    entries = {(n, entry.row): entry for n, run in enumerate(runs) for entry in run.fits}
    found = []
    for i in np.flatnonzero(chance < IMPROBABLE):
        run, row = int(sizes.run[trials.internal[i]]), int(trials.row[i])
        entry = entries[run, row]
        expected = " or ".join(
            g for g, is_likely in zip(GRADES, likely[i], strict=True) if is_likely
        )
        todo = "Clear strings and burrs, then try it again"
        file = runs[run].sheet_path.name
        found.append(_surprise(run, file, entry, expected, float(chance[i]), todo, known))
    return found


def _surprise(
    run: int,
    file: str,
    entry: SizeEntry | FitEntry,
    expected: str,
    chance: float,
    todo: str,
    known: Known,
) -> Surprise:
    if isinstance(entry, SizeEntry):
        place, result = entry.feature, f"{entry.value_mm:.6g} mm"
    else:
        place, result = f"{entry.feature} with {entry.mate}", grades_text(entry)
    where = f"{file} row {entry.row} ({place})"
    finding = known.get((run, where))
    advice = todo if finding is None else finding.todo
    clear = finding is not None
    return Surprise(run, entry.row, place, where, result, expected, chance, advice, clear)


def grades_text(entry: FitEntry) -> str:
    """Write the result of a trial: one grade, or the ends of a range.

    >>> from coupons.terms import Grade
    >>> grades_text(FitEntry(2, "A1", "G1", Grade.PUSH, Grade.LOOSE))
    'push..loose'
    """
    if entry.tightest == entry.loosest:
        return str(entry.tightest)
    return f"{entry.tightest}..{entry.loosest}"
