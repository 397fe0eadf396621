"""Numbers with their unit, as people type them: lengths, stresses, shares."""

import math
import re

from coupons.measuring.entries import parse_number

_LENGTHS = {"": 1.0, "mm": 1.0, "cm": 10.0, "in": 25.4, "inch": 25.4, '"': 25.4}
_STRESSES = {"": 1.0, "mpa": 1.0, "n/mm2": 1.0, "n/mm²": 1.0, "gpa": 1000.0}
_PERCENT = ("%", "percent")


def parse_length_mm(text: str) -> float | None:
    """Read a length, in mm unless it says otherwise; None if it is none.

    Examples
    --------
    >>> parse_length_mm("2,4"), parse_length_mm("2.4 mm"), parse_length_mm("1 in")
    (2.4, 2.4, 25.4)
    >>> parse_length_mm("2 m") is None
    True
    """
    return _with_unit(text, _LENGTHS)


def parse_stress_mpa(text: str) -> float | None:
    """Read a stress or a modulus, in MPa unless it says otherwise; None if it is none.

    Examples
    --------
    >>> parse_stress_mpa("3500"), parse_stress_mpa("3.5 GPa")
    (3500.0, 3500.0)
    """
    return _with_unit(text, _STRESSES)


def parse_share(text: str) -> float | None:
    """Read a share of one, or as percent; None if it is none.

    Examples
    --------
    >>> parse_share("0,95"), parse_share("95 %")
    (0.95, 0.95)
    """
    number, unit = _split(text)
    if number is None or unit not in ("", *_PERCENT):
        return None
    return number / 100 if unit in _PERCENT else number


def _with_unit(text: str, units: dict[str, float]) -> float | None:
    number, unit = _split(text)
    return None if number is None or unit not in units else number * units[unit]


def _split(text: str) -> tuple[float | None, str]:
    """Take a text apart into a finite number, None if there is none, and what follows it."""
    found = re.fullmatch(r"([+-]?[\d.,]+(?:e[+-]?\d+)?)\s*(.*)", text.strip().lower())
    number = None if found is None else parse_number(found[1])
    if found is None or number is None or not math.isfinite(number):
        return None, ""
    return number, found[2]
