"""Adding entries to a sheet one at a time, each on disk before the next is asked for."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from coupons.errors import EntriesError, Problem
from coupons.making.record import Coupon, CouponReading, CouponTrial
from coupons.measuring.run import sheet
from coupons.measuring.run.entries import FitEntry, SizeEntry, understand, with_zero
from coupons.measuring.run.entries import ZeroEntry as Zero
from coupons.measuring.run.sheet import Row
from coupons.measuring.run.spreadsheet import read_cells


@dataclass(frozen=True)
class Sheet:
    """A sheet as it stands on disk: its rows, and what they say, in the order of the rows."""

    path: Path
    coupon: Coupon
    rows: tuple[Row, ...]
    entries: tuple[FitEntry | SizeEntry, ...]


def open_sheet(path: Path, coupon: Coupon) -> Sheet:
    """Read a sheet to add entries to.

    Raises
    ------
    EntriesError
        If it cannot be read, holds what is no entry, or has columns of the person's own, which
        would be lost when it is written.
    """
    rows, problems = sheet.read_rows(path)
    cells, _ = read_cells(path, sheet.LAYOUT)
    own = sorted(
        {name or "without a name" for one in cells for name in one.others if one.others[name]}
    )
    if own:
        todo = "Type entries into the sheet itself, or move these columns to another file"
        problems.append(Problem(sheet.FILE, "no columns of your own", ", ".join(own), todo))
    return _understood(path, coupon, rows, problems)


def _understood(
    path: Path, coupon: Coupon, rows: Sequence[Row], problems: Sequence[Problem] = ()
) -> Sheet:
    found, odd = understand(rows, coupon)
    if problems or odd:
        raise EntriesError([*problems, *odd])
    zeros = [entry for entry in found if isinstance(entry, Zero)]
    entries = tuple(
        with_zero(entry, zeros) if isinstance(entry, SizeEntry) else entry
        for entry in found
        if isinstance(entry, SizeEntry | FitEntry)
    )
    return Sheet(path, coupon, tuple(rows), entries)


def with_result(
    old: Sheet, task: CouponTrial | CouponReading, result: str, unit: str = "mm", by: str = ""
) -> Sheet:
    """Return the sheet with one more entry, in the task's blank row or in a new one below.

    Raises
    ------
    EntriesError
        If the checks would not take it.
    """
    row = _row_for(task)
    unit = unit if row.kind == "size" else ""
    for at, one in enumerate(old.rows):
        if one.is_blank and _about(one) == _about(row):
            rows = [
                *old.rows[:at],
                replace(one, result=result, unit=unit, by=by or one.by),
                *old.rows[at + 1 :],
            ]
            break
    else:
        number = max((one.number for one in old.rows), default=1) + 1
        rows = [*old.rows, replace(row, number=number, result=result, unit=unit, by=by)]
    return _understood(old.path, old.coupon, rows)


def save_sheet(new: Sheet) -> None:
    """Write the sheet in one step."""
    sheet.write_rows(new.path, new.rows)


def _row_for(task: CouponTrial | CouponReading) -> Row:
    if isinstance(task, CouponTrial):
        return Row(0, "fit", task.feature, task.mate)
    return Row(0, "size", task.feature, jaws=task.jaws, along=task.along or "")


def _about(row: Row) -> tuple[str, ...]:
    """Return what a row is about, in any letter case."""
    cells = (row.kind, row.feature, row.mate, row.jaws, row.along)
    return tuple(cell.casefold() for cell in cells)
