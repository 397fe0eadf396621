"""``entries.csv`` as cells of text, whichever spreadsheet saved it.

Read are UTF-8 with or without a byte order mark, UTF-16 and Windows-1252; commas, semicolons or
tabs; any line ends, quoting, order of columns and letter case of their names. Row numbers are the
ones that a spreadsheet shows.
"""

import csv
import io
import re
from collections.abc import Iterable
from dataclasses import dataclass, fields, replace
from difflib import get_close_matches
from pathlib import Path

from coupons.atomic import write_text
from coupons.errors import EntriesError, Problem
from coupons.making.record import Coupon

FILE = "entries.csv"


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


def blank_rows(coupon: Coupon) -> tuple[Row, ...]:
    """Return one row per trial, then one per caliper reading, with the results to fill in."""
    fits = [Row(0, "fit", trial.feature, trial.mate) for trial in coupon.trials]
    sizes = [
        Row(0, "size", reading.feature, unit="mm", jaws=reading.jaws, along=reading.along or "")
        for reading in coupon.readings
    ]
    return tuple(replace(row, number=number) for number, row in enumerate(fits + sizes, start=2))


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
    text = _decode(path)
    separator = _separator(text)
    numbered = _records(path.name, text, separator)
    if not numbered:
        todo = "Copy the blank sheet back, or make the coupon again into a new folder"
        raise EntriesError([Problem(path.name, "a line of column names", "an empty file", todo)])
    header = _header(path.name, *numbered[0])
    found = [_row(number, cells, header, separator) for number, cells in numbered[1:]]
    rows = [row for row in found if isinstance(row, Row)]
    return rows, [problem for problem in found if isinstance(problem, Problem)]


_SAVE = "Save it again as CSV, UTF-8"


def _decode(path: Path) -> str:
    try:
        data = path.read_bytes()
    except (FileNotFoundError, IsADirectoryError):
        todo = "Save the sheet under this name beside coupon.json"
        raise EntriesError([Problem(path.name, "the entries", "no such file", todo)]) from None
    wide = data.startswith((b"\xff\xfe", b"\xfe\xff"))
    for encoding in ("utf-16",) if wide else ("utf-8-sig", "cp1252"):
        try:
            return _without_separator_line(data.decode(encoding))
        except UnicodeDecodeError:
            continue
    raise EntriesError([Problem(path.name, "text", "bytes in no known encoding", _SAVE)])


def _without_separator_line(text: str) -> str:
    """Drop the ``sep=;`` line with which some spreadsheets begin and which they never show."""
    return re.sub(r'\A"?sep=.?"?(\r\n|\r|\n)', "", text, flags=re.IGNORECASE)


def _separator(text: str) -> str:
    first = next((line for line in text.splitlines() if line.strip()), "").lower()
    names = re.split(r"[^a-z]+", first)
    if not set(NEEDED) & set(names):
        return ","
    return max(",;\t", key=first.count)


def _records(file: str, text: str, separator: str) -> list[tuple[int, list[str]]]:
    records: list[list[str]] = []
    # Strict, since a quote left open would otherwise swallow the rows below it.
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    try:
        records.extend(reader)
    except csv.Error as error:
        where = f"{file} row {len(records) + 1}"
        raise EntriesError([_spoiled_cell(where, str(error))]) from None
    return [
        (number, [cell.strip() for cell in cells])
        for number, cells in enumerate(records, start=1)
        if any(cell.strip() for cell in cells)
    ]


def _spoiled_cell(where: str, reason: str) -> Problem:
    if "limit" in reason:
        expected = f"cells of at most {csv.field_size_limit()} characters"
        return Problem(where, expected, "a longer one", "Shorten it")
    todo = "Close the double quotes of the cell, or take them away"
    return Problem(where, "cells of text", "a stray quote", todo)


def _header(file: str, number: int, cells: list[str]) -> list[str]:
    header = [cell.lower() for cell in cells]
    where = f"{file} row {number}"
    problems = [
        Problem(where, "each column once", f"{name} twice", "Remove or rename one of them")
        for name in COLUMNS
        if header.count(name) > 1
    ]
    strange = [name for name in header if name and name not in COLUMNS]
    missing = [name for name in COLUMNS if name not in header]
    for name in missing:
        near = get_close_matches(name, strange, 1)
        if near:
            problems.append(Problem(where, f"a column {name}", near[0], "Correct its name"))
        elif name in NEEDED:
            todo = "The first row holds the names " + ", ".join(COLUMNS)
            problems.append(Problem(where, f"a column {name}", "none of that name", todo))
    if problems:
        raise EntriesError(problems)
    return header


def _row(number: int, cells: list[str], header: list[str], separator: str) -> Row | Problem:
    if separator == ",":
        cells = _rejoined(cells, header)
    if any(cells[len(header) :]):
        todo = "Put a text that holds the separator in double quotes"
        got = f"{len(cells)}"
        return Problem(f"{FILE} row {number}", f"at most {len(header)} cells", got, todo)
    named = {name: cell for name, cell in zip(header, cells, strict=False) if name in COLUMNS}
    return Row(number, **named)


def _rejoined(cells: list[str], header: list[str]) -> list[str]:
    """Put a decimal comma typed bare into a comma-separated file back into its number.

    ``7,98`` then stands in two cells. A unit is never made of digits, so there is one way to
    read it.
    """
    at = header.index("result")
    if header[at + 1 : at + 2] != ["unit"] or len(cells) < at + 2:
        return cells
    if not (cells[at].isdecimal() and cells[at + 1].isdecimal()):
        return cells
    return [*cells[:at], f"{cells[at]},{cells[at + 1]}", *cells[at + 2 :]]
