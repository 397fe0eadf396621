"""Runs without what is nobody else's business: who tried, what they noted, where the files lie."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from coupons.measuring.run.entries import FitEntry, HoldEntry, SizeEntry, ZeroEntry
from coupons.measuring.run.folder import Run

E = TypeVar("E", SizeEntry, FitEntry, ZeroEntry, HoldEntry)


def without_people(runs: Sequence[Run]) -> tuple[Run, ...]:
    """Return runs of the same numbers that may be shown to anybody.

    Several people become "person 1", "person 2", in the order of their names, so that it can still
    be seen how many tried; one alone is not named. Folders become "run-1", "run-2"; notes are left
    out.

    Parameters
    ----------
    runs : sequence of Run

    Returns
    -------
    tuple of Run
        Their folders exist no more: nothing can be read from them.
    """
    names = {
        one.by
        for run in runs
        for each in (run.sizes, run.fits, run.zeros, run.holds)
        for one in each
    }
    called = {name: f"person {n}" for n, name in enumerate(sorted(names - {""}), start=1)}
    if len(called) == 1:
        called = dict.fromkeys(called, "")
    called[""] = ""

    def nameless(entries: tuple[E, ...]) -> tuple[E, ...]:
        return tuple(replace(one, by=called[one.by], note="") for one in entries)

    return tuple(
        replace(
            run,
            folder=Path(f"run-{n}"),
            sizes=nameless(run.sizes),
            fits=nameless(run.fits),
            zeros=nameless(run.zeros),
            holds=nameless(run.holds),
        )
        for n, run in enumerate(runs, start=1)
    )
