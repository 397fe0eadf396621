"""Rows of long studies, one JSON object a line, so that a study that is cut short can go on."""

import json
from collections import Counter


def rows_of_whole_printers(path, rows_a_printer):
    """Read the rows of all printers that were finished, and leave no others in the file.

    A study that is stopped while it writes leaves a line that ends early, and a printer of whom
    some rows are missing: that printer is done again.

    Parameters
    ----------
    path : Path
        May be missing.
    rows_a_printer : int

    Returns
    -------
    list of dict
    """
    if not path.exists():
        return []
    text = path.read_text(encoding="utf-8")
    read = [row for line in text.splitlines() if (row := _row(line)) is not None]
    counts = Counter(row["printer"] for row in read)
    rows = [row for row in read if counts[row["printer"]] == rows_a_printer]
    whole = "".join(f"{json.dumps(row)}\n" for row in rows)
    if whole != text:
        beside = path.with_name(f"{path.name}.new")
        beside.write_text(whole, encoding="utf-8")
        beside.replace(path)
    return rows


def add_rows(path, rows):
    """Write more rows to the end of the file."""
    with path.open("a", encoding="utf-8") as file:
        file.write("".join(f"{json.dumps(row)}\n" for row in rows))


def _row(line):
    """Return the row of a line; None if it ended early."""
    try:
        row = json.loads(line)
    except json.JSONDecodeError:
        return None
    return row if isinstance(row, dict) and "printer" in row else None
