"""Inside jaws with a flat edge in a bore: they bridge a chord, so they read too small."""

import math
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Lengths = TypeVar("Lengths", float, "NDArray[np.floating]")


def bore_from_reading(reading_mm: float, land_mm: float) -> float:
    """Return the diameter of a bore from a reading of inside jaws with flat edges.

    Parameters
    ----------
    reading_mm : float
        What the caliper shows, > 0.
    land_mm : float
        Width of the flat on the jaws' edges, ≥ 0.

    Returns
    -------
    float
        √(reading² + land²), by Pythagoras: the two flats are opposite sides of a rectangle
        inscribed in the bore (derived; no published formula found).

    Examples
    --------
    >>> round(bore_from_reading(4.975, 0.5), 3)
    5.0
    """
    return math.hypot(reading_mm, land_mm)


def reading_in_bore(bore_mm: Lengths, land_mm: float) -> Lengths:
    """Return the reading of inside jaws in a bore, or in each of an array of bores.

    Parameters
    ----------
    bore_mm : float or array
        Diameter, > 0.
    land_mm : float
        Width of the flat on the jaws' edges, ≥ 0. As wide as the bore it does not enter: 0.

    Examples
    --------
    >>> round(reading_in_bore(3.0, 0.5), 6)
    2.95804
    """
    squared: Lengths = bore_mm**2 - land_mm**2
    reading_mm: Lengths = (squared * (squared > 0)) ** 0.5
    return reading_mm
