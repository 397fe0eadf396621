"""Limits of size: ISO 286 grades IT6 to IT14 (holes H, shafts d to h and k to p), or numbers.

The words follow the standard: a *hole* is any internal size and a *shaft* any external one, flat or
round; a code such as ``12 H9`` is a nominal size, the letter of its deviation and its grade.
"""

import math
import re
from dataclasses import dataclass

from coupons.answering.standards.numeric_limits import FORMS as NUMERIC
from coupons.answering.standards.numeric_limits import LARGEST_MM as MOST_MM
from coupons.answering.standards.numeric_limits import numeric_limits, two_bands
from coupons.answering.standards.published import Row, rows, step_of
from coupons.errors import AnswerError, Problem

SOURCE = "ISO 286-1"
GRADE_NUMBERS = range(6, 15)
SHAFT_LETTERS = ("d", "e", "f", "g", "h", "k", "m", "n", "p")
LARGEST_MM = 120.0

# The standard gives k its deviation in grades 4 to 7 only; in coarser ones it starts at zero.
_K_LAST_GRADE = 7
_SIZE = r"\s*(?P<size>\d+(?:[.,]\d+)?)\s*(?:mm)?\s*"
_SIDE = r"(?P<{0}_letter>[A-Za-z]+)\s*(?P<{0}_grade>\d{{1,3}})\s*"
_ONE = re.compile(_SIZE + _SIDE.format("a"))
_TWO = re.compile(_SIZE + _SIDE.format("a") + r"[/\-]?\s*" + _SIDE.format("b"))
_AVAILABLE = f"H or {' '.join(SHAFT_LETTERS)}, each with a grade from 6 to 14"


@dataclass(frozen=True)
class Limits:
    """The smallest and the largest size that a tolerance allows.

    Parameters
    ----------
    code : str
        As the standard writes it, for example ``12 H9``, or as numbers, ``12 ±0.1``.
    nominal_mm, lower_mm, upper_mm : float
        The nominal size and the two limits of size.
    """

    code: str
    nominal_mm: float
    lower_mm: float
    upper_mm: float

    @property
    def grade_number(self) -> int | None:
        """Number of its tolerance grade, 9 for ``12 H9``; None for limits as numbers."""
        grade = re.fullmatch(r"\S+ [A-Za-z]+(\d+)", self.code)
        return int(grade[1]) if grade else None

    @property
    def is_hole(self) -> bool | None:
        """Whether its letter is one for internal sizes; None for limits as numbers."""
        return None if self.grade_number is None else self.code.split()[1][0].isupper()

    @property
    def width_mm(self) -> float:
        """Width of the band."""
        return self.upper_mm - self.lower_mm

    @property
    def middle_mm(self) -> float:
        """Middle of the band, the size to aim at."""
        return (self.lower_mm + self.upper_mm) / 2


@dataclass(frozen=True)
class FitLimits:
    """The limits of a hole and of the shaft that goes with it."""

    hole: Limits
    shaft: Limits

    @property
    def gap_min_mm(self) -> float:
        """Tightest gap inside both limits; negative is an interference."""
        return self.hole.lower_mm - self.shaft.upper_mm

    @property
    def gap_max_mm(self) -> float:
        """Loosest gap inside both limits."""
        return self.hole.upper_mm - self.shaft.lower_mm


def tolerance_mm(grade_number: int, size_mm: float) -> float:
    """Look up the width of a tolerance grade (9 for IT9) at a size, in mm.

    Raises
    ------
    AnswerError
        If the table does not go to that grade or size.

    Examples
    --------
    >>> tolerance_mm(9, 12)
    0.043
    """
    step = _step(size_mm, "iso286_it_grades")
    if grade_number not in GRADE_NUMBERS:
        raise _unknown(f"grade {grade_number}", size_mm)
    return float(step[f"IT{grade_number}"]) / 1000


def limits(code: str) -> Limits:
    """Read one code such as ``12 H9``, or limits such as ``12 ±0.1``, as limits of size in mm.

    Raises
    ------
    AnswerError
        If the code cannot be read, the table has no such letter, grade or size, or the limits are
        not two sizes.

    Examples
    --------
    >>> hole = limits("12 H9")
    >>> hole.lower_mm, hole.upper_mm
    (12.0, 12.043)
    """
    numbers = numeric_limits(code)
    if numbers is not None:
        return _possible(Limits(*numbers), code)
    match = _ONE.fullmatch(code)
    if match is None:
        raise _unreadable(code, "a size and a tolerance, such as 12 H9")
    return _limits(_number(match["size"]), match["a_letter"], int(match["a_grade"]))


def fit_limits(code: str) -> FitLimits:
    """Read a code for both sides, such as ``12 H9/d9`` or ``12 +0.1/0 / 12 -0.1/-0.2``.

    Limits as numbers for one side, such as ``12 ±0.1``, are those of both.

    Raises
    ------
    AnswerError
        If the code cannot be read, names no hole or no shaft, or the table lacks it.

    Examples
    --------
    >>> fit = fit_limits("20 H7/g6")
    >>> round(fit.gap_min_mm, 3), round(fit.gap_max_mm, 3)
    (0.007, 0.041)
    """
    bands = two_bands(code)
    if all(bands):
        return FitLimits(*map(limits, bands))
    match = _TWO.fullmatch(code)
    if match is None or not (match["a_letter"].isupper() and match["b_letter"].islower()):
        raise _unreadable(
            code,
            "a size, a hole and a shaft, such as 12 H9/d9 (for one side, such as 12 H9, ask with "
            "a single form instead of a joint)",
        )
    size_mm = _number(match["size"])
    return FitLimits(
        hole=_limits(size_mm, match["a_letter"], int(match["a_grade"])),
        shaft=_limits(size_mm, match["b_letter"], int(match["b_grade"])),
    )


def _possible(band: Limits, code: str) -> Limits:
    if not 0 < band.lower_mm < band.upper_mm <= MOST_MM:
        expected = f"a lower limit below an upper one, both over 0 and up to {MOST_MM:g} mm"
        raise AnswerError([Problem("limits", expected, repr(code), f"Write them as {NUMERIC}")])
    return band


def it_grade_reached(width_mm: float, size_mm: float) -> int | None:
    """Find the finest tolerance grade that a band of this width fits into.

    Parameters
    ----------
    width_mm : float
        Full width of the band that the sizes fall into.
    size_mm : float
        Nominal size.

    Returns
    -------
    int or None
        6 for IT6 or finer, up to 14; None if the band is wider than IT14.

    Raises
    ------
    AnswerError
        If the size lies outside the table.

    Examples
    --------
    >>> it_grade_reached(0.1, 12)
    11
    """
    step = _step(size_mm, "iso286_it_grades")
    # A width computed from two limits carries rounding; a nanometre is no wider grade.
    width_um = width_mm * 1000 - 1e-3
    return next((n for n in GRADE_NUMBERS if width_um <= float(step[f"IT{n}"])), None)


def _limits(size_mm: float, letter: str, grade_number: int) -> Limits:
    width_mm = tolerance_mm(grade_number, size_mm)
    if letter == "H":
        lower_mm, upper_mm = size_mm, size_mm + width_mm
    elif letter in SHAFT_LETTERS:
        deviation_mm = _shaft_deviation_mm(letter, grade_number, size_mm)
        if letter <= "h":
            upper_mm = size_mm + deviation_mm
            lower_mm = upper_mm - width_mm
        else:
            lower_mm = size_mm + deviation_mm
            upper_mm = lower_mm + width_mm
    else:
        raise _unknown(f"{letter}{grade_number}", size_mm)
    # Limits are whole micrometres; what sums of decimals leave behind is not a size.
    return Limits(
        f"{size_mm:g} {letter}{grade_number}", size_mm, round(lower_mm, 6), round(upper_mm, 6)
    )


def _shaft_deviation_mm(letter: str, grade_number: int, size_mm: float) -> float:
    if letter == "k" and grade_number > _K_LAST_GRADE:
        return 0.0
    return float(_step(size_mm, "iso286_deviations")[letter]) / 1000


def _step(size_mm: float, table: str) -> Row:
    step = step_of(size_mm, rows(table)) if math.isfinite(size_mm) else None
    if step is None:
        raise AnswerError(
            [
                Problem(
                    SOURCE,
                    f"a size over 0 and up to {LARGEST_MM:g} mm",
                    f"{size_mm:g} mm",
                    f"For other sizes write limits as numbers, such as {size_mm:g} ±0.2",
                )
            ]
        )
    return step


def _number(text: str) -> float:
    return float(text.replace(",", "."))


def _unknown(got: str, size_mm: float) -> AnswerError:
    return AnswerError(
        [Problem(SOURCE, f"for {size_mm:g} mm: {_AVAILABLE}", got, "Choose one of these")]
    )


def _unreadable(code: str, expected: str) -> AnswerError:
    todo = f"Use {_AVAILABLE}, or limits as numbers: {NUMERIC}"
    return AnswerError([Problem("tolerance code", expected, repr(code), todo)])
