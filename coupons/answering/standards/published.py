"""Small tables of published values, kept as CSV files with their sources in the first lines."""

import csv
from functools import cache
from pathlib import Path

DATA = Path(__file__).parent / "data"

Row = dict[str, str]


@cache
def rows(name: str) -> tuple[Row, ...]:
    """Read the table ``data/<name>.csv``; lines that begin with ``#`` name its sources."""
    with (DATA / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return tuple(csv.DictReader(line for line in file if not line.startswith("#")))


def step_of(size_mm: float, steps: tuple[Row, ...]) -> Row | None:
    """Find the size step that is *over* ``over_mm``, up to and including ``to_incl_mm``."""
    for row in steps:
        if float(row["over_mm"]) < size_mm <= float(row["to_incl_mm"]):
            return row
    return None
