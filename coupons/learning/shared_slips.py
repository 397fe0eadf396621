"""Slips that many entries share: a row of trials one place on, a coupon turned, a caliper off.

No single entry need be odd, and none is changed: each is said with what would settle it.
"""

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence

from coupons.errors import FitError
from coupons.learning.evidence import Evidence
from coupons.learning.fit import Fitted, fit_runs
from coupons.learning.misplaced import (
    Misplaced,
    exchanged_rows,
    slipped_gauges,
    turned_prints,
)
from coupons.learning.off_zero import OffStretch, off_alike_mm, off_stretch
from coupons.measuring.finding import Finding
from coupons.measuring.run import Run, may_share_slips
from coupons.measuring.sheet import FILE

# From these log odds on a slip is said. Of 53 sound sheets of machines drawn at random and in good
# order the highest were 4.9, 1.3 and 4.7; tests/test_shared_slips.py measures what is then found.
GAUGE_ODDS, TURNED_ODDS, STRETCH_ODDS = 5.5, 2.0, 6.0
_MOST_SAID = 1000  # to 1


def find_shared_slips(fitted: Fitted, runs: Sequence[Run]) -> tuple[tuple[Finding, ...], ...]:
    """Return for each run the slips that many of its entries seem to share.

    None for sheets that are too short to tell, or longer than a hand types.

    Parameters
    ----------
    fitted : Fitted
    runs : sequence of Run
        The runs that were fitted.
    """
    if not all(may_share_slips(run) for run in runs):
        return ((),) * len(runs)
    evidence = Evidence(fitted.mixture)
    found: defaultdict[int, list[Finding]] = defaultdict(list)
    for gauge in _likeliest(slipped_gauges(evidence, runs), GAUGE_ODDS):
        found[gauge.run].append(_gauge(gauge))
    turned = _likeliest(
        [*exchanged_rows(evidence, runs), *turned_prints(evidence, runs)], TURNED_ODDS
    )
    for n in range(len(runs)):
        stretch = off_stretch(evidence, n)
        turns = [one for one in turned if one.run == n]
        # Entries of a turned coupon stand off the rest too, and the other way round: one is said.
        best = max((one.log_odds for one in turns), default=-math.inf)
        if stretch is not None and stretch.log_odds >= max(STRETCH_ODDS, best):
            found[n].append(_stretch(stretch))
        elif turns:
            found[n].append(_turned(turns[0], runs))
    alike_mm = off_alike_mm(fitted, runs)
    if alike_mm is not None:
        for n in range(len(runs)):
            found[n].append(_alike(*alike_mm))
    return tuple(tuple(found[n]) for n in range(len(runs)))


def shared_slips_of(run: Run) -> tuple[Finding, ...]:
    """Fit one run by itself and return the slips that many of its entries seem to share."""
    try:
        return find_shared_slips(fit_runs([run]), [run])[0]
    except FitError:  # told by the fit itself, with what to do
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
        f"the trials of {mate} suit the next place in their row better, {typed} being {meant} and"
        f" so on ({_odds(found.log_odds)})"
    )
    todo = f"Try {mate} in {typed} and {meant} again; if all stand one place off, move them"
    return _look(found.rows, what, todo)


def _turned(found: Misplaced, runs: Sequence[Run]) -> Finding:
    if found.what == "print":
        others = "the other run" if len(runs) == 2 else "the other runs"
        what = f"x and y of this print suit {others} better exchanged ({_odds(found.log_odds)})"
        todo = "See by the arrows on both coupons whether one was printed or measured turned"
        return _look(found.rows, what, todo)
    pairs = zip(found.names[::2], found.names[1::2], strict=True)
    words = " and ".join(f"{one} for {other}" for one, other in pairs)
    what = f"the entries suit each other better with rows taken {words} ({_odds(found.log_odds)})"
    todo = (
        "See by the letters and arrows on the part whether it was turned; if it was, exchange the"
        " names of the features, else leave all as it is"
    )
    return _look(found.rows, what, todo)


_CLOSE_THE_JAWS = "Close the jaws: does it read 0.00?"


def _stretch(found: OffStretch) -> Finding:
    way = "above" if found.off_mm > 0 else "below"
    what = (
        f"these {len(found.rows)} readings stand {abs(found.off_mm):.2f} mm {way} what all others"
        f" make likely ({_odds(found.log_odds)})"
    )
    todo = (
        f"{_CLOSE_THE_JAWS} Measure the first of them and one of the others again; if the caliper"
        " was off, add rows of kind zero: 0 above all, what it read above these, 0 below them"
    )
    return _look(found.rows, what, todo)


def _alike(low_mm: float, high_mm: float) -> Finding:
    way = "large" if low_mm > 0 else "small"
    near, far = sorted((abs(low_mm), abs(high_mm)))
    what = (
        f"outer and inner sizes alike read {near:.2f} to {far:.2f} mm too {way}, where plastic that"
        " stands out makes outer sizes larger and inner ones smaller"
    )
    todo = (
        f"{_CLOSE_THE_JAWS} Type what it reads into the row of kind zero, 0 too: the readings alone"
        " cannot tell a caliper from a printer that does this"
    )
    return Finding("look", FILE, what, todo)
