"""A table of text cells as people save it from a spreadsheet, whichever one they use.

Read are UTF-8 with or without a byte order mark, UTF-16 and Windows-1252; commas, semicolons or
tabs; any line ends, quoting, order of columns and letter case of their names. Row numbers are the
ones that a spreadsheet shows.
"""

import csv
import io
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from itertools import pairwise
from pathlib import Path

from coupons.errors import CouponError, Problem
from coupons.reading import read_plain


@dataclass(frozen=True)
class Layout:
    """The columns and messages of one kind of table.

    Parameters
    ----------
    columns, needed : tuple of str
        Names of all columns, and of those without which the table says nothing.
    number_pair : tuple of str
        A column of numbers and one of words that usually follows it: a decimal comma typed bare
        into a comma-separated file is put back together where the two stand side by side.
    holds : str
        What the file is, in words, for the message when there is none.
    if_missing, if_empty : str
        What to do when there is no such file, or nothing in it.
    error : type of CouponError
        What to raise.
    earlier : mapping of str to str
        Columns that had another name in earlier versions, and what they are called now.
    besides : tuple of str
        Columns that stand there for somebody else: none of them is a slip.
    most_rows : int
        More rows than this were not typed by anybody, and nothing after could work on them.
    """

    columns: tuple[str, ...]
    needed: tuple[str, ...]
    number_pair: tuple[str, str]
    holds: str
    if_missing: str
    if_empty: str
    error: type[CouponError]
    earlier: Mapping[str, str] = field(default_factory=dict)
    besides: tuple[str, ...] = ()
    most_rows: int = 100_000


@dataclass(frozen=True)
class Cells:
    """One row: its number, and its text by column, stripped of outer blanks.

    ``others`` is the text in columns that the table does not have.
    """

    number: int
    named: dict[str, str]
    others: dict[str, str]


def read_cells(path: Path, layout: Layout) -> tuple[list[Cells], list[Problem]]:
    """Read the rows of a table and the problems of those that have no readable shape.

    Raises
    ------
    CouponError
        Of the layout's own kind, if the file is missing, is not text, or has no usable line of
        column names.
    """
    text = _decode(path, layout)
    separator = _separator(text, layout)
    numbered = _records(path.name, text, separator, layout)
    if not numbered:
        raise layout.error(
            [Problem(path.name, "a line of column names", "an empty file", layout.if_empty)]
        )
    header = _header(path.name, *numbered[0], layout)
    found = [_row(path.name, n, cells, header, separator, layout) for n, cells in numbered[1:]]
    rows = [row for row in found if isinstance(row, Cells)]
    return rows, [problem for problem in found if isinstance(problem, Problem)]


def _decode(path: Path, layout: Layout) -> str:
    try:
        data = read_plain(path)
    except FileNotFoundError:
        raise layout.error(
            [Problem(path.name, layout.holds, "no such file", layout.if_missing)]
        ) from None
    except OSError as error:
        got = (error.strerror or "none").lower()
        todo = "Give the file, not its folder" if isinstance(error, IsADirectoryError) else ""
        raise layout.error([Problem(path.name, "a file that can be read", got, todo)]) from None
    wide = data.startswith((b"\xff\xfe", b"\xfe\xff"))
    for encoding in ("utf-16",) if wide else ("utf-8-sig", "cp1252"):
        try:
            return _without_separator_line(data.decode(encoding))
        except UnicodeDecodeError:
            continue
    raise layout.error(
        [Problem(path.name, "text", "bytes in no known encoding", "Save it again as CSV, UTF-8")]
    )


def _without_separator_line(text: str) -> str:
    """Drop the ``sep=;`` line with which some spreadsheets begin and which they never show."""
    return re.sub(r'\A"?sep=.?"?(\r\n|\r|\n)', "", text, flags=re.IGNORECASE)


def _separator(text: str, layout: Layout) -> str:
    first = next((line for line in text.splitlines() if line.strip()), "").lower()
    names = re.split(r"[^a-z_]+", first)
    if not set(layout.needed) & set(names):
        return ","
    return max(",;\t", key=first.count)


def _records(file: str, text: str, separator: str, layout: Layout) -> list[tuple[int, list[str]]]:
    records: list[list[str]] = []
    # Strict, since a quote left open would otherwise swallow the rows below it.
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    try:
        records.extend(reader)
    except csv.Error as error:
        where = f"{file} row {len(records) + 1}"
        raise layout.error([_spoiled_cell(where, str(error))]) from None
    if len(records) > layout.most_rows:
        expected, got = f"at most {layout.most_rows} rows", f"{len(records)}"
        raise layout.error([Problem(file, expected, got, "Check that it is the right file")])
    return [
        (number, [cell.strip() for cell in cells])
        for number, cells in enumerate(records, start=1)
        if any(cell.strip() for cell in cells)
    ]


def _spoiled_cell(where: str, reason: str) -> Problem:
    if "limit" in reason:
        expected = f"cells of at most {csv.field_size_limit()} characters"
        return Problem(where, expected, "a longer one", "Shorten it")
    todo = "Close the double quotes of the cell, or remove them"
    return Problem(where, "cells with both their quotes or none", "a single double quote", todo)


def _header(file: str, number: int, cells: list[str], layout: Layout) -> list[str]:
    header = [cell.lower() for cell in cells]
    where = f"{file} row {number}"
    problems = [
        Problem(where, "each column once", f"{name} twice", "Remove or rename one of them")
        for name in layout.columns
        if header.count(name) > 1
    ]
    earlier = {new: old for old, new in layout.earlier.items() if old in header}
    problems += [
        Problem(where, f"a column {new}", old, f"Rename it: {old} is now called {new}")
        for new, old in earlier.items()
    ]
    known = (*layout.columns, *layout.besides)
    strange = [name for name in header if name and name not in known]
    missing = [name for name in layout.columns if name not in header and name not in earlier]
    for name in missing:
        near = get_close_matches(name, strange, 1)
        if near:
            problems.append(Problem(where, f"a column {name}", near[0], "Correct its name"))
        elif name in layout.needed:
            todo = "The first row holds the names " + ", ".join(layout.columns)
            problems.append(Problem(where, f"a column {name}", "none of that name", todo))
    if problems:
        raise layout.error(problems)
    return header


def _row(
    file: str, number: int, cells: list[str], header: list[str], separator: str, layout: Layout
) -> Cells | Problem:
    if separator == ",":
        cells = _rejoined(cells, header, layout)
    if any(cells[len(header) :]):
        todo = "Put text that contains the separator in double quotes"
        got = f"{len(cells)}"
        return Problem(f"{file} row {number}", f"at most {len(header)} cells", got, todo)
    named: dict[str, str] = {}
    others: dict[str, str] = {}
    for name, text in zip(header, cells, strict=False):
        (named if name in layout.columns else others)[name] = text
    return Cells(number, named, others)


def _rejoined(cells: list[str], header: list[str], layout: Layout) -> list[str]:
    """Put a decimal comma typed bare into a comma-separated file back into its number.

    ``7,98`` then stands in two cells. The word in the column after it is never made of digits, so
    there is one way to read it.
    """
    pairs = pairwise(header)
    at = next((i for i, pair in enumerate(pairs) if pair == layout.number_pair), len(cells))
    if len(cells) < at + 2:
        return cells
    if not (cells[at].isdecimal() and cells[at + 1].isdecimal()):
        return cells
    return [*cells[:at], f"{cells[at]},{cells[at + 1]}", *cells[at + 2 :]]
