"""The sheet ``entries.csv``: writing it blank, and reading its rows as text."""

import csv
import io
from collections.abc import Iterable
from dataclasses import dataclass, fields, replace
from pathlib import Path

from coupons.atomic import write_text
from coupons.errors import EntriesError, Problem
from coupons.making.record import Coupon
from coupons.measuring.run.spreadsheet import Layout, read_cells
from coupons.terms import Jaws

FILE = "entries.csv"
# What a row may hold: a fit trial, a caliper reading, what the caliper shows with closed jaws, or
# how a screw or an insert holds in its hole.
KINDS = ("fit", "size", "zero", "hold")


@dataclass(frozen=True)
class Row:
    """One row as typed: text stripped of outer blanks, nothing understood yet."""

    number: int
    kind: str = ""
    feature: str = ""
    mate: str = ""
    result: str = ""
    unit: str = ""
    jaws: str = ""
    along: str = ""
    by: str = ""
    note: str = ""

    @property
    def is_blank(self) -> bool:
        """Whether no result was typed."""
        return not self.result


COLUMNS = tuple(field.name for field in fields(Row))[1:]
NEEDED = ("kind", "feature", "result")
LAYOUT = Layout(
    columns=COLUMNS,
    needed=NEEDED,
    number_pair=("result", "unit"),
    holds="the entries",
    if_missing="Save the sheet under this name beside coupon.json",
    if_empty="Copy the blank sheet back, or make the coupon again into a new folder",
    error=EntriesError,
)


def blank_rows(coupon: Coupon) -> tuple[Row, ...]:
    """Return the rows with results to fill in: trials, readings, the jaws when closed, holds.

    The jaws stand below all readings, since a caliper that was knocked while it was used shows it
    there.
    """
    fits = [Row(0, "fit", trial.feature, trial.mate) for trial in coupon.trials]
    sizes = [
        Row(0, "size", reading.feature, unit="mm", jaws=reading.jaws, along=reading.along or "")
        for reading in coupon.readings
    ]
    closed = [Row(0, "zero", unit="mm", jaws=Jaws.OUTSIDE)] if sizes else []
    holds = [Row(0, "hold", hold.feature, hold.mate) for hold in coupon.holds]
    rows = fits + sizes + closed + holds
    return tuple(replace(row, number=number) for number, row in enumerate(rows, start=2))


def write_rows(path: Path, rows: Iterable[Row]) -> None:
    """Write a sheet that every spreadsheet opens: commas, CRLF, a byte order mark."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(COLUMNS)
    writer.writerows([getattr(row, column) for column in COLUMNS] for row in rows)
    # Without the mark some spreadsheets take UTF-8 for a local code page and spoil the notes.
    write_text(path, "\ufeff" + text.getvalue())


def read_rows(path: Path) -> tuple[list[Row], list[Problem]]:
    """Read the rows of a sheet and the problems of those that have no readable shape.

    Raises
    ------
    EntriesError
        If the file is missing, is not text, or has no usable line of column names.
    """
    rows, problems = read_cells(path, LAYOUT)
    return [Row(row.number, **row.named) for row in rows], problems
