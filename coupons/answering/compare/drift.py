"""Control chart: whether an answer changed over runs, each with its own uncertainty.

Each run's answer has a standard deviation of its own, from its fit. A chart tests whether
the values, weighted by it, changed: a step from some run on, one run alone, a steady drift. Each
is a contrast of the values, whose standard deviation follows from theirs; the largest of all, in
standard deviations, is the statistic. Its limit is the value that it exceeds in one chart of twenty
whose answer never changed, drawn by Monte Carlo for the very standard deviations of the chart.

With two runs the limit is 1.96. With runs alone and equal standard deviations it is that of the
analysis of means (a test holds it to the published values).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from coupons.errors import AnswerError

Array = NDArray[np.floating]

FEWEST = 2
FALSE_ALARMS = 0.05
_POWER_SDS = 0.84  # a change so far beyond the limit is detected with 80 % power
_DRAWS = 40_000

RULE = (
    "Each run is weighted by its own standard deviation (±). A chart signals a step from some run "
    "on, one run alone, or a steady drift, if it is larger than one chart in twenty shows by "
    "chance."
)


@dataclass(frozen=True)
class Signal:
    """The largest change in a chart, if it is beyond the limit.

    Parameters
    ----------
    run : int
        Where it begins, counted from 0.
    why : str
        What changed, and by how much.
    sds : float
        Its size in standard deviations.
    """

    run: int
    why: str
    sds: float


@dataclass(frozen=True)
class Chart:
    """One answer in mm over runs in the order of time.

    Parameters
    ----------
    values_mm, sds_mm : tuple of float
        Each run's answer, and its own standard deviation.
    center_mm : float
        Their weighted mean.
    limit : float
        In standard deviations.
    detectable_middle_mm, detectable_last_mm : float
        The step halfway, and the change at the last run alone, that would be detected with 80 %
        power.
    signal : Signal or None
    """

    values_mm: tuple[float, ...]
    sds_mm: tuple[float, ...]
    center_mm: float
    limit: float
    detectable_middle_mm: float
    detectable_last_mm: float
    signal: Signal | None


def chart(
    values_mm: Sequence[float], sds_mm: Sequence[float], months: Sequence[float] | None = None
) -> Chart:
    """Chart one answer over runs.

    Parameters
    ----------
    values_mm : sequence of float
        In the order of time.
    sds_mm : sequence of float
        Standard deviation of each, positive.
    months : sequence of float, optional
        When each was, not all at once. A steady drift is then one by the month; otherwise, one by
        the run.

    Raises
    ------
    AnswerError
        If there are fewer than two runs.

    Examples
    --------
    >>> chart([0.21, 0.22, 0.20, 0.35, 0.36], [0.03] * 5).signal.why
    'from run 4 on 0.14 mm wider'
    """
    if len(values_mm) < FEWEST:
        raise AnswerError(f"A chart over runs needs at least {FEWEST} runs, got {len(values_mm)}.")
    values, sds = np.array(values_mm, float), np.array(sds_mm, float)
    times = np.arange(len(values), dtype=float) if months is None else np.array(months, float)
    contrasts = _contrasts(sds, times)
    spread = np.sqrt((contrasts.rows**2) @ sds**2)
    limit = _limit(contrasts.rows * sds / spread[:, None])
    moves = contrasts.rows @ values
    largest = int(np.argmax(np.abs(moves) / spread))
    sure = float(abs(moves[largest]) / spread[largest])
    n = len(values)
    detectable = (limit + _POWER_SDS) * spread
    return Chart(
        values_mm=tuple(map(float, values)),
        sds_mm=tuple(map(float, sds)),
        center_mm=float(np.average(values, weights=sds**-2)),
        limit=limit,
        detectable_middle_mm=float(detectable[n // 2 - 1]),
        detectable_last_mm=float(detectable[n - 2]),
        signal=Signal(
            contrasts.runs[largest],
            _why(contrasts, largest, moves[largest], "run to run" if months is None else ""),
            sure,
        )
        if sure > limit
        else None,
    )


@dataclass(frozen=True)
class _Contrasts:
    """Differences of the values: steps, then runs alone, then a drift a run.

    ``rows`` has shape (n_contrasts, n_runs), ``runs`` is where each begins.
    """

    rows: Array
    runs: tuple[int, ...]
    kinds: tuple[str, ...]


def _contrasts(sds: Array, times: Array | None = None) -> _Contrasts:
    n, weights = len(sds), sds**-2
    steps = [np.arange(n) >= k for k in range(1, n)]
    # The first and the last run alone are steps already.
    alone = [np.arange(n) == k for k in range(1, n - 1)]
    rows = [_apart(moved, weights) for moved in steps + alone]
    runs = [*range(1, n), *range(1, n - 1)]
    kinds = ["step"] * (n - 1) + ["alone"] * len(alone)
    if n > 2:
        times = np.arange(n, dtype=float) if times is None else times
        slope = weights * (times - np.average(times, weights=weights))
        rows.append(slope / (slope @ times))
        runs.append(0)
        kinds.append("drift")
    return _Contrasts(np.array(rows), tuple(runs), tuple(kinds))


def _apart(moved: NDArray[np.bool_], weights: Array) -> Array:
    """Weigh the mean of some runs against that of the others."""
    return np.asarray(
        weights * moved / weights[moved].sum() - weights * ~moved / weights[~moved].sum()
    )


def _limit(rows: Array) -> float:
    """Return what the largest of normal contrasts exceeds in one case of twenty."""
    if len(rows) == 1:
        return NormalDist().inv_cdf(1 - FALSE_ALARMS / 2)
    draws = np.random.default_rng(0).normal(size=(_DRAWS, rows.shape[1]))
    return float(np.quantile(np.abs(draws @ rows.T).max(axis=1), 1 - FALSE_ALARMS))


def _why(contrasts: _Contrasts, largest: int, move_mm: float, per: str) -> str:
    run, kind = contrasts.runs[largest] + 1, contrasts.kinds[largest]
    digits = 3 if kind == "drift" and not per else 2
    way = f"{abs(move_mm):.{digits}f} mm {'wider' if move_mm > 0 else 'narrower'}"
    if kind == "drift":
        return f"{way} from {per}" if per else f"{way} a month"
    return f"run {run} alone {way}" if kind == "alone" else f"from run {run} on {way}"
