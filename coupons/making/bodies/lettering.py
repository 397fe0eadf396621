"""Letters that print well: our own stroke table, for raised strokes two lines wide.

Outline fonts at this size are thinner than one extruded line and print broken. Here a letter is a
few straight strokes between the points of a grid, 4 steps wide and 6 high, swept with a round pen.
Lengths here are for a 0.4 mm nozzle, whose line is 0.45 mm wide; ``scale`` takes them to another.
"""

import itertools
from dataclasses import dataclass
from functools import cache
from itertools import accumulate

STEP_MM = 0.46  # over half a stroke: what is bare stays bare
PEN_MM = 0.9
LEAST_PEN_MM = 0.8  # thinner strokes do not stay on the plate, whatever the nozzle
CAP_MM = 6 * STEP_MM + PEN_MM
COLUMNS = 4
SPACE_MM = 0.7
RAISED_MM = 0.6

# Each stroke is a run of grid points, column then row, counted from the low left corner.
STROKES: dict[str, str] = {
    "0": "10 30 41 45 36 16 05 01 10",
    "1": "14 26 20|10 30",
    "2": "05 16 36 45 44 00 40",
    "3": "05 16 36 45 44 33 23|33 42 41 30 10 01",
    "4": "30 36 02 42",
    "5": "46 06 03 33 42 41 30 10 01",
    "6": "36 16 05 01 10 30 41 42 33 03",
    "7": "06 46 10",
    "8": "13 04 05 16 36 45 44 33 13 02 01 10 30 41 42 33",
    "9": "10 30 41 45 36 16 05 04 13 43",
    "A": "00 04 26 44 40|03 43",
    "B": "00 06 36 45 44 33 03|33 42 41 30 00",
    "C": "45 36 16 05 01 10 30 41",
    "D": "00 06 26 44 42 20 00",
    "E": "46 06 00 40|03 33",
    "F": "46 06 00|03 33",
    "G": "36 16 05 01 10 40 43 23",
    "H": "00 06|40 46|03 43",
    "I": "10 30|20 26|16 36",
    "J": "46 41 30 10 01",
    "K": "00 06|46 03 40",
    "L": "06 00 40",
    "M": "00 06 23 46 40",
    "N": "00 06 40 46",
    "O": "20 42 44 26 04 02 20",
    "P": "00 06 36 45 44 33 03",
    "Q": "10 30 41 45 36 16 05 01 10|22 40",
    "R": "00 06 36 45 44 33 03|23 40",
    "S": "46 16 05 04 13 33 42 41 30 00",
    "T": "06 46|26 20",
    "U": "06 01 10 30 41 46",
    "V": "06 20 46",
    "W": "06 10 23 30 46",
    "X": "00 46|06 40",
    "Y": "06 23 46|23 20",
    "Z": "06 46 00 40",
    "-": "03 43",
    "+": "03 43|21 25",
    ".": "10 20",
    "→": "03 43|25 43 21",
    "←": "43 03|25 03 21",
    "↑": "20 26|04 26 44",
    "↓": "26 20|02 20 42",
    "↔": "03 73|25 03 21|55 73 51",
    "↗": "01 45|15 45 42",
    "↘": "05 41|11 41 44",
    "↖": "41 05|35 05 02",
    "↙": "45 01|31 01 04",
    "≡": "00 40|03 43|06 46",
}

Point = tuple[float, float]


@dataclass(frozen=True)
class Stroke:
    """One straight pass of the pen, between the centres of its round ends, in mm."""

    start: Point
    stop: Point


def width_mm(text: str, scale: float = 1.0) -> float:
    """Return how wide a line of text prints, pen included.

    >>> round(width_mm("A1"), 2), round(width_mm("A1", scale=2), 2)
    (6.18, 12.36)
    """
    return scale * (sum(_advance_mm(character) for character in text) - SPACE_MM)


def letter_starts(text: str, scale: float = 1.0) -> tuple[float, ...]:
    """Return where each character of a line starts."""
    return tuple(accumulate((scale * _advance_mm(c) for c in text[:-1]), initial=0.0))


def _advance_mm(character: str) -> float:
    """Return the room of one character; all take four columns but the long arrow."""
    columns = max(int(pair[0]) for run in STROKES[character].split("|") for pair in run.split())
    return max(columns, COLUMNS) * STEP_MM + PEN_MM + SPACE_MM


def glyph(character: str, scale: float = 1.0) -> tuple[Stroke, ...]:
    """Return the strokes of one character, its inked box standing on (0, 0).

    Raises
    ------
    KeyError
        If the table has no such character; specs are checked for that when they are read.
    """
    strokes = []
    for run in STROKES[character].split("|"):
        points = [_grid_point(pair, scale) for pair in run.split()]
        strokes += [Stroke(a, b) for a, b in itertools.pairwise(points)]
    return tuple(strokes)


def _grid_point(pair: str, scale: float) -> Point:
    column, row = (scale * (int(place) * STEP_MM + PEN_MM / 2) for place in pair)
    return (column, row)


@cache  # letters are asked for again wherever a plate is planned, drawn and measured
def line_strokes(text: str, scale: float = 1.0) -> tuple[Stroke, ...]:
    """Return the strokes of a line of text, its inked box standing on (0, 0)."""
    strokes = []
    for character, shift in zip(text, letter_starts(text, scale), strict=True):
        strokes += [
            Stroke((s.start[0] + shift, s.start[1]), (s.stop[0] + shift, s.stop[1]))
            for s in glyph(character, scale)
        ]
    return tuple(strokes)
