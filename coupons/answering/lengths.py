"""Lengths as people type them: a decimal point or comma, with or without mm, any minus."""

import math
import re

from coupons.measuring.run.entries import parse_number

_UNIT = re.compile(r"\s*mm\.?$", re.IGNORECASE)


def length_mm(text: str) -> float | None:
    """Read a length in mm; None if the text is none, or is of another unit.

    Examples
    --------
    >>> [length_mm(text) for text in ("20,5", "20mm", "20.5 MM", "−0.1", "1/2", "0.5 in")]
    [20.5, 20.0, 20.5, -0.1, None, None]
    """
    number = parse_number(_UNIT.sub("", text.strip()).replace("−", "-"))
    return number if number is not None and math.isfinite(number) else None
