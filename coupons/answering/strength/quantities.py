"""Numbers with their unit, as people type them: lengths, stresses, shares."""

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from coupons.answering.lengths import length_mm
from coupons.errors import AnswerError, Problem
from coupons.measuring.run.entries import parse_number

_STRESSES = {"": 1.0, "mpa": 1.0, "n/mm2": 1.0, "n/mm²": 1.0, "gpa": 1000.0}
_PERCENT = ("%", "percent")


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
    """Split a text into a finite number, None if there is none, and its unit."""
    found = re.fullmatch(r"([+-]?[\d.,]+(?:e[+-]?\d+)?)\s*(.*)", text.strip().lower())
    number = None if found is None else parse_number(found[1])
    if found is None or number is None or not math.isfinite(number):
        return None, ""
    return number, found[2]


@dataclass(frozen=True)
class Quantity:
    """What kind of number an option takes.

    Parameters
    ----------
    expected, such_as : str
        In words, and an example.
    read : callable
        From text to a number in the unit used here; None if it is none.
    lowest, highest : float
        It must be above the first and at most the second.
    or_lowest : bool
        It may also equal the lowest.
    """

    expected: str
    such_as: str
    read: Callable[[str], float | None]
    lowest: float
    highest: float
    or_lowest: bool = False

    def allows(self, value: float | None) -> bool:
        """Tell whether a number was read and is in the allowed range."""
        if value is None:
            return False
        return self.lowest < value <= self.highest or (self.or_lowest and value == self.lowest)


LENGTH = Quantity("a length over 0, up to 2000 mm", "19 or 19 mm", length_mm, 0, 2000)
BORE = Quantity("a length from 0 to 2000 mm", "0 or 5 mm", length_mm, 0, 2000, or_lowest=True)
MODULUS = Quantity("a modulus over 0", "3500 MPa or 3.5 GPa", parse_stress_mpa, 0, 1e6)
STRAIN = Quantity("a strain over 0, up to 0.5", "0.02 or 2 %", parse_share, 0, 0.5)
POISSON = Quantity("a ratio from 0 to 0.5", "0.36", parse_share, 0, 0.5, or_lowest=True)
FRICTION = Quantity("a coefficient from 0 to 2", "0.4", parse_share, 0, 2, or_lowest=True)
ANGLE = Quantity("an angle over 0 and up to 80 degrees", "30", parse_number, 0, 80)


def read_quantities(
    typed: Mapping[str, str | None], kinds: Mapping[str, Quantity]
) -> dict[str, float]:
    """Read what was typed for options, each under its name; what is None is left out.

    Raises
    ------
    AnswerError
        With all that cannot be used.

    Examples
    --------
    >>> read_quantities({"length": "19,0 mm"}, {"length": LENGTH})
    {'length': 19.0}
    """
    values, problems = {}, []
    for name, text in typed.items():
        if text is None:
            continue
        kind = kinds[name]
        value = kind.read(text)
        if value is None or not kind.allows(value):
            got = repr(text[:60]) if text else "nothing"
            problems.append(Problem(f"--{name}", kind.expected, got, f"Write it as {kind.such_as}"))
        else:
            values[name] = value
    if problems:
        raise AnswerError(problems)
    return values
