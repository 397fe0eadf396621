"""Entries that a person decides to leave out of a fit."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from coupons.errors import EntriesError, Problem
from coupons.measuring.run.folder import Run

_OPTION = "--without"


def leave_out(runs: Sequence[Run], rows: Sequence[str]) -> tuple[tuple[Run, ...], tuple[str, ...]]:
    """Leave entries out of runs.

    Parameters
    ----------
    runs : sequence of Run
    rows : sequence of str
        Rows of the sheet: ``"14"``, or with several runs ``"RUN:14"`` with the name of the run's
        folder.

    Returns
    -------
    runs : tuple of Run
        The same runs without those entries.
    left_out : tuple of str
        What was left out, each once, in the order asked for, as a profile records it.

    Raises
    ------
    EntriesError
        With every row that is not one of the entries.
    """
    problems: list[Problem] = []
    chosen: dict[tuple[int, int], None] = {}
    for text in rows:
        found = _entry_meant(runs, text)
        if isinstance(found, Problem):
            problems.append(found)
        else:
            chosen[found] = None
    if problems:
        raise EntriesError(problems)
    kept = tuple(_without(run, {row for n, row in chosen if n == k}) for k, run in enumerate(runs))
    return kept, tuple(row_name(runs, n, row) for n, row in chosen)


def row_name(runs: Sequence[Run], run: int, row: int) -> str:
    """Name a row as ``--without`` takes it: the number, after the run's name if there are several.

    Parameters
    ----------
    runs : sequence of Run
    run : int
        Which of them, from 0.
    row : int
        The row of its sheet.
    """
    return f"{_names(runs)[run]}:{row}" if len(runs) > 1 else str(row)


def run_name(runs: Sequence[Run], run: int) -> str:
    """Name one of several runs, counted from 0, as ``--without`` does."""
    return _names(runs)[run]


def renamed(left_out: Sequence[str], runs: Sequence[Run], others: Sequence[Run]) -> tuple[str, ...]:
    """Name rows that were left out of runs as they are called in the same runs of other folders."""
    called = dict(zip(_names(runs), _names(others), strict=True))
    parts = [text.rpartition(":") for text in left_out]
    return tuple(f"{called[name]}:{row}" if name else row for name, _, row in parts)


def _names(runs: Sequence[Run]) -> list[str]:
    """Name runs by their folders, by the whole path where two folders are called the same."""
    short = [Path(run.folder).resolve().name for run in runs]
    return [
        name if short.count(name) == 1 else str(run.folder)
        for name, run in zip(short, runs, strict=True)
    ]


def _entry_meant(runs: Sequence[Run], text: str) -> tuple[int, int] | Problem:
    """Return run and row of an entry, or why there is none."""
    where = f"{_OPTION} {text}"
    name, _, number = text.rpartition(":")
    names = _names(runs)
    if not number.strip().isdecimal():
        return Problem(where, "the number of a row, such as 14", repr(number))
    if not name and len(runs) > 1:
        return Problem(where, f"run and row, such as {names[0]}:{number}", "only a row")
    if name and name not in names:
        return Problem(where, f"one of the runs ({', '.join(names)})", repr(name))
    n, row = names.index(name) if name else 0, int(number)
    filled = sorted([e.row for e in runs[n].sizes] + [e.row for e in runs[n].fits])
    if row not in filled:
        expected = f"a row with a result, from {filled[0]} to {filled[-1]}"
        return Problem(
            where, expected, "a blank row or none", "`coupons fit` lists unexpected rows"
        )
    return n, row


def _without(run: Run, rows: set[int]) -> Run:
    return replace(
        run,
        sizes=tuple(entry for entry in run.sizes if entry.row not in rows),
        fits=tuple(entry for entry in run.fits if entry.row not in rows),
    )
