"""Slips that many entries share: a row of trials one place on, a coupon turned, a caliper off.

No single entry has to be unexpected, and none is changed: each slip is reported with how to check.
"""

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence

from coupons.errors import FitError
from coupons.learning.checking.bayes_factors import BayesFactors
from coupons.learning.checking.caliper_off import OffStretch, off_alike_mm, off_stretch
from coupons.learning.checking.misplaced import (
    Misplaced,
    exchanged_rows,
    slipped_gauges,
    turned_prints,
)
from coupons.learning.fit import Fitted, fit_runs
from coupons.learning.posterior.threads import one_thread
from coupons.measuring.run.findings import Finding
from coupons.measuring.run.folder import Run, may_share_slips
from coupons.measuring.run.sheet import FILE

# A slip is reported from these log odds on. Of 53 sheets without slips, of random machines in good
# order, the highest were 4.9, 1.3 and 4.7; the tests measure what is then found.
GAUGE_ODDS, TURNED_ODDS, STRETCH_ODDS = 5.5, 2.0, 6.0
_MOST_SAID = 1000  # to 1


def find_shared_slips(fitted: Fitted, runs: Sequence[Run]) -> tuple[tuple[Finding, ...], ...]:
    """Return for each run the slips that many of its entries seem to share.

    None for sheets that are too short, or longer than a person types.

    Parameters
    ----------
    fitted : Fitted
    runs : sequence of Run
        The runs that were fitted.
    """
    # Parts have no rows of gauges in which a place could be skipped.
    of_coupons = [n for n, run in enumerate(runs) if run.parts is None]
    if not of_coupons or not all(may_share_slips(runs[n]) for n in of_coupons):
        return ((),) * len(runs)
    with one_thread():
        return _found(fitted, runs, of_coupons)


def _found(
    fitted: Fitted, runs: Sequence[Run], of_coupons: Sequence[int]
) -> tuple[tuple[Finding, ...], ...]:
    evidence = BayesFactors(fitted.mixture)
    found: defaultdict[int, list[Finding]] = defaultdict(list)
    for gauge in _likeliest(slipped_gauges(evidence, runs), GAUGE_ODDS):
        if gauge.run in of_coupons:
            found[gauge.run].append(_gauge(gauge))
    turned = _likeliest(
        [*exchanged_rows(evidence, runs), *turned_prints(evidence, runs)], TURNED_ODDS
    )
    for n in of_coupons:
        turns = [one for one in turned if one.run == n]
        found[n] += _stretch_or_turned(evidence, n, turns, runs)
    alike_mm = off_alike_mm(fitted, runs)
    if alike_mm is not None:
        for n in of_coupons:
            found[n].append(_alike(*alike_mm))
    return tuple(tuple(found[n]) for n in range(len(runs)))


def _stretch_or_turned(
    evidence: BayesFactors, n: int, turns: Sequence[Misplaced], runs: Sequence[Run]
) -> list[Finding]:
    """Entries of a turned coupon are off as well, and the other way round: report only one."""
    stretch = off_stretch(evidence, n)
    best = max((one.log_odds for one in turns), default=-math.inf)
    if stretch is not None and stretch.log_odds >= max(STRETCH_ODDS, best):
        return [_stretch(stretch)]
    return [_turned(turns[0], runs)] if turns else []


def shared_slips_of(run: Run) -> tuple[Finding, ...]:
    """Fit one run by itself and return the slips that many of its entries seem to share."""
    try:
        return find_shared_slips(fit_runs([run]), [run])[0]
    except FitError:  # the fit itself reports it, with what to do
        return ()


def _likeliest(found: Iterable[Misplaced], least: float) -> list[Misplaced]:
    """Return for each run and mate the likeliest of what was found, if it is likely enough."""
    best: dict[tuple[int, str], Misplaced] = {}
    for one in found:
        key = one.run, one.names[0] if one.what == "gauge" else ""
        if one.log_odds >= max(least, best[key].log_odds if key in best else least):
            best[key] = one
    return list(best.values())


def _look(rows: Sequence[int], what: str, todo: str) -> Finding:
    return Finding("look", f"{FILE} rows {min(rows)} to {max(rows)}", what, todo)


def _odds(log_odds: float) -> str:
    """Write odds in words.

    >>> _odds(3.0), _odds(40.0)
    ('20 to 1', 'more than 1000 to 1')
    """
    if log_odds > math.log(_MOST_SAID):
        return f"more than {_MOST_SAID} to 1"
    return f"{math.exp(log_odds):.0f} to 1"


def _gauge(found: Misplaced) -> Finding:
    mate, typed, meant = found.names
    what = (
        f"the trials of {mate} agree better with the others if moved one place in their row:"
        f" {typed} becomes {meant} and so on ({_odds(found.log_odds)})"
    )
    todo = f"Try {mate} in {typed} and {meant} again; if all are one place off, move them"
    return _look(found.rows, what, todo)


def _turned(found: Misplaced, runs: Sequence[Run]) -> Finding:
    if found.what == "print":
        others = "the other run" if len(runs) == 2 else "the other runs"
        what = (
            f"this print agrees better with {others} if x and y are exchanged"
            f" ({_odds(found.log_odds)})"
        )
        todo = "Check by the arrows on the coupons whether one was printed or measured turned"
        return _look(found.rows, what, todo)
    pairs = zip(found.names[::2], found.names[1::2], strict=True)
    words = ", ".join(f"{one} and {other}" for one, other in pairs)
    what = (
        f"the entries agree better with one another if rows {words} are exchanged"
        f" ({_odds(found.log_odds)})"
    )
    todo = (
        "Check by the letters and arrows on the part whether it was turned. If it was, exchange the"
        " names of the features; otherwise change nothing"
    )
    return _look(found.rows, what, todo)


_CLOSE_THE_JAWS = "Close the jaws: does it read 0.00?"


def _stretch(found: OffStretch) -> Finding:
    way = "above" if found.off_mm > 0 else "below"
    what = (
        f"these {len(found.rows)} readings are {abs(found.off_mm):.2f} mm {way} what all others"
        f" predict ({_odds(found.log_odds)})"
    )
    todo = (
        f"{_CLOSE_THE_JAWS} Measure the first of them and one of the others again. If the caliper"
        " was off, add rows of kind zero: 0 above all rows, what it reads above these rows, 0 below"
        " them"
    )
    return _look(found.rows, what, todo)


def _alike(low_mm: float, high_mm: float) -> Finding:
    way = "large" if low_mm > 0 else "small"
    near, far = sorted((abs(low_mm), abs(high_mm)))
    what = (
        f"outer and inner sizes alike read {near:.2f} to {far:.2f} mm too {way}; growth would make"
        " outer sizes larger and inner ones smaller"
    )
    todo = (
        f"{_CLOSE_THE_JAWS} Type what it reads into the row of kind zero, even if it is 0: readings"
        " alone do not show whether the caliper or the printer is off"
    )
    return Finding("look", FILE, what, todo)
