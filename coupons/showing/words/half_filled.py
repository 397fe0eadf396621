"""Which entries of a coupon are still blank, and what filling them in would add."""

from collections.abc import Sequence

from coupons.measuring.run.folder import Run
from coupons.terms import FLAT

# With fewer entries, more of the same print teach more than another print (starter_study.md).
_FEW_ENTRIES = 12


def blank_entries(runs: Sequence[Run]) -> tuple[int, int]:
    """Count the trials and readings that the coupons ask for, and those that nobody filled in."""
    asked = sum(len(run.coupon.trials) + len(run.coupon.readings) for run in runs)
    return sum(_blank(run) for run in runs), asked


def _blank(run: Run) -> int:
    tried = {(fit.feature, fit.mate) for fit in run.fits}
    trials = sum((trial.feature, trial.mate) not in tried for trial in run.coupon.trials)
    read = {(size.feature, size.jaws, size.along) for size in run.sizes}
    forms = {feature.id: feature.form for feature in run.coupon.features}
    readings = 0
    for reading in run.coupon.readings:
        # A flat feature has one way to be read, written or not.
        ways = {reading.along, None} if forms[reading.feature] in FLAT else {reading.along}
        readings += not any((reading.feature, reading.jaws, along) in read for along in ways)
    return trials + readings


def blank_sentence(runs: Sequence[Run]) -> str:
    """Say how many entries are still blank; empty if none is."""
    blank, asked = blank_entries(runs)
    if not blank:
        return ""
    told = f"{blank} of {asked} entries are still blank."
    if any(map(is_hardly_begun, runs)):
        return f"{told} Fill in more before you print again: that costs no plastic."
    return f"{told} They cost no plastic; the entry page says when more of them teach too little."


def is_hardly_begun(run: Run) -> bool:
    """Tell whether more entries of a print would teach more than another print."""
    blank, asked = blank_entries([run])
    return asked - blank < min(_FEW_ENTRIES, asked / 2)


def coarse_sentence(runs: Sequence[Run]) -> str:
    """Say what readings and grades would add to runs in which only go and stop were entered."""
    fits = [fit for run in runs for fit in run.fits]
    if not fits or any(run.sizes for run in runs):
        return ""
    if any(fit.tightest is fit.loosest for fit in fits):
        return ""
    return (
        "Only go and stop were entered and nothing was measured, so gaps are known but not sizes."
        " Caliper readings of some features and of each gauge would separate shrinkage from growth"
        " and show which part to move; the five grades would show where a push ends and a slide"
        " begins."
    )
